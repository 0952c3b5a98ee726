import { choosePath } from './choose-path.js';
import type { PathContext } from './choose-path.js';
import { spreadPrior, tameLevels } from './crosstalk-levels.js';
import { createPlanes, measurePower, smoothBins, smoothPower } from './planes.js';
import type { Planes } from './planes.js';
import type { PathSystem } from './path-system.js';
import type { BinRange } from '../kernels/paths.js';
import { smoothTrack } from './section.js';
import type { Section } from './section.js';
import { removeTrusted, weighTrust } from './trust-removal.js';

/** A bird that calls in the section. */
export interface Voice {
  track: number;
  /** 1 in windows that may hold the bird's voice, 0 elsewhere. */
  active: Uint8Array;
}

/** What is known of one voice while the estimate runs; all arrays [frame][bin]. */
interface State extends Voice {
  /** Power spectrum of the voice. */
  power: Float32Array;
  /** Posterior mean and variance of the voice. */
  mean: Planes;
  variance: Float32Array;
  /** Own track minus the predicted crosstalk, and the variance of what is left of it. */
  residual: Planes;
  leftover: Float32Array;
  crosstalk: Planes;
}

export interface VoiceEstimate {
  track: number;
  /** Own track minus the predicted crosstalk, as far as that is trusted. */
  residual: Planes;
  /** Variance of the crosstalk left in the residual, and power of the voice, [frame][bin]. */
  leftover: Float32Array;
  power: Float32Array;
}

/** Crosstalk counts from this share of the noise power on, at its peak. */
const AUDIBLE = 0.3;

/**
 * Separates the voices of birds that call at the same time, each on its own track.
 *
 * Model per bin: Y_i(k) = V_i(k) + sum over j, l of H_ij(l) V_j(k - l) + noise, with V_i complex Gaussian of a variance that is smooth over time and
 * frequency, and H_ij Gaussian with what solo calls say about it. Rounds alternate between the paths (regularised least squares, every
 * observation weighted by its inverse variance, the stretch itself included) and the voices (posterior mean of each, crosstalk
 * taken out); the posterior mean of the other voices serves as reference, so that an own voice that leaks into them does not cancel itself.
 * Source of the local Gaussian model: Duong, Vincent & Gribonval 2010, IEEE TASLP 18(7); of filters over several frames with weights by the
 * inverse variance: Nakatani et al. 2010, IEEE TASLP 18(7).
 */
export async function estimateVoices(context: PathContext, section: Section, voices: readonly Voice[], tSec: number): Promise<VoiceEstimate[]> {
  const c = { ...context, levels: tameLevels(context.levels, section, voices.map((v) => v.track), context.floors, context.settings.tameFactor) };
  const states = voices.map((v) => beginVoice(c, section, v, voices));
  const members = voices.map((v) => v.track), known = new Map<string, PathSystem | undefined>(), range = findRange(c, section, voices);
  for (const to of states) {
    for (const from of states) {
      if (from === to) continue;
      const otherPower = expectOtherPower(c, states, to, from);
      known.set(`${to.track} ${from.track}`, await choosePath(c, to.track, from.track, tSec, { section, otherPower, members }, range));
    }
  }
  for (let round = 0; round < c.settings.rounds; round++) {
    for (const state of [...states].reverse()) refineVoice(c, section, state, states.filter((s) => s !== state), known, range, round > 0);
  }
  for (const state of states) {
    const isBlind = states.some((s) => s !== state && !known.get(`${state.track} ${s.track}`));
    const { removalDoubt, blindDoubt } = c.settings;
    state.residual = removeTrusted(section.tracks[state.track], state.crosstalk, weighTrust(state.crosstalk, state.leftover, state.active, isBlind ? blindDoubt : removalDoubt, c.settings));
    updateVoice(c, state);
  }
  return states.map(({ track, residual, leftover, power }) => ({ track, residual, leftover, power }));
}

/** Bins between the lowest and the highest in which crosstalk may stand out of the noise somewhere. */
function findRange(c: PathContext, section: Section, voices: readonly Voice[]): BinRange {
  const { binCount } = c.settings;
  let first = binCount, end = 0;
  for (const from of voices) {
    const peak = new Float32Array(binCount), power = measurePower(section.tracks[from.track]);
    for (let i = 0, b = 0; i < power.length; i++) { peak[b] = Math.max(peak[b], power[i]); if (++b === binCount) b = 0; }
    for (const to of voices) {
      if (to === from) continue;
      const ratio = c.levels.ratio[to.track * c.levels.trackCount + from.track], floor = c.floors[to.track];
      peak.forEach((p, b) => { if (ratio[b] * p > AUDIBLE * floor[b]) { first = Math.min(first, b); end = Math.max(end, b + 1); } });
    }
  }
  return [Math.min(first, end), end];
}

