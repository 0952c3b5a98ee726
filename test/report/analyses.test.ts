import { describe, expect, it } from 'vitest';
import type { NetworkEdge } from '../../src/analysis/network/index.js';
import { buildReport } from '../../src/report/index.js';
import type { ReportInput } from '../../src/report/index.js';
import type { HabituationRow, RateRow } from '../../src/schema/analysis-rows.js';
import { readMarkup, readText } from './read-markup.js';
import { makeInput, NASTY } from './sample-input.js';

const rate = (bird: string, perHour: number): RateRow => ({
  bird, what: 'calls', usableSec: 7200, count: 2 * perHour, perHour, low: perHour - 1, high: perHour + 1, hours: 2, dispersion: 3, dispersionWithin: 2.5, quasiLow: perHour - 2, quasiHigh: perHour + 2,
});

const day = (n: number, change: number, verdict: HabituationRow['verdict']): HabituationRow => ({
  bird: '', after: 'fitted', day: n, measure: 'calls', pairs: 2, value: 1, baseline: 1, change, low: change - 0.1, high: change + 0.1, standardError: 0.05, dof: 4,
  pFlip: 0.5, pHolm: 1, pBh: 0.7, isExact: 'yes', pEquivalence: 0.01, detectable: 0.2, verdict,
});

const edge = (caller: string, replier: string, kind: NetworkEdge['kind'], excess: number, through = ''): NetworkEdge => ({
  caller, replier, kind, calls: 100, replierCalls: 80, replies: 30, replyProbability: 0.3, chanceShift: 0.02, chanceJitter: 0.03, chance: 0.3 - excess, excess, excessLow: excess - 0.05, excessHigh: excess + 0.05, leak: 0,
  z: 9, pShift: 0.001, pJitter: 0.001, p: 0.001, q: 0.00004, latencyMedianSec: 0.22, latencyLowerSec: 0.19, latencyUpperSec: 0.26, gapMedianSec: 0.15, gapLowerSec: 0.12, gapUpperSec: 0.19, rateRatio: 8, rateRatioLow: 6, rateRatioHigh: 10.6, rateRatioNeeded: 2.3, indirectExcess: 0.04, through, pInfluence: 0.001, qInfluence: 0.002,
});

function addAnalyses(): ReportInput {
  return {
    ...makeInput(),
    rates: { rates: [rate('ochre', 12), rate(NASTY, 30), rate('', 21)], byHour: [6, 7, 9].map((hour) => ({ ...rate('ochre', hour), hour })), dispersion: 'Scatter in words.', leftOut: { excluded: 17, unlikely: 0 } },
    habituation: { margin: 0.25, rows: [day(1, -0.5, 'different'), day(2, -0.2, 'undecided'), day(3, 0.02, 'equivalent')], decisions: [{ bird: '', after: 'fitted', testedDays: 3, firstUsableDay: 3, words: 'Back from day 3 on.' }, { bird: NASTY, after: 'fitted', testedDays: 3, firstUsableDay: null, words: '' }] },
    network: {
      edges: [edge('ochre', NASTY, 'reply', 0.25), edge(NASTY, 'ochre', 'none', 0.01), edge('zinc', 'ochre', 'pairwise', 0.05, NASTY)], settings: { fromSec: 0.05, toSec: 0.5, threshold: 0.8, surrogates: 2000, falseShare: 0.05, missedShare: 0.1 }, counts: { belowThreshold: 4 },
      latencies: [0, 0.2, 0.4].map((lagSec, i) => ({ caller: 'ochre', replier: NASTY, lagSec, pairs: [1, 20, 4][i], expected: 2.5, firstReplies: i })),
      turns: [{ birdA: 'ochre', birdB: NASTY, followed: 40, alternations: 30, share: 0.75, chance: 0.4, index: 0.35, p: 0.01 }, { birdA: NASTY, birdB: 'zinc', followed: 0, alternations: 0, share: NaN, chance: NaN, index: NaN, p: NaN }],
      days: [0, 1, 2].map((n) => ({ day: n, caller: 'ochre', replier: NASTY, calls: [50, 10, 40][n], replies: 9, replyProbability: 0.3, chance: 0.05, excess: [0.25, 0.3, 0.2][n] })),
    },
    excluded: [{ bird: '', startSec: 0, endSec: 2, reason: `fitted ${NASTY}` }, { bird: 'ochre', startSec: 5, endSec: 6, reason: 'battery' }],
  };
}

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
  });

  it('draw rates with both intervals and hours with their gap', () => {
    const drawn = part('rates');
    expect(drawn.match(/<line class="range"/g)).toHaveLength(3);
    expect(readText(drawn)).toContain('ochre 2.0 24 12.0 11.0 to 13.0 2.50 10.0 to 14.0');
    // Hours 6 and 7 are a line, hour 9 stands alone.
    expect(drawn.match(/<path class="call-line"/g)).toHaveLength(1);
  });

  it('sum up what was left out: a window of all birds counts for each', () => {
    expect(readText(part('excluded'))).toMatch(/1 2 4\.0 s battery 1 1 1\.0 s Not counted for rates: 17 calls in excluded time\. Not counted for the network: 4 calls below/);
  });

  it('fill the methods and give the numbers of each picture', () => {
    expect(text).toContain('against a margin of 25 %; the group was taken to be back to baseline after fitting from day 3 on. 5.0 s of bird time were left out');
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
