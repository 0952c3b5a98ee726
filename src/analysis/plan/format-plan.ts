import { quoteCsvField } from '../../table/csv-text.js';
import type { TagPlan } from './make-plan.js';
import type { Proposal } from './propose-carriers.js';
import { formatTrial } from './trial-accuracy.js';

/** Shown with every plan: what numbers cannot decide. */
export const PLAN_CAUTIONS: readonly string[] = [
  'Percentages of body mass are guidelines from common practice, no promise that a bird takes no harm; studies of devices on birds found effects without a clear relation to relative mass.',
  'Animal experiments need a permit; the permit and the responsible veterinarian decide on mass, harness and handling.',
  'Trained people fit tags. Weigh every bird before and during the study; stop where one loses mass, cannot fly or plucks at its harness.',
  'Transmitters need a licence or a licence-free band; the radio authority of the country decides on frequency, power and time.',
  'Third-order products are one cause of interference; try all tags together, in the room, before a bird wears one.',
  'Battery life is capacity over current; measure it on tags of the same make, at the temperature of the room.',
];

const toMhz = (hz: number): string => (Number.isFinite(hz) ? (hz / 1e6).toFixed(4) : '');
const MOST_LINES = 12;

/** A plan as text for people. */
export function formatPlan(plan: TagPlan): string {
  const lines = [`${plan.name}: ${plan.load.length} birds, ${trim(plan.days)} days`, '', ...formatLoad(plan)];
  if (plan.radio) lines.push('', ...formatRadio(plan.radio));
  if (plan.battery) lines.push('', ...formatBattery(plan));
  if (plan.storage) lines.push('', ...formatStorage(plan));
  lines.push('', ...formatAccuracy(plan));
  lines.push('', plan.faults.length ? 'To mend:' : 'Nothing to mend was found.', ...plan.faults.map((f) => `  ${f}`));
  lines.push('', 'Cautions:', ...PLAN_CAUTIONS.map((c) => `  ${c}`));
  return lines.join('\n');
}

function formatAccuracy({ accuracy, trial }: TagPlan): string[] {
  if (accuracy) return formatTrial(accuracy, trial);
  const { birds, sampleRateHz } = trial;
  return [
    `Accuracy: not tried. Give the plan a "trial" (docs/plan.md), or write the room, its ${birds} birds${sampleRateHz ? ` and ${sampleRateHz} Hz` : ''} into a scene, then`,
    '  volary simulate scene.json --out trial', '  volary draft trial -o trial/study.json', '  volary attribute trial/study.json --out trial/result', '  volary score trial/result --labels trial/truth/truth.csv',
  ];
}

function formatLoad({ load, settings: s }: TagPlan): string[] {
  const width = Math.max(4, ...load.map((r) => r.bird.length));
  return [
    `Tag mass (guidelines ${trim(s.guidelinePercent)} % and ${trim(s.limitPercent)} % of body mass; common practice)`,
    `${'bird'.padEnd(width)}  body g   tag g       %   ${`${trim(s.guidelinePercent)} % g`.padStart(6)}  ${`${trim(s.limitPercent)} % g`.padStart(6)}`,
    ...load.map((r) => `${r.bird.padEnd(width)}  ${r.massG.toFixed(1).padStart(6)}  ${r.tagG.toFixed(2).padStart(6)}  ${r.percent.toFixed(1).padStart(6)}   ${r.guidelineG.toFixed(2).padStart(6)}  ${r.limitG.toFixed(2).padStart(6)}  ${r.verdict}`),
  ];
}

function formatRadio(radio: NonNullable<TagPlan['radio']>): string[] {
  const lines = [`Carriers (bandwidth ${trim(radio.bandwidthHz / 1000)} kHz after Carson's rule)`];
  const width = Math.max(4, ...radio.carriers.map((c) => c.bird.length));
  for (const c of radio.carriers) lines.push(`${c.bird.padEnd(width)}  ${c.origin === 'none' ? 'no carrier' : `${toMhz(c.carrierHz)} MHz  ${c.origin}`}`);
  const clashes = [
    ...radio.spacing.map((s) => `  ${s.birds.join(' and ')}: only ${trim(s.spacingHz / 1000)} kHz apart`),
    ...radio.products.map((p) => `  ${p.formula} = ${toMhz(p.freqHz)} MHz, ${trim(Math.abs(p.distanceHz) / 1000)} kHz from ${p.bird}`),
  ];
  lines.push(...clashes.slice(0, MOST_LINES));
  if (clashes.length > MOST_LINES) lines.push(`  and ${clashes.length - MOST_LINES} more clashes`);
  if (clashes.length === 0 && radio.carriers.some((c) => c.origin !== 'none')) lines.push('  no two nearer than the bandwidth, no third-order product on a carrier in use');
  if (radio.instead) lines.push(describeInstead(radio.instead));
  return lines;
}

