import { computeEquivalencePower } from '../../numeric/equivalence.js';
import type { HabituationRow } from '../../schema/analysis-rows.js';
import { alignColumns, formatDigits } from '../align-columns.js';
import { DAY_SEC } from '../exclusions/derive-exclusions.js';
import { formatShare } from './decide-usable.js';
import type { UsableDecision } from './decide-usable.js';
import type { Habituation } from './measure-habituation.js';

/** What `volary habituation` prints: the group day by day, the decisions, and what was excluded. */
export function formatHabituation(result: Habituation): string {
  const { settings, rows } = result;
  const group = rows.filter((r) => r.bird === '');
  const table = group.length ? alignColumns([
    ['after', 'measure', 'day', 'birds', 'change', '90 %', 'p flip', 'p Holm', 'p equiv', 'detectable', 'verdict'],
    ...group.map((r) => [r.after, r.measure, String(r.day), String(r.pairs), percent(r.change), Number.isFinite(r.low) ? `${percent(r.low)} to ${percent(r.high)}` : '-',
      formatDigits(r.pFlip, 4), formatDigits(r.pHolm, 4), formatDigits(r.pEquivalence, 4), Number.isFinite(r.detectable) ? formatShare(r.detectable) : '-', r.verdict]),
  ]) : [];
  return [
    ...table,
    '',
    ...result.decisions.filter((d) => d.bird === '').map((d) => describeDecision(d, result)),
    ...describeBirds(result),
    ...describeReach(group),
    '',
    `Baseline: ${describeBaseline(result)}, at the same hours of the day; movement from ${settings.movement === 'sensor' ? 'the sensor table' : 'body noise on the own track'}.`,
    `Excluded (excluded.csv): ${describeExcluded(result)}.`,
    "'equivalent' = two one-sided tests within the margin; a test that finds no change is no proof of return. What could have been seen: column detectable (power 0.8).",
  ].join('\n');
}

/** From which day on, in words. */
export function describeDecision(decision: UsableDecision, result: Habituation): string {
  const { margin } = result.settings;
  const kind = { fitted: 'After fitting', battery: 'After a battery change', other: 'After other handling' }[decision.after];
  if (margin === undefined) return `${kind}: no margin was set (--margin), so nothing is claimed to be back to baseline.`;
  const within = `within ${formatShare(margin)} in ${decision.measures.join(', ')}`;
  if (decision.firstUsableDay !== null) return `${kind}: back to baseline ${within} from day ${decision.firstUsableDay} on (days compared: ${decision.testedDays}).`;
  const last = result.rows.filter((r) => r.bird === decision.bird && r.after === decision.after && r.day === decision.testedDays);
  const power = Math.min(...last.map((r) => computeEquivalencePower(r.standardError, r.dof, margin, result.settings.alpha)));
  const chance = Number.isFinite(power) ? ` with no true change, the weakest measure had a chance of ${formatShare(power)} to show it on day ${decision.testedDays};` : '';
  return `${kind}: not shown to be back to baseline ${within} within ${decision.testedDays} days;${chance} more birds or more baseline days would help.`;
}

function describeBirds(result: Habituation): string[] {
  const own = result.decisions.filter((d) => d.bird !== '');
  return (['fitted', 'battery', 'other'] as const).flatMap((after) => {
    const list = own.filter((d) => d.after === after);
    if (!list.length || result.settings.margin === undefined) return [];
    return [`  birds one by one: ${list.map((d) => `${d.bird} ${d.firstUsableDay === null ? 'not shown' : `day ${d.firstUsableDay}`}`).join(', ')} (${after})`];
  });
}

/** Few birds cannot give a small p, whatever they do. */
function describeReach(group: readonly HabituationRow[]): string[] {
  const tests = group.filter((r) => Number.isFinite(r.pFlip));
  const birds = Math.max(0, ...tests.map((r) => r.pairs));
  const smallest = 2 / 2 ** birds;
  if (!tests.length || smallest * tests.length < 0.05) return [];
  return [`  ${birds} birds give a sign-flip p of at least ${smallest.toFixed(4)}: after Holm over ${tests.length} tests the group alone can show no change; the birds' own rows (hours as pairs) can.`];
}

function describeBaseline({ settings, baselineHours }: Habituation): string {
  const hours = baselineHours.map((b) => b.hours);
  const span = settings.baseline ? `days ${settings.baseline.map((s) => s / DAY_SEC).join(' to ')}` : `later than ${settings.testDays.fitted} days after fitting and ${settings.testDays.battery} after a battery change`;
  return `${span} (${Math.min(...hours).toFixed(1)} to ${Math.max(...hours).toFixed(1)} usable hours per bird)`;
}

function describeExcluded({ excluded }: Habituation): string {
  if (!excluded.length) return 'nothing';
  const byReason = new Map<string, { birds: Set<string>; sec: number }>();
  for (const e of excluded) {
    const entry = byReason.get(e.reason) ?? { birds: new Set<string>(), sec: 0 };
    entry.birds.add(e.bird);
    entry.sec += e.endSec - e.startSec;
    byReason.set(e.reason, entry);
  }
  return [...byReason].map(([reason, { birds, sec }]) => `${(sec / DAY_SEC).toFixed(2)} bird days of ${birds.size} bird${birds.size > 1 ? 's' : ''} (${reason})`).join('; ');
}

function percent(share: number): string {
  return `${share >= 0 ? '+' : ''}${(100 * share).toFixed(1)} %`;
}

/** habituation.json: settings, decisions with their words, what is excluded, and all rows. */
export function habituationToJson(result: Habituation, more: Record<string, unknown>): string {
  const decisions = result.decisions.map((d) => ({ ...d, words: describeDecision(d, result) }));
  const power = (r: HabituationRow): number => (result.settings.margin === undefined ? NaN : computeEquivalencePower(r.standardError, r.dof, result.settings.margin, result.settings.alpha));
  const value = {
    kind: 'volary-habituation', schemaVersion: 1, ...more, settings: result.settings, decisions, excluded: result.excluded, baselineHours: result.baselineHours,
    rows: result.rows.map((r) => ({ ...r, equivalencePower: power(r) })),
  };
  return `${JSON.stringify(value, (_, v: unknown) => (typeof v === 'number' ? (Number.isFinite(v) ? Number(v.toPrecision(10)) : null) : v), 2)}\n`;
}
