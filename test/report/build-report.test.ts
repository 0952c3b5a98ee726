import { describe, expect, it } from 'vitest';
import { buildReport } from '../../src/report/index.js';
import type { ReportInput } from '../../src/report/index.js';
import { palettes } from '../../src/report/style.js';
import { readMarkup, readText } from './read-markup.js';
import { callRow, makeInput, NASTY } from './sample-input.js';

const SHOWN = NASTY.replace('\u0007', '?');

describe('buildReport', () => {
  const html = buildReport(makeInput());
  const text = readText(html);

  it('is well formed, has one id per section and links that lead somewhere', () => {
    const elements = readMarkup(html);
    const ids = elements.map((e) => e.attributes.id).filter((id) => id !== undefined);
    expect(new Set(ids).size).toBe(ids.length);
    const links = elements.filter((e) => e.name === 'a').map((e) => e.attributes.href).filter((h) => h.startsWith('#'));
    expect(links.map((h) => h.slice(1))).toEqual(ids);
    expect(ids).toEqual(['excerpts', 'calls', 'links', 'evidence', 'probability', 'accuracy', 'clocks', 'methods', 'cautions', 'reading', 'settings']);
  });

  it('needs no network and runs no script', () => {
    const elements = readMarkup(html);
    for (const e of elements) {
      expect(['script', 'iframe', 'link', 'object', 'embed']).not.toContain(e.name);
      for (const [key, value] of Object.entries(e.attributes)) {
        expect(key.startsWith('on'), key).toBe(false);
        if (key === 'href' || key === 'src') expect(value).toMatch(/^(#|data:)/);
      }
    }
    const addresses = html.replaceAll('xmlns="http://www.w3.org/2000/svg"', '').match(/(https?:|url\(|@import|\/\/[a-z])/g);
    expect(addresses).toBeNull();
  });

  it('escapes names wherever they stand', () => {
    expect(html).not.toContain('<b>&"');
    expect(html).not.toContain('<b>&amp;"');
    expect(text).toContain(`Study ${SHOWN}`);
    expect(text).toContain(`A note ${SHOWN}`);
    expect(text).toContain(`${SHOWN}.wav`);
  });

  it('gives the same bytes for the same input, whatever the order of the keys of the gains', () => {
    const other = makeInput();
    expect(buildReport(other)).toBe(html);
    expect(buildReport({ ...other, run: { ...other.run, gainsDb: Object.fromEntries(Object.entries(other.run.gainsDb!).reverse()) } })).toBe(html);
  });

  it('holds the numbers of the tables', () => {
    const { calls } = makeInput();
    expect(text).toContain('6 calls in 10.0 s of 2 tagged birds on 2 recorders');
    expect(text).toContain('1 of them by callers without a tag. The study starts at 2024-05-01T06:00:00Z');
    // 19.2 of 20 s usable.
    expect(text).toContain('19.2 s usable over all tracks, 96.0 % of what was possible');
    const wrong = calls.reduce((s, c) => s + 1 - c.probability, 0);
    const sd = Math.sqrt(calls.reduce((s, c) => s + c.probability * (1 - c.probability), 0));
    expect(text).toContain(`${wrong.toFixed(1)} ± ${sd.toFixed(1)} rows expected to be wrong`);
    // ochre: 3 calls, 0.99 + 0.6 + 0.983 expected, 10 s usable = 0.0028 h, 1080 per hour; 100 ms, 25 dB, 3.5 kHz, one of three overlapped.
    expect(text).toContain('ochre 3 2.6 0.0028 1080 100 25.0 3.50 33 %');
    expect(text).toContain('no tag 1 1.0 0.0028 360 100 25.0 3.50 100 %');
    expect(text).toContain(`ochre one 10.0 s 0 % −61.5 3.3 0 1 0 1 0 ${SHOWN} ${SHOWN} 9.2 s 8.0 % −66.5 −3.3 1 0 1 0`);
    expect(text).toContain(`${SHOWN} 0.500000 0.500200 20.00 12`);
    expect(text).toContain('ran 20.0 parts per million fast');
    expect(text).toContain('kernel hash abc123');
  });

  it('holds the evidence: shares of pairs, medians per pair, gains', () => {
    expect(text).toContain('the louder one in 50 % of them as recorded, and in 100 % after');
    expect(text).toContain('20.0 dB 2.10 ms (1)');
    expect(text).toContain('5.0 dB 2.20 ms (1)');
    const link = readMarkup(html).find((e) => e.attributes.download === 'levels-and-lags.csv')!;
    const rows = decodeURIComponent(link.attributes.href.replace('data:text/csv;charset=utf-8,', '')).trimEnd().split('\n');
    expect(rows).toEqual(['call_id,bird,track,lag_ms,lead_raw_db,lead_db', `1,ochre,"${NASTY.replaceAll('"', '""')}",2.100,26.50,20.00`, `5,"${NASTY.replaceAll('"', '""')}",ochre,2.200,-1.50,5.00`]);
  });

  it('holds the accuracy of the score with its intervals and the confusion matrix', () => {
    const { score } = makeInput();
    for (const e of [score!.rightBird.f1, score!.rightBird.precision, score!.detection.recall, score!.attribution.accuracy]) {
      expect(text).toContain(`${e.value!.toFixed(3)} (${e.low!.toFixed(3)} to ${e.high!.toFixed(3)})`);
    }
    // The call of NASTY at 2 s was given to ochre; the row at 7.25 s lies in nobody's call; the call at 9 s was missed.
    const matrix = text.slice(text.indexOf('called \\ reported'), text.indexOf('Do the probabilities'));
    const { columns, rows, counts } = score!.attribution.confusion;
    expect(counts[rows.indexOf(NASTY)][columns.indexOf('ochre')]).toBe(1);
    rows.forEach((_, i) => expect(matrix).toContain(counts[i].map((n) => n || '·').join(' ')));
    expect(text).not.toContain('Not measured yet');
  });

  it('outlines each call on its bird\'s track, draws those without a tag apart, and marks labels', () => {
    const excerpt = html.slice(html.indexOf('id="excerpts"'), html.indexOf('id="calls"'));
    const own = excerpt.match(/<rect class="call-edge"[^/]*><title>call \d/g) ?? [];
    expect(own.length).toBe(5);
    expect(excerpt.match(/<rect class="notag-edge"[^/]*><title>call 4/g)?.length).toBe(1);
    // Five labels lie in the excerpt; the legend shows one more mark.
    expect(excerpt.match(/class="label-mark"/g)?.length).toBe(6);
    expect(readText(excerpt)).toContain('0.90');
    expect(excerpt).toContain('link lost 8.000 to 8.800 s');
    expect(excerpt).toContain('breakthrough from ochre 1.000 to 1.100 s');
  });

  it('says what it does not have: no sound, no score, no calls, no record of the run', () => {
    const bare: ReportInput = { ...makeInput(), excerpts: [], evidence: [], score: undefined, labels: undefined, withoutSound: 'The recordings are elsewhere.' };
    const page = buildReport(bare);
    readMarkup(page);
    expect(readText(page)).toContain('The recordings are elsewhere. This report therefore shows no spectrograms');
    expect(readText(page)).toContain('Not measured yet');
    expect(page).not.toContain('data:image');
    const empty = buildReport({ study: { name: 'Empty', recorders: [], tracks: [] }, run: {}, calls: [], sounds: [], clock: [], hours: [], excerpts: [], evidence: [], version: '0' });
    readMarkup(empty);
    expect(readText(empty)).toContain('0 calls in 1.0 s of 0 tagged birds');
    expect(empty).not.toMatch(/NaN|Infinity|undefined|null/);
  });

  it('shows no NaN where tables have gaps', () => {
    const input = makeInput();
    const holes = { ...input, calls: input.calls.map((c) => ({ ...c, levelDb: NaN, snrDb: NaN, peakHz: NaN })), hours: input.hours.map((h) => ({ ...h, noiseFloorDb: NaN, gainDb: NaN, lostShare: NaN })), clock: input.clock.map((r) => ({ ...r, ppm: NaN, uncertaintySec: NaN })), run: {} };
    const page = buildReport(holes);
    readMarkup(page);
    expect(page.replace(/data:[^"]*/g, '')).not.toMatch(/NaN|Infinity|undefined|null/);
  });

  it('stays small for a fortnight of sixteen birds', () => {
    const birds = Array.from({ length: 16 }, (_, i) => `bird ${i + 1}`);
    const durationSec = 15 * 86400;
    const calls = Array.from({ length: 60000 }, (_, i) => callRow(i, birds[(i * 7) % 16], ((i * 7919) % 60000) * (durationSec / 60000), 0.5 + ((i * 31) % 500) / 1000));
    const hours = birds.flatMap((track) => Array.from({ length: 360 }, (_, h) => ({ track, recorder: 'one', startSec: h * 3600, usableSec: 3400 + (h % 200), noiseFloorDb: -60, gainDb: 0, lostShare: 1 - (3400 + (h % 200)) / 3600 })));
    const sounds = Array.from({ length: 20000 }, (_, i) => ({ kind: i % 3 ? 'body' as const : 'dropout' as const, track: birds[i % 16], onsetSec: i * 64.7, offsetSec: i * 64.7 + 0.5, levelDb: -30, source: '' }));
    const page = buildReport({ study: { name: 'Long', recorders: ['one'], tracks: birds.map((bird) => ({ bird, recorder: 'one' })) }, run: { durationSec }, calls, sounds, clock: [], hours, excerpts: [], evidence: [], version: '0' });
    readMarkup(page);
    expect(page.length).toBeLessThan(3e6);
    expect(readText(page)).toContain('60\u202f000'.replace('\u202f', ' '));
  });
});

describe('colours', () => {
  // Relative luminance and contrast ratio after WCAG 2.2 (definitions of 'relative luminance' and 'contrast ratio').
  const luminance = (hex: string): number => {
    const full = hex.length === 4 ? `#${[...hex.slice(1)].map((c) => c + c).join('')}` : hex;
    const [r, g, b] = [1, 3, 5].map((i) => parseInt(full.slice(i, i + 2), 16) / 255).map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const contrast = (a: string, b: string): number => {
    const [low, high] = [luminance(a), luminance(b)].sort((x, y) => x - y);
    return (high + 0.05) / (low + 0.05);
  };

  it('computes the published extreme', () => {
    expect(contrast('#000000', '#ffffff')).toBeCloseTo(21, 10);
  });

  it.each(Object.entries(palettes))('%s: text at least 4.5 to 1, marks at least 3 to 1', (_, p) => {
    for (const text of ['ink', 'soft', 'accent']) for (const ground of ['paper', 'panel']) expect(contrast(p[text], p[ground]), `${text} on ${ground}`).toBeGreaterThanOrEqual(4.5);
    for (const mark of ['call', 'notag', 'lost', 'body', 'label']) expect(contrast(p[mark], p.paper), mark).toBeGreaterThanOrEqual(3);
  });
});