function describeInstead(p: Proposal): string {
  if (p.outcome === 'found') return `  a free set for all: ${p.carriersHz.map(toMhz).join(', ')} MHz`;
  return p.outcome === 'impossible' ? '  no free set for all birds exists in this band on this raster' : '  no free set for all birds found before the search was given up';
}

function formatBattery({ battery, settings: s, days }: TagPlan): string[] {
  const b = battery!;
  const lines = [
    `Battery: ${b.nominalLifeHours.toFixed(1)} h ideal, ${b.countedLifeHours.toFixed(1)} h counted on (${trim(100 * s.usableShare)} % of the capacity), changed every ${trim(b.changeEveryDays)} days: ${b.changes} changes`,
    `  left out: ${trim(s.daysAfterFitting)} days after fitting, ${trim(s.daysAfterBattery)} after a change (common practice): ${trim(b.excludedDays)} of ${trim(days)} days, ${trim(b.usableDays)} usable`,
  ];
  for (const h of b.schedule.slice(0, MOST_LINES)) lines.push(`  day ${trim(h.day).padStart(5)}  ${h.what}${h.what === 'removed' ? '' : `, data from day ${trim(h.usableFromDay)}`}`);
  if (b.schedule.length > MOST_LINES) lines.push(`  and ${b.schedule.length - MOST_LINES} more rows`);
  return lines;
}

function formatStorage({ storage }: TagPlan): string[] {
  const s = storage!;
  return [
    `Storage: ${(s.bytes / 1e9).toFixed(1)} GB uncompressed, ${(s.bytesPerDay / 1e9).toFixed(2)} GB a day; twice that with the copy that every recording needs`,
    `  a WAVE file ends at 4 GiB, here after ${s.hoursPerWaveFile.toFixed(1)} h: record shorter files, or RF64 or FLAC`,
  ];
}

/** The tables of a plan by file name. Hz with no decimals, grams with 3, percent with 2, days with 4. */
export function formatPlanFiles(plan: TagPlan): Record<string, string> {
  const table = (header: string, rows: readonly (string | number)[][]): string => [header, ...rows.map((r) => r.map((f) => quoteCsvField(String(f))).join(','))].join('\n').concat('\n');
  const files: Record<string, string> = {
    'plan-birds.csv': table('bird,mass_g,tag_g,percent,guideline_g,limit_g,verdict', plan.load.map((r) => [r.bird, r.massG.toFixed(3), r.tagG.toFixed(3), r.percent.toFixed(2), r.guidelineG.toFixed(3), r.limitG.toFixed(3), r.verdict])),
    'plan-result.json': `${JSON.stringify(planToJson(plan), null, 2)}\n`,
  };
  if (plan.radio) {
    files['plan-carriers.csv'] = table('bird,carrier_hz,origin', plan.radio.carriers.map((c) => [c.bird, Number.isFinite(c.carrierHz) ? c.carrierHz.toFixed(0) : '', c.origin]));
    files['plan-clashes.csv'] = table('kind,product,freq_hz,bird,distance_hz', [
      ...plan.radio.spacing.map((s) => ['spacing', s.birds[0], '', s.birds[1], s.spacingHz.toFixed(0)]),
      ...plan.radio.products.map((p) => ['third-order', p.formula, p.freqHz.toFixed(0), p.bird, p.distanceHz.toFixed(0)]),
    ]);
  }
  if (plan.battery) files['plan-schedule.csv'] = table('day,what,usable_from_day', plan.battery.schedule.map((h) => [h.day.toFixed(4), h.what, h.usableFromDay.toFixed(4)]));
  return files;
}

/** A plan as JSON, cautions included; numbers that are not known are null. */
export function planToJson(plan: TagPlan): object {
  return { kind: 'volary-plan', schema: 1, ...plan, cautions: PLAN_CAUTIONS };
}

function trim(value: number): string {
  return String(Number(value.toFixed(2)));
}
