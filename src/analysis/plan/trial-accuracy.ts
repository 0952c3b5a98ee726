/** A share or length with its 95 % interval; null where it is not defined. */
export interface TrialEstimate { value: number | null; low: number | null; high: number | null }

/** What the simulator says of the room: what was run, and how right the calls were. */
export interface TrialAccuracy {
  /** Scene file or kind of room. */
  source: string;
  seeds: number[];
  durationSec: number;
  /** Tagged birds and samples per second of every run. */
  birds: number[];
  sampleRateHz: number[];
  /** Calls of tagged birds in all runs. */
  calls: number;
  /** Right time and right bird, F1, all runs together. */
  rightBird: TrialEstimate;
  detection: TrialEstimate;
  /** Rows of a tagged bird that lie in somebody else's call, per true call. */
  ghosts: TrialEstimate;
  onsetErrorMs: TrialEstimate;
  /** Right time and right bird, F1, run by run. */
  perRun: (number | null)[];
}

const percent = (v: number | null): string => (v === null ? '-' : (100 * v).toFixed(1));
const span = (e: TrialEstimate, show: (v: number | null) => string, unit: string): string => (e.value === null ? 'not defined' : `${show(e.value)}${unit} (${show(e.low)} to ${show(e.high)})`);

/** The accuracy to be expected, as text for people. */
export function formatTrial(trial: TrialAccuracy, planned: { birds: number; sampleRateHz?: number }): string[] {
  const { seeds, perRun } = trial;
  const known = perRun.filter((v): v is number => v !== null);
  const millis = (v: number | null): string => (v === null ? '-' : v.toFixed(1));
  return [
    `Accuracy expected, from ${seeds.length} simulated recording${seeds.length > 1 ? 's' : ''} of ${Number(trial.durationSec.toFixed(1))} s (${trial.source}; seeds ${seeds[0]} to ${seeds[seeds.length - 1]}), ${trial.calls} calls of tagged birds`,
    `  right time and right bird  ${span(trial.rightBird, percent, ' %')}${known.length > 1 ? `; run by run ${percent(Math.min(...known))} to ${percent(Math.max(...known))}` : ''}`,
    `  found, whoever called      ${span(trial.detection, percent, ' %')}`,
    `  ghosts per true call       ${span(trial.ghosts, (v) => (v === null ? '-' : v.toFixed(3)), '')}`,
    `  onset error, median ms     ${span(trial.onsetErrorMs, millis, '')}`,
    '  F1 scores; 95 % intervals over stretches of these runs. Real rooms differ from simulated ones more than that: verify a sample by ear later.',
    ...compareWithPlan(trial, planned).map((line) => `  ${line}`),
  ];
}

/** A trial of another group or recorder answers another question. */
function compareWithPlan(trial: TrialAccuracy, planned: { birds: number; sampleRateHz?: number }): string[] {
  const list = (values: number[]): string => [...new Set(values)].join(', ');
  return [
    ...(trial.birds.some((n) => n !== planned.birds) ? [`Caution: the simulated recordings have ${list(trial.birds)} tagged birds, the plan ${planned.birds}.`] : []),
    ...(planned.sampleRateHz !== undefined && trial.sampleRateHz.some((f) => f !== planned.sampleRateHz) ? [`Caution: they have ${list(trial.sampleRateHz)} samples per second, the plan ${planned.sampleRateHz}.`] : []),
  ];
}
