/** A drawn sample that somebody has filled in with a table program before, or between two reviews. */
import { existsSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { applyChanges } from '../../src/review/labels.js';
import type { Label, LabelEntry } from '../../src/review/labels.js';
import { startReview } from '../../src/review/server/start-review.js';
import type { CallRow } from '../../src/schema/rows.js';
import { drawSample } from '../../src/score/sample-calls.js';
import { formatSample, readSample } from '../../src/score/sample-file.js';
import { readLabels } from '../../src/table/labels.js';
import { writeResult } from './review-fixture.js';

let folder: string;
let calls: CallRow[];
beforeEach(() => { ({ folder, calls } = writeResult()); });
afterEach(() => rmSync(dirname(folder), { recursive: true, force: true }));

/** Writes sample.csv with these answers by number of call. */
function fillIn(heard: Record<number, string>): string {
  const text = formatSample(calls, drawSample(calls, 30).drawn.map((d) => ({ ...d, bird: heard[d.callId] ?? '' })));
  writeFileSync(join(folder, 'sample.csv'), text);
  return text;
}

/** Opens the folder, sends the answers of a window, and tells what the page would show and what the files hold afterwards. */
async function review(answers: Record<string, Label | null> = {}) {
  const server = await startReview(folder);
  try {
    const { entries } = (await (await fetch(`${server.url}labels`)).json()) as { entries: LabelEntry[] };
    const labels = new Map<string, Label>();
    for (const entry of entries) applyChanges(labels, entry.changes);
    const changes = Object.entries(answers).map(([id, label]) => ({ id, label }));
    if (changes.length) await fetch(`${server.url}labels`, { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify({ window: 'w1', serial: 1, changes }) });
    const verified = readSample(readFileSync(join(folder, 'verified.csv'), 'utf8'), 'verified.csv').filter((row) => row.bird !== '');
    return { entries, labels, verified: Object.fromEntries(verified.map((row) => [row.callId, row.bird])) };
  } finally {
    await server.close();
  }
}

function say(callId: number, bird: string): Label {
  const { onsetSec, offsetSec, track } = calls[callId - 1];
  return { bird, onsetSec: Number(onsetSec.toFixed(6)), offsetSec: Number(offsetSec.toFixed(6)), kind: 'call', track, note: '' };
}

describe('a sample that was filled in by hand', () => {
  it('is shown as verified, stands in the files of the review, and stays as it is', async () => {
    const text = fillIn({ 1: 'blue', 2: 'red', 3: 'no_call', 4: 'none' });
    const { labels, verified } = await review();
    expect(Object.fromEntries(labels)).toEqual({ c1: say(1, 'blue'), c2: say(2, 'red'), c3: { ...say(3, 'red'), kind: 'no_call' }, c4: say(4, 'none') });
    expect(verified).toEqual({ 1: 'blue', 2: 'red', 3: 'no_call', 4: 'none' });
    expect(readLabels(readFileSync(join(folder, 'labels.csv'), 'utf8')).map((r) => [r.extra.call_id, r.bird])).toEqual([['1', 'blue'], ['2', 'red'], ['4', 'none']]);
    expect(readFileSync(join(folder, 'sample.csv'), 'utf8')).toBe(text);
  });

  it('is taken once, and again where somebody has gone on in the file', async () => {
    fillIn({ 1: 'blue', 2: 'red' });
    await review();
    expect((await review()).entries).toHaveLength(1);
    fillIn({ 1: 'green', 5: 'none' });
    const { entries, verified } = await review();
    expect(entries.slice(1).map((e) => e.changes.map(({ id, label }) => [id, label?.bird]))).toEqual([[['c1', 'green'], ['c5', 'none']]]);
    expect(verified).toEqual({ 1: 'green', 2: 'red', 5: 'none' });
  });

  it('never takes back what was said in the page', async () => {
    fillIn({ 1: 'blue', 2: 'red' });
    await review({ c1: say(1, 'green'), c2: null, c3: say(3, 'red') });
    fillIn({ 1: 'none', 2: 'red', 3: 'blue', 4: 'blue' });
    expect((await review()).verified).toEqual({ 1: 'green', 3: 'red', 4: 'blue' });
  });

  it('with a slip of the pen is refused as score refuses it, before anything is written', async () => {
    fillIn({ 1: 'blue', 2: 'Red' });
    await expect(startReview(folder)).rejects.toMatchObject({ code: 'bad-labels', message: expect.stringMatching(/row \d+ column bird: a misspelt name; got "Red"; expected "red"$/) as string });
    expect(['labels.jsonl', 'labels.lock', 'labels.csv'].filter((name) => existsSync(join(folder, name)))).toEqual([]);
  });
});
