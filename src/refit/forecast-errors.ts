import { ln } from '../numeric/elementary.js';
import { RandomWords } from '../numeric/random-words.js';
import { sortedQuantile } from '../numeric/quantile.js';
import { binOfProbability } from '../score/calibration.js';

/** How far stated probabilities lie from what was found; all are means over the rows, weighted by what each row stands for. */
export interface ForecastErrors {
  /** -ln of the probability of what was found: the measure by which two tables are compared. */
  logLoss: number;
  /** Mean squared difference of probability and outcome (Brier 1950). */
  brier: number;
  /** Expected calibration error, 15 equal bins. */
  calibrationError: number;
  /** Mean probability. */
  claimed: number;
}

export interface WeightedForecast {
  probability: number;
  isRight: boolean;
  weight: number;
}

const BINS = 15;
const ROUNDS = 200;

export function measureForecastErrors(forecasts: readonly WeightedForecast[]): ForecastErrors {
  const mean = (read: (f: WeightedForecast) => number): number =>
    forecasts.reduce((s, f) => s + f.weight * read(f), 0) / forecasts.reduce((s, f) => s + f.weight, 0);
  return {
    logLoss: mean((f) => -ln(f.isRight ? f.probability : 1 - f.probability)),
    brier: mean((f) => (f.probability - Number(f.isRight)) ** 2),
    calibrationError: measureCalibrationError(forecasts, (f) => Number(f.isRight)),
    claimed: mean((f) => f.probability),
  };
}

/** The median calibration error that right probabilities would show by chance with as many rows of the same weights. */
export function expectChanceError(forecasts: readonly WeightedForecast[], seed = 1): number {
  const random = new RandomWords(seed);
  const errors = Float64Array.from({ length: ROUNDS }, () => measureCalibrationError(forecasts, (f) => Number(random.nextUnit() < f.probability)));
  return sortedQuantile(errors.sort(), 0.5);
}

function measureCalibrationError(forecasts: readonly WeightedForecast[], outcomeOf: (f: WeightedForecast) => number): number {
  const surplus = new Float64Array(BINS);
  let total = 0;
  for (const f of forecasts) {
    surplus[binOfProbability(f.probability, BINS)] += f.weight * (f.probability - outcomeOf(f));
    total += f.weight;
  }
  return surplus.reduce((s, x) => s + Math.abs(x), 0) / total;
}
