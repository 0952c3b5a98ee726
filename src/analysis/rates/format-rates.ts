import type { RateRow } from '../../schema/analysis-rows.js';
import { alignColumns, formatDigits } from '../align-columns.js';
import type { Rates } from './measure-rates.js';

/** What `volary rates` prints. */
export function formatRates(rates: Rates, excludedBy: string, clockNote: string): string {
  const { settings, effort, leftOut } = rates;
  const usable = new Map(effort.map((e) => [e.bird, e.usableSec / 3600]));
  const find = (bird: string, what: RateRow['what']): RateRow => rates.rates.find((r) => r.bird === bird && r.what === what)!;
  const birds = rates.rates.filter((r) => r.what === 'calls').map((r) => r.bird);
  const lines = birds.map((bird) => {
    const call = find(bird, 'calls');
    const bout = find(bird, 'bouts');
    return [
      bird || 'all birds', formatHours(bird ? usable.get(bird)! : sum([...usable.values()])), formatDigits(call.count, settings.weighted ? 1 : 0), formatDigits(call.perHour, 2),
      range(call.low, call.high), formatDigits(Number.isFinite(call.dispersionWithin) ? call.dispersionWithin : call.dispersion, 2), range(call.quasiLow, call.quasiHigh), formatDigits(bout.count, settings.weighted ? 1 : 0), formatDigits(bout.perHour, 2), formatDigits(find(bird, 'syllables').count, settings.weighted ? 1 : 0),
    ];
  });
  const header = ['bird', 'usable h', 'calls', 'per h', 'exact 95 %', 'var/mean', 'quasi 95 %', 'bouts', 'per h', 'syllables'];
  const excluded = sum(effort.map((e) => e.excludedSec)) / 3600;
  return [
    ...alignColumns([header, ...lines]),
    '',
    `Excluded: ${formatHours(excluded)} of ${formatHours(sum(effort.map((e) => e.recordedSec)) / 3600)} usable bird hours (${excludedBy}).`,
    `Not counted: ${leftOut.excluded} calls in excluded time, ${leftOut.linkDown} while the bird's own link was down, ${leftOut.unlikely} below probability ${settings.threshold}, ${leftOut.untagged} of birds without a track.`,
    `A bout is a run of at least ${settings.bout.syllables} syllables with gaps below ${settings.bout.gapSec} s; calls are what lies outside.${settings.weighted ? ' Numbers are sums of probabilities.' : ''} ${clockNote}`,
    explainDispersion(find('', 'calls')),
  ].join('\n');
}

/** What the scatter of counts means for the interval. */
export function explainDispersion(row: RateRow): string {
  const scatter = Number.isFinite(row.dispersionWithin) ? row.dispersionWithin : row.dispersion;
  if (!Number.isFinite(scatter)) return 'Too few hours to tell whether calls come independently: the exact interval may be too narrow.';
  const rhythm = Number.isFinite(row.dispersionWithin) ? ` (${row.dispersion.toFixed(2)} with the rhythm of the day in it)` : ', the rhythm of the day in it, for one day cannot tell the two apart';
  const start = `The variance of counts per hour is ${scatter.toFixed(2)} times their mean${Number.isFinite(row.dispersionWithin) ? ' at the same hour of the day' : ''}${rhythm}`;
  if (scatter < 1 / 1.5) return `${start}, less than the 1 of independent calls: calls come more evenly than by chance, and the exact interval is wider than it need be.`;
  if (scatter < 1.5) return `${start}, close to the 1 of independent calls: the exact interval holds.`;
  return `${start}, where independent calls would give 1: the exact interval is about ${Math.sqrt(scatter).toFixed(1)} times too narrow; report the quasi-Poisson one.`;
}

/** rates.json: settings, effort, what was left out and the rates over the whole study. */
export function ratesToJson(rates: Rates, more: Record<string, unknown>): string {
  const value = {
    kind: 'volary-rates', schemaVersion: 1, ...more, settings: rates.settings, effort: rates.effort, leftOut: rates.leftOut, rates: rates.rates,
    bouts: rates.bouts.length, dispersion: explainDispersion(rates.rates.find((r) => r.bird === '' && r.what === 'calls')!),
  };
  return `${JSON.stringify(value, (_, v: unknown) => (typeof v === 'number' ? (Number.isFinite(v) ? Number(v.toPrecision(10)) : null) : v), 2)}\n`;
}

/** Hours to a tenth, parts of one to three digits: a minute is 0.0167. */
export function formatHours(hours: number): string {
  return hours >= 1 || !(hours > 0) ? hours.toFixed(1) : String(Number(hours.toPrecision(3)));
}

function range(low: number, high: number): string {
  return Number.isFinite(low) && Number.isFinite(high) ? `${low.toFixed(2)} to ${high.toFixed(2)}` : '-';
}

function sum(values: readonly number[]): number {
  return values.reduce((s, v) => s + v, 0);
}
