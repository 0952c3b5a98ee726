import { VolaryError, type ErrorCode } from '../schema/errors.js';

/** What a worker answers about one block. */
export type BlockAnswer<Value> = { value: Value } | { error: { code: string; message: string } };

/** A worker that does numbered blocks, as the queue sees it. */
export interface BlockPort<Value> {
  send(blockIndex: number): void;
  /** Sets who is told of every answer, and of a failure of the worker itself. */
  listen(onAnswer: (answer: BlockAnswer<Value>) => void, onFailure: (error: Error) => void): void;
  close(): void | Promise<unknown>;
}

export interface BlockQueue<Value> {
  run(blockIndex: number): Promise<Value>;
  /** Stops all workers at once; blocks that were not done are rejected. */
  close(): Promise<void>;
}

interface Pending<Value> { blockIndex: number; resolve: (value: Value) => void; reject: (error: Error) => void }

/** Hands blocks, in the order asked for, to whichever worker is free. A worker that breaks down ends the whole run with its error. */
export function createBlockQueue<Value>(ports: readonly BlockPort<Value>[]): BlockQueue<Value> {
  const waiting: Pending<Value>[] = [], idle: BlockPort<Value>[] = [...ports];
  const busy = new Map<BlockPort<Value>, Pending<Value>>();
  let failure: Error | undefined;
  const fail = (error: Error): void => {
    failure ??= error;
    for (const pending of [...busy.values(), ...waiting.splice(0)]) pending.reject(error);
    busy.clear();
  };
  const feed = (): void => {
    while (idle.length > 0 && waiting.length > 0) {
      const port = idle.shift()!, pending = waiting.shift()!;
      busy.set(port, pending);
      port.send(pending.blockIndex);
    }
  };
  for (const port of ports) {
    port.listen((answer) => {
      const pending = busy.get(port);
      if (!pending) return;
      busy.delete(port);
      if ('error' in answer) pending.reject(new VolaryError(answer.error.code as ErrorCode, { what: answer.error.message }));
      else pending.resolve(answer.value);
      idle.push(port);
      feed();
    }, fail);
  }
  return {
    run: (blockIndex) => new Promise((resolve, reject) => {
      if (failure) return reject(failure);
      waiting.push({ blockIndex, resolve, reject });
      feed();
    }),
    close: async () => {
      fail(new VolaryError('interrupted', { what: 'the workers were stopped' }));
      await Promise.all(ports.map((p) => p.close()));
    },
  };
}
