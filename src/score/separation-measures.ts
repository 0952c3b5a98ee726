/** Samples of one signal, float. */
export type Samples = ArrayLike<number>;

/**
 * Scale-invariant signal-to-distortion ratio in dB: 10 log10(|a s|^2 / |a s - e|^2) with a = <e, s> / |s|^2, no mean removed
 * (Le Roux, Wisdom, Erdogan & Hershey 2019, arXiv:1811.02508). Infinity for a scaled copy, -Infinity without any of the reference, NaN
 * where either signal is silent.
 * @param estimate separated signal, as long as the reference.
 */
export function measureSiSdr(estimate: Samples, reference: Samples): number {
  const { dot, referencePower, estimatePower } = innerProducts(estimate, reference, 0, 0);
  return scaledRatioDb(dot, referencePower, estimatePower, estimate, reference, 0, 0);
}

/** The same with the means of both signals removed first, known as SI-SNR. */
export function measureSiSnr(estimate: Samples, reference: Samples): number {
  const [meanE, meanS] = [meanOf(estimate), meanOf(reference)];
  const { dot, referencePower, estimatePower } = innerProducts(estimate, reference, meanE, meanS);
  return scaledRatioDb(dot, referencePower, estimatePower, estimate, reference, meanE, meanS);
}

/** Plain signal-to-noise ratio in dB: 10 log10(|s|^2 / |e - s|^2). */
export function measureSnr(estimate: Samples, reference: Samples): number {
  checkLengths(estimate, reference);
  let signal = 0;
  let noise = 0;
  for (let i = 0; i < reference.length; i++) {
    signal += reference[i] * reference[i];
    noise += (estimate[i] - reference[i]) ** 2;
  }
  return toDb(signal / noise);
}

export interface SeparationRatios {
  /** Source to everything else, dB. */
  sdrDb: number;
  /** Source to other sources, dB. */
  sirDb: number;
  /** Sources to artefacts (what no source explains), dB. */
  sarDb: number;
}

/**
 * Source-to-distortion, -interference and -artefacts ratio after Vincent, Gribonval & Févotte (2006): the estimate is projected on the
 * wanted source (target) and on all sources (target + interference); the rest is artefact. Each source may be filtered by `filterTaps`
 * taps (1 = a gain only; 512 is common practice in music separation, no source).
 * Work grows with length x (sources x taps)... squared for the solution: keep sources x taps up to about 1000.
 * @param estimate separated signal.
 * @param sources true sources, all as long as the estimate, none silent.
 * @param wanted index of the source that the estimate stands for.
 * @throws RangeError where lengths differ.
 */
export function measureSeparation(estimate: Samples, sources: readonly Samples[], wanted: number, filterTaps = 1): SeparationRatios {
  for (const source of sources) checkLengths(estimate, source);
  const target = project(estimate, [sources[wanted]], filterTaps);
  const explained = project(estimate, sources, filterTaps);
  let targetPower = 0;
  let interferencePower = 0;
  let explainedPower = 0;
  let artefactPower = 0;
  let errorPower = 0;
  for (let i = 0; i < explained.length; i++) {
    const e = i < estimate.length ? estimate[i] : 0;
    targetPower += target[i] ** 2;
    interferencePower += (explained[i] - target[i]) ** 2;
    explainedPower += explained[i] ** 2;
    artefactPower += (e - explained[i]) ** 2;
    errorPower += (e - target[i]) ** 2;
  }
  return { sdrDb: toDb(targetPower / errorPower), sirDb: toDb(targetPower / interferencePower), sarDb: toDb(explainedPower / artefactPower) };
}

/** Least-squares projection of the estimate on delayed copies (0 to taps - 1 samples) of the sources; taps - 1 samples longer. */
function project(estimate: Samples, sources: readonly Samples[], taps: number): Float64Array {
  const gram = gramMatrix(sources, taps);
  const right = new Float64Array(sources.length * taps);
  sources.forEach((source, s) => {
    for (let delay = 0; delay < taps; delay++) right[s * taps + delay] = correlate(source, estimate, delay);
  });
  const filters = solveSymmetric(gram, right);
  const out = new Float64Array(estimate.length + taps - 1);
  sources.forEach((source, s) => {
    for (let delay = 0; delay < taps; delay++) {
      const gain = filters[s * taps + delay];
      for (let i = 0; i < source.length; i++) out[i + delay] += gain * source[i];
    }
  });
  return out;
}

