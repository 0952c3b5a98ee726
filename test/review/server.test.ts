import { appendFileSync, existsSync, mkdirSync, readFileSync, rmdirSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { open, type FileHandle } from 'node:fs/promises';
import { request } from 'node:http';
import { dirname, join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, it, vi } from 'vitest';
import type { LabelEntry } from '../../src/review/labels.js';
import { openLabelJournal } from '../../src/review/server/label-journal.js';
import { parseRange } from '../../src/review/server/send-file.js';
import { startReview } from '../../src/review/server/start-review.js';
import type { ReviewServer } from '../../src/review/server/start-review.js';
import { readLabels } from '../../src/table/labels.js';
import { newFolder } from '../cli/run-cli.js';
import { RATE, writeResult } from './review-fixture.js';

const label = (bird: string, onsetSec: number) => ({ bird, onsetSec, offsetSec: onsetSec + 0.1, kind: 'call' as const, track: bird, note: '' });

describe('journal', () => {
  const folders: string[] = [];
  const make = (): string => { const f = newFolder(); folders.push(f); return f; };
  afterEach(() => { for (const f of folders.splice(0)) rmSync(f, { recursive: true, force: true }); });

  it('keeps what was acknowledged when a line is cut short at any byte', async () => {
    const folder = make();
    const path = join(folder, 'labels.jsonl');
    const first = await openLabelJournal(folder, 'abc');
    await first.append('w1', [{ id: 'c1', label: label('réd ♂', 1) }]);
    await first.append('w1', [{ id: 'c1', label: null }, { id: 'a1', label: label('blue', 2) }]);
    await first.close();
    const whole = readFileSync(path);
    const ends = [...whole.keys()].filter((i) => whole[i] === 10).map((i) => i + 1);
    for (let cut = 0; cut <= whole.length; cut += cut > ends[0] && cut < ends[0] + 40 ? 1 : 7) {
      writeFileSync(path, whole.subarray(0, cut));
      const again = await openLabelJournal(folder, 'abc');
      const entries = Math.max(0, ends.filter((e) => e <= cut).length - 1);
      expect([cut, again.entries.length]).toEqual([cut, entries]);
      await again.append('w2', [{ id: 'c9', label: label('green', 3) }]);
      await again.close();
      const last = await openLabelJournal(folder, 'abc');
      expect(last.entries.length).toBe(entries + 1);
      expect(last.labels.get('c9')?.bird).toBe('green');
      if (entries > 0) expect(last.entries[0].changes[0].label?.bird).toBe('réd ♂');
      await last.close();
    }
  });

  it('refuses another call table, a damaged line and a second program', async () => {
    const folder = make();
    const journal = await openLabelJournal(folder, 'abc');
    await journal.append('w', [{ id: 'c1', label: label('red', 1) }]);
    await expect(openLabelJournal(folder, 'abc')).rejects.toMatchObject({ code: 'exists' });
    await journal.close();
    await expect(openLabelJournal(folder, 'other')).rejects.toMatchObject({ code: 'stale' });
    writeFileSync(join(folder, 'labels.lock'), '999999999');
    await (await openLabelJournal(folder, 'abc')).close();
    appendFileSync(join(folder, 'labels.jsonl'), '{"n":\n');
    await expect(openLabelJournal(folder, 'abc')).rejects.toThrow(/line 3: is damaged/);
    expect(existsSync(join(folder, 'labels.lock'))).toBe(false);
  });

  it.each([['EIO', false], ['ENOTSUP', true]])('where the disk says %s when it is asked to keep a line: kept is %s', async (code, isKept) => {
    const folder = make();
    const other = await open(join(folder, 'other'), 'wx');
    const sync = vi.spyOn(Object.getPrototypeOf(other) as FileHandle, 'sync');
    await other.close();
    const journal = await openLabelJournal(folder, 'abc');
    sync.mockRejectedValue(Object.assign(new Error(code), { code }));
    const appended = journal.append('w', [{ id: 'c1', label: label('red', 1) }]).then(() => true, () => false);
    expect(await appended).toBe(isKept);
    expect(sync).toHaveBeenCalled();
    sync.mockRestore();
    await journal.close();
  });

  it('numbers entries from many windows in one order', async () => {
    const folder = make();
    const journal = await openLabelJournal(folder, 'abc');
    const entries = await Promise.all(Array.from({ length: 20 }, (_, k) => journal.append(`w${k % 2}`, [{ id: 'c1', label: label(`bird${k}`, 1) }])));
    expect(entries.map((e) => e.n)).toEqual(Array.from({ length: 20 }, (_, k) => k + 1));
    await journal.close();
    expect(readFileSync(join(folder, 'labels.jsonl'), 'utf8').trimEnd().split('\n')).toHaveLength(21);
  });
});

describe('server', () => {
  const { folder, recording } = writeResult();
  let server: ReviewServer;
  const before = readFileSync(join(folder, 'calls.csv'));
  beforeAll(async () => {
    mkdirSync(join(folder, '..', 'outside'));
    writeFileSync(join(folder, '..', 'outside', 'secret.csv'), 'secret\n');
    symlinkSync(join(folder, '..', 'outside', 'secret.csv'), join(folder, 'linked.csv'));
    server = await startReview(folder);
  });
  afterAll(async () => {
    await server.close();
    rmSync(dirname(folder), { recursive: true, force: true });
  });
  const post = (body: unknown): Promise<Response> => fetch(`${server.url}labels`, { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(body) });
  /** Sends a path as it is: fetch would tidy it. */
  const raw = (path: string, headers: Record<string, string> = {}): Promise<{ status: number; body: string }> => new Promise((resolve, reject) => {
    const { hostname, port } = new URL(server.url);
    request({ hostname, port, path, headers }, (r) => {
      let body = '';
      r.setEncoding('utf8').on('data', (d: string) => { body += d; }).on('end', () => resolve({ status: r.statusCode!, body }));
    }).on('error', reject).end();
  });

  it('listens on loopback under a long token and sends a strict policy', async () => {
    const url = new URL(server.url);
    expect(url.hostname).toBe('127.0.0.1');
    expect(url.pathname).toMatch(/^\/[\w-]{32}\/$/);
    const response = await fetch(server.url);
    const policy = response.headers.get('content-security-policy')!;
    expect(policy).toContain("default-src 'none'");
    expect(policy).not.toMatch(/unsafe-inline|unsafe-eval'(?<!wasm-unsafe-eval')|https?:|\*/);
    expect(response.headers.get('cross-origin-resource-policy')).toBe('same-origin');
  });

  it('answers nobody without the token or under another name', async () => {
    const { pathname, port } = new URL(server.url);
    expect((await raw('/')).status).toBe(404);
    expect((await raw('/study')).status).toBe(404);
    expect((await raw(`${pathname.slice(0, -3)}AA/study`)).status).toBe(404);
    expect((await raw(`${pathname}study`, { host: `evil.example:${port}` })).status).toBe(404);
    expect((await raw(`${pathname}study`, { origin: 'http://evil.example' })).status).toBe(404);
    expect((await raw(`${pathname}study`)).status).toBe(200);
  });

  it('gives nothing outside the study', async () => {
    const { pathname } = new URL(server.url);
    const paths = ['../outside/secret.csv', 'tables/../../outside/secret.csv', 'tables/..%2f..%2foutside%2fsecret.csv', 'tables/%2e%2e/secret.csv', 'tables/linked.csv', 'tables/run.json', 'recordings/99', 'recordings/-1', 'page.js/../study.json', '__proto__', 'constructor'];
    for (const path of paths) expect([path, (await raw(pathname + path)).status]).toEqual([path, 404]);
    const listed = (await (await fetch(`${server.url}tables`)).json()) as { name: string }[];
    expect(listed.map((t) => t.name)).toEqual(expect.arrayContaining(['calls.csv', 'network.csv']));
    expect(listed.map((t) => t.name)).not.toContain('linked.csv');
  });

  it('sends ranges of tables and recordings', async () => {
    const part = await fetch(`${server.url}tables/calls.csv`, { headers: { range: 'bytes=8-12' } });
    expect([part.status, part.headers.get('content-range'), await part.text()]).toEqual([206, `bytes 8-12/${before.length}`, before.subarray(8, 13).toString()]);
    expect((await fetch(`${server.url}tables/calls.csv`, { headers: { range: `bytes=${before.length}-` } })).status).toBe(416);
    const wav = await fetch(`${server.url}recordings/0`, { headers: { range: 'bytes=0-3' } });
    expect(await wav.text()).toBe('RIFF');
    expect([parseRange('bytes=-5', 20), parseRange('bytes=5-', 20), parseRange('bytes=9-3', 20), parseRange('lines=1-2', 20), parseRange('bytes=0-99', 20)]).toEqual([[15, 20], [5, 20], undefined, undefined, [0, 20]]);
  });

  it('sends slices of samples as they are in the file', async () => {
    const bytes = readFileSync(join(recording, 'red.wav'));
    const all = new Int16Array(bytes.buffer.slice(bytes.byteOffset + 44, bytes.byteOffset + bytes.length));
    const get = async (query: string): Promise<Int16Array> => new Int16Array(await (await fetch(`${server.url}samples?${query}`)).arrayBuffer());
    expect([...await get('start=1&frames=50&tracks=2')]).toEqual([...all.subarray(RATE, RATE + 50)]);
    const slices = await get('start=1&frames=20&step=0.5&slices=3&tracks=0,2');
    expect([...slices.subarray(5 * 20)]).toEqual([...all.subarray(2 * RATE, 2 * RATE + 20)]);
    expect([...(await get('start=9.9999&frames=10&tracks=2')).subarray(4)]).toEqual([0, 0, 0, 0, 0, 0]);
    for (const query of ['start=x&frames=1&tracks=0', 'start=0&frames=1&tracks=7', 'start=0&frames=1&tracks=0,0', 'start=0&frames=99999999&tracks=0', 'start=0&frames=5&tracks=0&voices=1']) expect([query, (await fetch(`${server.url}samples?${query}`)).status]).toEqual([query, 400]);
  });

  it('takes corrections, tells other windows, writes labels for score and leaves the tables alone', async () => {
    const told: LabelEntry[] = [];
    const stop = new AbortController();
    const events = await fetch(`${server.url}events`, { signal: stop.signal });
    const reader = events.body!.pipeThrough(new TextDecoderStream()).getReader();
    const listening = (async () => {
      for (let text = ''; ;) {
        const { done, value } = await reader.read();
        if (done) return;
        text += value;
        for (let at; (at = text.indexOf('\n\n')) >= 0; text = text.slice(at + 2)) {
          const data = /^data: (.*)$/m.exec(text.slice(0, at));
          if (data) told.push(JSON.parse(data[1]) as LabelEntry);
        }
        if (told.length === 2) return;
      }
    })();
    expect((await post({ window: 'one', changes: [{ id: 'c1', label: label('green', 0.3) }, { id: 'c2', label: { ...label('green', 0.6), kind: 'no_call' } }] })).status).toBe(200);
    expect((await post({ window: 'two', changes: [{ id: 'a1', label: label('none', 0.45) }] })).status).toBe(200);
    await listening;
    stop.abort();
    expect(told.map((e) => [e.n, e.window])).toEqual([[1, 'one'], [2, 'two']]);
    const rows = readLabels(readFileSync(join(folder, 'labels.csv'), 'utf8'));
    expect(rows.map((r) => [r.bird, r.onsetSec, r.extra.call_id, r.extra.table_bird])).toEqual([['green', 0.3, '1', 'blue'], ['none', 0.45, '', '']]);
    expect(readFileSync(join(folder, 'verified.csv'), 'utf8')).toMatch(/^1,blue,green,.*\n(.*\n)*2,green,no_call,|^2,green,no_call,.*\n(.*\n)*1,blue,green,/m);
    expect(readFileSync(join(folder, 'calls.csv'))).toEqual(before);
    const bad = [{ window: 'w', changes: [] }, { window: '', changes: [{ id: 'c1', label: null }] }, { window: 'w', changes: [{ id: '../x', label: null }] }, { window: 'w', changes: [{ id: 'c1', label: { ...label('red', 1), offsetSec: 1 } }] }, { window: 'w', changes: [{ id: 'c1', label: { ...label(' ', 1) } }] }];
    for (const body of bad) expect((await post(body)).status).toBe(400);
    for (const serial of [0, 1.5, '1', null]) expect((await post({ window: 'w', serial, changes: [{ id: 'c1', label: null }] })).status).toBe(400);
    expect((await fetch(`${server.url}labels`, { method: 'POST', body: '{}' })).status).toBe(400);
  });

  const readJournal = (): LabelEntry[] => readFileSync(join(folder, 'labels.jsonl'), 'utf8').trimEnd().split('\n').slice(1).map((line) => JSON.parse(line) as LabelEntry);

  it('refuses an answer to a call that no table has, in one line, and writes nothing of it', async () => {
    const before = [readJournal().length, readFileSync(join(folder, 'labels.csv'), 'utf8')];
    for (const id of ['c31', 'c0', 'c01', 'c99999999999999999999']) {
      const response = await post({ window: 'w', changes: [{ id: 'c1', label: null }, { id, label: label('red', 1) }] });
      expect([response.status, await response.text()]).toEqual([400, `changes[1].id: no such call; got "${id}"; expected c and the number of a call of calls.csv`]);
    }
    expect([readJournal().length, readFileSync(join(folder, 'labels.csv'), 'utf8')]).toEqual(before);
  });

  it('writes once what a window sends twice, because it did not hear the answer', async () => {
    const before = readJournal().length;
    const send = async (window: string, serial: number, bird: string): Promise<number> => ((await (await post({ window, serial, changes: [{ id: 'c20', label: label(bird, 6) }] })).json()) as { n: number }).n;
    const first = await send('x', 1, 'red');
    await send('y', 1, 'blue');
    expect([await send('x', 1, 'red'), await send('x', 2, 'green')]).toEqual([first, first + 2]);
    expect(readJournal().slice(before).map((e) => [e.window, e.serial, e.changes[0].label?.bird])).toEqual([['x', 1, 'red'], ['y', 1, 'blue'], ['x', 2, 'green']]);
  });

  it('does not call an answer wrong that only the disk did not take, and takes it when it is sent again', async () => {
    const before = readJournal().length;
    rmSync(join(folder, 'labels.csv'));
    mkdirSync(join(folder, 'labels.csv'));
    const body = { window: 'z', serial: 1, changes: [{ id: 'c21', label: label('red', 6.3) }] };
    const failed = await post(body);
    expect([failed.status, await failed.text()]).toEqual([500, expect.stringContaining('is a folder')]);
    rmdirSync(join(folder, 'labels.csv'));
    expect((await post(body)).status).toBe(200);
    expect(readLabels(readFileSync(join(folder, 'labels.csv'), 'utf8')).map((r) => r.extra.call_id)).toContain('21');
    expect(readJournal().length).toBe(before + 1);
  });
});
