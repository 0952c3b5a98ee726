/** How alike the spectra of sounds are: inner products of the roots of their shares of energy in bands. */
import type { Candidate } from '../evidence/candidate.js';
import type { Template } from './templates.js';

/** Spectra of a bird's templates side by side: read many times, so none is sought through its candidate. */
export interface TemplateSpectra {
  bandCount: number;
  /** [template][band]. */
  bands: Float64Array;
  /** Length of the upper half of each spectrum, as a vector. */
  upperNorm: Float64Array;
  onsetSec: Float64Array;
  offsetSec: Float64Array;
}

export function gatherSpectra(candidates: readonly Candidate[], list: readonly Template[]): TemplateSpectra {
  const of = (t: Template): Candidate => candidates[t.candidate];
  const bandCount = list.length > 0 ? of(list[0]).bands.length : 0;
  const bands = new Float64Array(list.length * bandCount);
  list.forEach((t, m) => bands.set(of(t).bands, m * bandCount));
  return {
    bandCount, bands, upperNorm: Float64Array.from(list, (t) => measureUpper(of(t).bands)),
    onsetSec: Float64Array.from(list, (t) => of(t).onsetSec), offsetSec: Float64Array.from(list, (t) => of(t).offsetSec),
  };
}

/**
 * Likeness of the spectrum to the most similar sure call of the own bird and of all others; calls that overlap do not count.
 * @param findNear templates [from, to) of a list near a time
 */
export function compareSpectra(
  c: Candidate, templates: readonly (readonly Template[])[], spectra: readonly TemplateSpectra[], findNear: (list: readonly Template[], tSec: number) => [number, number],
): [number, number] {
  const upper = measureUpper(c.bands);
  let own = 0; let others = 0;
  for (let k = 0; k < templates.length; k++) {
    const [from, to] = findNear(templates[k], c.onsetSec);
    const best = findLikest(c, spectra[k], from, to, upper, k === c.track ? own : others);
    if (k === c.track) own = best; else others = best;
  }
  return [own, others];
}

/** A product less than this below the bound is worked out. */
const ROUNDING = 1e-9;

function findLikest(c: Candidate, s: TemplateSpectra, from: number, to: number, upper: number, least: number): number {
  const { bands } = c;
  const { onsetSec, offsetSec } = c;
  const count = s.bandCount, half = count >> 1;
  let best = least;
  for (let m = from; m < to; m++) {
    if (s.onsetSec[m] < offsetSec && s.offsetSec[m] > onsetSec) continue;
    const at = m * count;
    let sum = 0;
    for (let b = 0; b < half; b++) sum += bands[b] * s.bands[at + b];
    // What is left is no more than the product of the lengths (Cauchy and Schwarz).
    if (sum + upper * s.upperNorm[m] + ROUNDING < best) continue;
    for (let b = half; b < count; b++) sum += bands[b] * s.bands[at + b];
    if (sum > best) best = sum;
  }
  return best;
}

function measureUpper(bands: Float64Array): number {
  let square = 0;
  for (let b = bands.length >> 1; b < bands.length; b++) square += bands[b] ** 2;
  return Math.sqrt(square);
}

/** Likeness of two spectra, each the roots of its shares of energy in bands: 1 of equal ones. */
export function multiplySpectra(a: Float64Array, b: Float64Array): number {
  let sum = 0;
  for (let k = 0; k < a.length; k++) sum += a[k] * b[k];
  return sum;
}
