import { afterEach, describe, expect, it, vi } from 'vitest';
import { Refusal } from '../../src/review/page/save-queue.js';
import { openServerSource } from '../../src/review/page/source.js';

afterEach(() => { vi.unstubAllGlobals(); });

describe('answers of the server to a batch', () => {
  const batch = { serial: 7, changes: [{ id: 'c1', label: null }] };

  /** What becomes of a batch where the server answers so; undefined where it cannot be reached. */
  async function save(answer: Response | undefined): Promise<{ error: unknown; body: unknown }> {
    let body: unknown;
    vi.stubGlobal('location', { href: 'http://127.0.0.1:1/token/' });
    vi.stubGlobal('fetch', (url: string, init?: RequestInit) => {
      if (!init) return Promise.resolve(new Response(url.endsWith('/tables') ? '[]' : '{"entries":[],"sample":[]}'));
      body = JSON.parse(String(init.body));
      return answer ? Promise.resolve(answer) : Promise.reject(new TypeError('Failed to fetch'));
    });
    const source = await openServerSource({} as WebAssembly.Module);
    return { error: await source.save('w1', batch).then(() => undefined, (e: unknown) => e), body };
  }

  it('send the window and the number of the batch', async () => {
    expect(await save(new Response('{}'))).toEqual({ error: undefined, body: { window: 'w1', ...batch } });
  });

  it('are final only where the changes are to blame', async () => {
    for (const status of [400, 413]) expect((await save(new Response('changes[0].id: no such call', { status }))).error).toEqual(new Refusal('changes[0].id: no such call'));
    for (const [answer, text] of [[new Response('disk full', { status: 500 }), /^disk full$/], [new Response('', { status: 404 }), /answered 404/], [undefined, /does not answer/]] as const) {
      const { error } = await save(answer);
      expect(error).not.toBeInstanceOf(Refusal);
      expect((error as Error).message).toMatch(text);
    }
  });
});
