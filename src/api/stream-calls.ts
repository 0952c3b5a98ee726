import type { CallBlock } from '../pipeline/attribute-study.js';
import type { AttributeOptions, AttributeResult } from './attribute-opened.js';

/** What an attribution that is read as a stream has to be given. */
export type StreamOptions = Required<Pick<AttributeOptions, 'onCalls' | 'signal'>>;

/**
 * Reads an attribution as a stream: blocks of calls in order of time, each as soon as it is decided, and the whole result as the value that
 * the iterator returns. Gains, clocks and noise floors are learned from the whole study first, so that the first block comes after that pass.
 * Leaving the loop stops the work. The attribution does not wait for its reader.
 * @param attribute starts the attribution with the options that it is given
 * @param signal stops the work from outside
 * @throws what the attribution throws, once all blocks before it were read
 * @example for await (const { calls } of streamCalls((o) => attributeStudyFile('study.json', o))) for (const call of calls) console.log(call.bird, call.onsetSec)
 */
export async function* streamCalls<Result extends AttributeResult>(attribute: (options: StreamOptions) => Promise<Result>, signal?: AbortSignal): AsyncGenerator<CallBlock, Result, undefined> {
  const left = new AbortController();
  const stop = (): void => left.abort(signal?.reason);
  if (signal?.aborted) stop();
  signal?.addEventListener('abort', stop);
  const blocks: CallBlock[] = [];
  let wake = (): void => undefined;
  let isDone = false;
  const work = attribute({ signal: left.signal, onCalls: (block) => { blocks.push(block); wake(); } });
  const end = (): void => { isDone = true; wake(); };
  work.then(end, end);
  try {
    for (;;) {
      for (let block = blocks.shift(); block; block = blocks.shift()) yield block;
      if (isDone) return await work;
      await new Promise<void>((resolve) => { wake = resolve; });
    }
  } finally {
    signal?.removeEventListener('abort', stop);
    if (!isDone) {
      left.abort();
      // Nobody is left to hear of it; the work still has files to close.
      await work.catch(() => undefined);
    }
  }
}
