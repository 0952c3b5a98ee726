import { describe, expect, it } from 'vitest';
import { buildReport } from '../../src/report/index.js';
import { readMarkup, readText } from './read-markup.js';
import { addAnalyses } from './sample-analyses.js';
import { makeInput } from './sample-input.js';

const SECTIONS = ['excluded', 'habituation', 'rates', 'network'];

describe('sections of the analyses', () => {
  const html = buildReport(addAnalyses());
  const text = readText(html);
  const elements = readMarkup(html);
  const part = (id: string): string => html.slice(html.indexOf(`<section id="${id}"`), html.indexOf('</section>', html.indexOf(`<section id="${id}"`)));

  it('are there where their tables are, and only there', () => {
    const ids = elements.map((e) => e.attributes.id);
    expect(ids.filter((id) => SECTIONS.includes(id))).toEqual(SECTIONS);
    const bare = readMarkup(buildReport(makeInput())).map((e) => e.attributes.id);
    for (const id of SECTIONS) expect(bare).not.toContain(id);
  });

  it('tell days by shape: within the margin, different, neither', () => {
    const drawn = part('habituation');
    expect(drawn.match(/<circle class="dot-full"/g)).toHaveLength(1);
    expect(drawn.match(/<circle class="open"/g)).toHaveLength(1);
    expect(drawn.match(/<rect class="differs"/g)).toHaveLength(1);
    expect(readText(drawn)).toContain('Back from day 3 on.');
    expect(readText(drawn)).toMatch(/group day 3 .* not shown within 3/);
  });

  it('draw the arrows of pairs that stand out, with their latencies', () => {
    const drawn = part('network');
    expect(drawn.match(/<path class="edge[^"]*"/g)).toEqual(['<path class="edge"', '<path class="edge-pairwise"']);
    expect(drawn.match(/<rect class="call-mid"/g)).toHaveLength(3);
    expect(readText(drawn)).toMatch(/1 edge of 3 ordered pairs.*1 more pair may only be indirect.*reply 100 0\.300 0\.050 0\.250 \(0\.200 to 0\.300\) <0\.0001 220 \(190 to 260\) 150 \(120 to 190\) 8\.0 \(6\.0 to 10\.6\) 2\.3 0\.0020.*zinc → ochre pairwise, may be indirect through /);
  });

  it('draw turn-taking of the pairs that can be told, and each edge day by day', () => {
    const drawn = part('network');
    expect(readText(drawn)).toContain('share of successive calls that change bird');
    // One pair told and significant; three days, of which one with few calls.
    expect(drawn.match(/<circle class="dot-full"/g)).toHaveLength(3);
    expect(drawn.match(/<circle class="open"/g)).toHaveLength(1);
    expect(drawn.match(/<path class="call-line" d="([^"]*)"/)![1].match(/[ML]/g)).toEqual(['M', 'L', 'L']);
    expect(readText(drawn)).toContain('the first day of the study is 1.');
  });

  it('draw rates with both intervals and hours with their gap', () => {
    const drawn = part('rates');
    expect(drawn.match(/<line class="range"/g)).toHaveLength(3);
    expect(readText(drawn)).toContain('ochre 2.0 24 12.0 11.0 to 13.0 2.50 10.0 to 14.0');
    // Hours 6 and 7 are a line, hour 9 stands alone.
    expect(drawn.match(/<path class="call-line"/g)).toHaveLength(1);
  });

  it('tell the usable time of a short study, and no hour of the day that is not known', () => {
    const input = addAnalyses();
    const short = { ...input.rates!, rates: input.rates!.rates.map((r) => ({ ...r, usableSec: 12, perHour: 1486 })) };
    const write = (isClockKnown: boolean): string => { const page = buildReport({ ...input, rates: { ...short, isClockKnown } }); return readText(page.slice(page.indexOf('<section id="rates"'), page.indexOf('<section id="network"'))); };
    expect(write(true)).toContain('ochre 0.00333 24 1486.0');
    expect(write(true)).toContain('hour of the day, h');
    expect(write(false)).toContain('hours since the start, of 24');
    expect(write(false)).not.toMatch(/hour of the day, h|By hour of day/);
  });

  it('sum up what was left out: a window of all birds counts for each', () => {
    expect(readText(part('excluded'))).toMatch(/1 2 4\.0 s battery 1 1 1\.0 s Not counted for rates: 17 calls in excluded time\. Not counted for the network: 4 calls below/);
  });

  it('fill the methods and give the numbers of each picture', () => {
    expect(text).toContain('against a margin of 25 %; the group was taken to be back to baseline after fitting from day 3 on. 5.0 s of bird time were left out of rates and the network.');
    expect(text).toContain('Birds gave 21.0 calls outside song per usable hour (exact 95 % Poisson interval 20.0 to 22.0, widened by the scatter of counts (variance over mean 2.50) 19.0 to 23.0)');
    expect(text).toContain("(a call that starts 50 to 500 ms after another's start) of calls with a probability of at least 0.80 were tested against 2000 circular shifts");
    expect(text).toContain('confirmed by a point-process regression with a margin for what 10 % missing calls of third birds could feign; 1 of 3 ordered pairs were edges');
    expect(text).toContain('How to cite: Volary, version 9.8.7');
    const files = elements.map((e) => e.attributes.download).filter(Boolean);
    expect(files).toEqual(expect.arrayContaining(['excluded.csv', 'habituation.csv', 'rates.csv', 'rates-by-hour.csv', 'network.csv', 'network-latencies.csv', 'network-turns.csv', 'network-days.csv']));
  });

  it('show no NaN where the analyses could not say', () => {
    const empty = <Row extends object>(row: Row): Row => Object.fromEntries(Object.entries(row).map(([k, v]) => [k, typeof v === 'number' && !['day', 'hour', 'lagSec', 'pairs', 'calls'].includes(k) ? NaN : v])) as Row;
    const input = addAnalyses();
    const page = buildReport({
      ...input, rates: { rates: input.rates!.rates.map(empty), byHour: input.rates!.byHour.map(empty) },
      habituation: { rows: input.habituation!.rows.map(empty), decisions: [] },
      network: { edges: input.network!.edges.map(empty), latencies: input.network!.latencies.map(empty), turns: input.network!.turns!.map(empty), days: input.network!.days!.map(empty), settings: {} },
    });
    readMarkup(page);
    expect(page.replace(/data:[^"]*/g, '')).not.toMatch(/NaN|Infinity|undefined|null/);
  });
});
