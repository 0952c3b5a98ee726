import type { ReportInput } from './report-input.js';
import { listLeavingOut } from './section-excluded.js';
import { joinNames, showCount, showDuration, showNumber } from './text.js';

/** Sentences for the methods paragraph about the analyses that were made. */
export function describeAnalyses(input: ReportInput): string[] {
  return [describeHabituation(input), describeExcluded(input), describeRates(input), describeNetwork(input)].filter((s) => s !== '');
}

function describeHabituation({ habituation }: ReportInput): string {
  if (!habituation?.rows.length) return '';
  const { margin, decisions } = habituation;
  const start = 'Days after handling were compared with later days at the same hours by paired sign-flip tests (Holm) and by two one-sided tests';
  if (margin === undefined) return `${start}; no margin of equivalence was set, so no day is claimed to be back to baseline.`;
  const group = decisions.filter((d) => d.bird === '');
  const kind = { fitted: 'fitting', battery: 'a battery change', other: 'other handling' } as const;
  const claims = group.map((d) => (d.firstUsableDay === null ? `after ${kind[d.after]} this was not shown within ${showCount(d.testedDays, 'day')}` : `after ${kind[d.after]} from day ${d.firstUsableDay} on`));
  return `${start} against a margin of ${showNumber(100 * margin, 0)} %; the group was taken to be back to baseline ${joinNames(claims)}.`;
}

function describeExcluded(input: ReportInput): string {
  const leavingOut = listLeavingOut(input);
  if (!input.excluded?.length || !leavingOut.length) return '';
  const birds = new Set(input.hours.map((h) => h.track)).size;
  const birdSec = input.excluded.reduce((s, r) => s + (r.endSec - r.startSec) * (r.bird === '' ? birds : 1), 0);
  return `${showDuration(birdSec)} of bird time were left out of ${joinNames(leavingOut)}.`;
}

function describeRates({ rates }: ReportInput): string {
  const all = rates?.rates.find((r) => r.bird === '' && r.what === 'calls');
  if (!all || !Number.isFinite(all.perHour)) return '';
  const scatter = Number.isFinite(all.dispersionWithin) ? all.dispersionWithin : all.dispersion;
  const wide = Number.isFinite(all.quasiLow) ? `, widened by the scatter of counts (variance over mean ${showNumber(scatter, 2)}) ${showNumber(all.quasiLow, 1)} to ${showNumber(all.quasiHigh, 1)}` : '';
  return `Birds gave ${showNumber(all.perHour, 1)} calls outside song per usable hour (exact 95 % Poisson interval ${showNumber(all.low, 1)} to ${showNumber(all.high, 1)}${wide}).`;
}

function describeNetwork({ network }: ReportInput): string {
  if (!network?.edges.length) return '';
  const { fromSec, toSec, threshold, surrogates, falseShare, missedShare } = network.settings;
  const window = fromSec !== undefined && toSec !== undefined ? ` (a call that starts ${showNumber(1000 * fromSec, 0)} to ${showNumber(1000 * toSec, 0)} ms after another's start)` : '';
  const least = threshold !== undefined ? ` of calls with a probability of at least ${showNumber(threshold, 2)}` : '';
  const tests = surrogates !== undefined ? ` ${surrogates}` : '';
  const share = falseShare !== undefined ? `, false discovery rate ${showNumber(falseShare, 2)}` : '';
  const missed = missedShare !== undefined ? ` with a margin for what ${showNumber(100 * missedShare, 0)} % missing calls of third birds could feign` : '';
  const replies = network.edges.filter((e) => e.kind === 'reply').sort((a, b) => b.excess - a.excess);
  const latencies = replies.map((e) => 1000 * e.latencyMedianSec).filter((v) => Number.isFinite(v));
  const found = `${replies.length} of ${showCount(network.edges.length, 'ordered pair')} were edges${latencies.length ? `, with median latencies of ${showNumber(Math.min(...latencies), 0)} to ${showNumber(Math.max(...latencies), 0)} ms` : ''}`;
  return `Replies${window}${least} were tested against${tests} circular shifts within blocks and${tests} jitters${share}, and confirmed by a point-process regression${missed}; ${found}.`;
}