/** Inner products of all delayed sources; they depend on the difference of the delays alone, since copies may run past the end. */
function gramMatrix(sources: readonly Samples[], taps: number): Float64Array[] {
  const size = sources.length * taps;
  const gram = Array.from({ length: size }, () => new Float64Array(size));
  for (let a = 0; a < sources.length; a++) {
    for (let b = a; b < sources.length; b++) {
      for (let lag = 1 - taps; lag < taps; lag++) {
        const value = lag >= 0 ? correlate(sources[a], sources[b], lag) : correlate(sources[b], sources[a], -lag);
        // Copy of a delayed by i and of b delayed by j: lag = i - j.
        for (let i = Math.max(0, lag); i < taps && i - lag < taps; i++) {
          gram[a * taps + i][b * taps + i - lag] = value;
          gram[b * taps + i - lag][a * taps + i] = value;
        }
      }
    }
  }
  return gram;
}

/** Sum of a[n] b[n + lag], lag >= 0. */
function correlate(a: Samples, b: Samples, lag: number): number {
  let sum = 0;
  for (let n = 0; n + lag < b.length && n < a.length; n++) sum += a[n] * b[n + lag];
  return sum;
}

/** Solves a positive (semi)definite system by Cholesky; directions without power, such as a repeated source, get no weight. */
function solveSymmetric(matrix: Float64Array[], right: Float64Array): Float64Array {
  const n = right.length;
  const largest = matrix.reduce((max, row, i) => Math.max(max, row[i]), 0);
  const lower = matrix.map((row) => Float64Array.from(row));
  const isUsed = new Uint8Array(n);
  for (let j = 0; j < n; j++) {
    let pivot = matrix[j][j];
    for (let k = 0; k < j; k++) pivot -= lower[j][k] ** 2;
    isUsed[j] = pivot > 1e-12 * largest ? 1 : 0;
    const root = isUsed[j] ? Math.sqrt(pivot) : 1;
    lower[j][j] = root;
    for (let i = j + 1; i < n; i++) {
      let value = matrix[i][j];
      for (let k = 0; k < j; k++) value -= lower[i][k] * lower[j][k];
      lower[i][j] = isUsed[j] ? value / root : 0;
    }
  }
  const x = Float64Array.from(right);
  for (let i = 0; i < n; i++) {
    for (let k = 0; k < i; k++) x[i] -= lower[i][k] * x[k];
    x[i] = isUsed[i] ? x[i] / lower[i][i] : 0;
  }
  for (let i = n - 1; i >= 0; i--) {
    for (let k = i + 1; k < n; k++) x[i] -= lower[k][i] * x[k];
    x[i] = isUsed[i] ? x[i] / lower[i][i] : 0;
  }
  return x;
}

function innerProducts(estimate: Samples, reference: Samples, meanE: number, meanS: number): { dot: number; referencePower: number; estimatePower: number } {
  checkLengths(estimate, reference);
  let dot = 0;
  let referencePower = 0;
  let estimatePower = 0;
  for (let i = 0; i < reference.length; i++) {
    const e = estimate[i] - meanE;
    const s = reference[i] - meanS;
    dot += e * s;
    referencePower += s * s;
    estimatePower += e * e;
  }
  return { dot, referencePower, estimatePower };
}

/** The residual is summed, not taken as a difference of powers, which would lose its digits at high ratios. */
function scaledRatioDb(
  dot: number, referencePower: number, estimatePower: number, estimate: Samples, reference: Samples, meanE: number, meanS: number,
): number {
  if (!(referencePower > 0) || !(estimatePower > 0)) return NaN;
  const scale = dot / referencePower;
  let residual = 0;
  for (let i = 0; i < reference.length; i++) residual += (scale * (reference[i] - meanS) - (estimate[i] - meanE)) ** 2;
  return toDb((scale * scale * referencePower) / residual);
}

function toDb(ratio: number): number {
  return 10 * Math.log10(ratio);
}

function meanOf(values: Samples): number {
  let sum = 0;
  for (let i = 0; i < values.length; i++) sum += values[i];
  return sum / values.length;
}

function checkLengths(a: Samples, b: Samples): void {
  if (a.length !== b.length) throw new RangeError(`signals of different length: ${a.length} and ${b.length}`);
}