/** First estimate from levels alone. */
function beginVoice(c: PathContext, section: Section, voice: Voice, all: readonly Voice[]): State {
  const observed = section.tracks[voice.track], { binCount, frameCount } = observed, floor = c.floors[voice.track];
  const own = smoothTrack(section, voice.track), expected = new Float32Array(own.length);
  for (const other of all) if (other !== voice) addLevels(c, voice.track, other.track, smoothTrack(section, other.track), expected);
  const mean = createPlanes(frameCount, binCount), variance = new Float32Array(own.length);
  for (let k = 0, i = 0; k < frameCount; k++) {
    for (let b = 0; b < binCount; b++, i++) {
      const noise = expected[i] + floor[b], power = voice.active[k] * Math.max(own[i] - noise, 1e-14), gain = power / (power + noise);
      mean.re[i] = gain * observed.re[i]; mean.im[i] = gain * observed.im[i];
      variance[i] = gain * noise;
    }
  }
  const power = smoothPower(mean);
  keepActive(power, voice.active, binCount);
  return { ...voice, power, mean, variance, residual: observed, leftover: expected, crosstalk: createPlanes(frameCount, binCount) };
}

/** Power on a track from all voices but its own and `from`, and from what is not certain about `from`. */
function expectOtherPower(c: PathContext, states: readonly State[], to: State, from: State): Float32Array {
  const out: Float32Array = to.power.slice();
  for (const s of states) if (s !== to && s !== from) addLevels(c, to.track, s.track, s.power, out);
  addLevels(c, to.track, from.track, from.variance, out);
  return out;
}

function addLevels(c: PathContext, receiver: number, source: number, power: Float32Array, out: Float32Array, share = 1): void {
  const ratio = c.levels.ratio[receiver * c.levels.trackCount + source], binCount = ratio.length;
  for (let i = 0, b = 0; i < out.length; i++) { out[i] += share * ratio[b] * power[i]; if (++b === binCount) b = 0; }
}

function keepActive(power: Float32Array, active: Uint8Array, binCount: number): void {
  for (let k = 0; k < active.length; k++) if (!active[k]) power.fill(0, k * binCount, (k + 1) * binCount);
}

/** One round for one voice: its paths, what is left after the crosstalk, the voice. */
function refineVoice(c: PathContext, section: Section, state: State, others: readonly State[], known: ReadonlyMap<string, PathSystem | undefined>, range: BinRange, usesStretch: boolean): void {
  const { settings } = c, { binCount, tapCount } = settings, observed = section.tracks[state.track];
  const systems: { system: PathSystem; at: number }[] = [], prior = new Float64Array(tapCount * others.length * binCount);
  others.forEach((s, n) => {
    const path = known.get(`${state.track} ${s.track}`);
    if (path) systems.push({ system: path, at: n * tapCount });
    prior.set(spreadPrior(c.levels, state.track, s.track, settings), n * tapCount * binCount);
  });
  const { engine } = c.store, references = others.map((s) => s.mean);
  const weight = usesStretch ? weighStretch(c, section, state, others) : undefined;
  const { crosstalk, variance } = engine.explain(references, observed, weight, systems, prior, range);
  const crosstalkPower = smoothPower(crosstalk);
  for (let i = 0; i < variance.length; i++) variance[i] += settings.modelError * crosstalkPower[i];
  for (const s of others) addLevels(c, state.track, s.track, s.variance, variance, settings.referenceDoubt);
  state.leftover = variance;
  state.residual = subtract(observed, crosstalk);
  state.crosstalk = crosstalk;
  updateVoice(c, state);
}

/** The voice as the posterior mean of the residual, and its power from two looks: what the residual suggests, then what the first look leaves. */
function updateVoice(c: PathContext, state: State): void {
  const { residual, leftover: variance } = state, { frameCount, binCount } = residual, floor = c.floors[state.track];
  const leftover = smoothBins(variance, frameCount, binCount), raw = measurePower(residual), residualPower = smoothBins(raw, frameCount, binCount);
  const second = new Float32Array(raw.length);
  for (let k = 0, i = 0; k < frameCount; k++) {
    for (let b = 0; b < binCount; b++, i++) {
      const noise = variance[i] + floor[b], power = state.active[k] * Math.max(residualPower[i] - leftover[i] - floor[b], 0.003 * residualPower[i]), gain = power / (power + noise);
      second[i] = gain * gain * raw[i] + gain * noise;
    }
  }
  state.power = smoothBins(second, frameCount, binCount);
  keepActive(state.power, state.active, binCount);
  for (let i = 0, b = 0; i < raw.length; i++) {
    const noise = variance[i] + floor[b], gain = state.power[i] / (state.power[i] + noise);
    state.mean.re[i] = gain * residual.re[i]; state.mean.im[i] = gain * residual.im[i];
    state.variance[i] = gain * noise;
    if (++b === binCount) b = 0;
  }
}

/**
 * Inverse variance of what the paths do not explain in the stretch itself: the voice, noise, what a band-wise filter cannot model, and what is
 * not certain about the references.
 */
function weighStretch(c: PathContext, section: Section, state: State, others: readonly State[]): Float32Array {
  const { independence, modelError, binCount } = c.settings, floor = c.floors[state.track];
  const weight = smoothTrack(section, state.track).slice();
  for (let i = 0, b = 0; i < weight.length; i++) { weight[i] = state.power[i] + floor[b] + modelError * weight[i]; if (++b === binCount) b = 0; }
  for (const s of others) addLevels(c, state.track, s.track, s.variance, weight);
  for (let i = 0; i < weight.length; i++) weight[i] = independence / weight[i];
  return weight;
}

function subtract(x: Planes, y: Planes): Planes {
  const out = createPlanes(x.frameCount, x.binCount);
  for (let i = 0; i < out.re.length; i++) { out.re[i] = x.re[i] - y.re[i]; out.im[i] = x.im[i] - y.im[i]; }
  return out;
}
