import type { Ptr } from '../kernels/kernel-exports.js';
import type { PlacedPlanes, PlaneSpace } from '../kernels/plane-space.js';
import { choosePath } from './choose-path.js';
import type { PathContext } from './choose-path.js';
import { spreadPrior, tameLevels } from './crosstalk-levels.js';
import type { Section } from './section.js';
import { weighTrust } from './trust-removal.js';

/** A bird that calls in the section. */
export interface Voice {
  track: number;
  /** 1 in windows that may hold the bird's voice, 0 elsewhere. */
  active: Uint8Array;
}

export interface VoiceEstimate {
  track: number;
  /** Own track minus the predicted crosstalk, as far as that is trusted. */
  residual: PlacedPlanes;
  /** Variance of the crosstalk left in the residual, and power of the voice, [frame][width]. */
  leftover: Ptr;
  power: Ptr;
}

/** What is known of one voice while the estimate runs; all in the kernels' memory, rows [frame][width]. */
interface State extends VoiceEstimate {
  observed: PlacedPlanes;
  active: Ptr;
  floor: Ptr;
  /** Posterior mean and variance of the voice. */
  mean: PlacedPlanes;
  variance: Ptr;
  /** |residual|^2. */
  raw: Ptr;
  crosstalk: PlacedPlanes;
  /** The other voices, the level at which each arrives, variances of the paths from them, f64 [tap of all][width], and where a path is known its system. */
  others: { state: State; level: Ptr; prior: Ptr; known: Ptr | undefined }[];
}

interface Work { c: PathContext; space: PlaneSpace; section: Section; ones: Ptr }

/**
 * Separates the voices of birds that call at the same time, each on its own track. The result is in memory that is taken.
 *
 * Model per bin: Y_i(k) = V_i(k) + sum over j, l of H_ij(l) V_j(k - l) + noise, with V_i complex Gaussian of a variance that is smooth over time and
 * frequency, and H_ij Gaussian with what solo calls say about it. Rounds alternate between the paths (regularised least squares, every
 * observation weighted by its inverse variance, the stretch itself included) and the voices (posterior mean of each, crosstalk
 * taken out); the posterior mean of the other voices serves as reference, so that an own voice that leaks into them does not cancel itself.
 * Source of the local Gaussian model: Duong, Vincent & Gribonval 2010, IEEE TASLP 18(7); of filters over several frames with weights by the
 * inverse variance: Nakatani et al. 2010, IEEE TASLP 18(7).
 */
export async function estimateVoices(context: PathContext, section: Section, voices: readonly Voice[], tSec: number): Promise<VoiceEstimate[]> {
  const { space } = context.store.engine, members = voices.map((v) => v.track), { settings } = context;
  const c = { ...context, levels: tameLevels(space, context.levels, section, members, context.floorRows, settings.tameFactor) };
  const work: Work = { c, space, section, ones: space.placeRow(new Float32Array(space.binCount).fill(1)) };
  const states = voices.map((v) => createState(work, v));
  for (const state of states) meetOthers(work, state, states);
  for (const state of states) beginVoice(work, state);
  for (const to of states) for (const from of to.others) from.known = await findPath(work, to, from, members, tSec);
  for (let round = 0; round < settings.rounds; round++) for (const state of [...states].reverse()) refineVoice(work, state, round > 0);
  for (const state of states) removeCrosstalk(work, state);
  return states;
}

function createState({ c, space, section }: Work, { track, active }: Voice): State {
  const n = section.spectrumCount, [residual, mean, crosstalk] = space.createPlanes(n, 3), [leftover, power, variance, raw] = Array.from({ length: 4 }, () => space.createRows(n));
  return { track, active: space.placeFlags(active), observed: section.tracks.get(track)!.planes, floor: c.floorRows[track], residual, mean, crosstalk, leftover, power, variance, raw, others: [] };
}

function meetOthers({ c, space, space: { k, width } }: Work, state: State, states: readonly State[]): void {
  const others = states.filter((s) => s !== state), values = c.settings.tapCount * width, priors = k.alloc(8 * values * others.length);
  state.others = others.map((other, n) => {
    const prior = priors + 8 * n * values;
    spreadPrior(c.levels, state.track, other.track, c.settings, width, k.f64(prior, values));
    return { state: other, level: space.placeRow(c.levels.ratio[state.track * c.levels.trackCount + other.track]), prior, known: undefined };
  });
}

/** First estimate from levels alone. */
function beginVoice({ space, space: { k, width }, section }: Work, s: State): void {
  const n = section.spectrumCount;
  space.viewRows(s.leftover, n).fill(0);
  for (const { state, level } of s.others) k.fn.addLevels(section.tracks.get(state.track)!.smooth, n, width, level, 1, s.leftover);
  k.fn.beginVoice(s.observed.ptr, section.tracks.get(s.track)!.smooth, s.leftover, s.floor, s.active, n, width, s.mean.ptr, s.variance);
  const mark = k.mark();
  space.smooth(space.measurePower(s.mean), n, s.power, s.active);
  k.release(mark);
}

/** The path from one voice to another that solo calls tell, given the power on the track from all other voices and from what is not certain about this one. */
async function findPath({ c, space, space: { k, width }, section }: Work, to: State, from: State['others'][number], members: readonly number[], tSec: number): Promise<Ptr | undefined> {
  const n = section.spectrumCount, system = c.store.engine.createSystem(), mark = k.mark(), otherPower = space.createRows(n);
  space.viewRows(otherPower, n).set(space.viewRows(to.power, n));
  for (const o of to.others) k.fn.addLevels(o === from ? o.state.variance : o.state.power, n, width, o.level, 1, otherPower);
  const isKnown = await choosePath(c, to.track, from.state.track, tSec, { section, otherPower, members }, from.prior, system);
  k.release(mark);
  return isKnown ? system : undefined;
}

/** One round for one voice: its paths, what is left after the crosstalk, the voice. */
function refineVoice(work: Work, s: State, usesStretch: boolean): void {
  const { c: { settings, store: { engine } }, space, space: { k, width }, section, ones } = work, n = section.spectrumCount, mark = k.mark();
  const weight = usesStretch ? weighStretch(work, s) : undefined, known = s.others.flatMap((o, at) => (o.known === undefined ? [] : [{ system: o.known, at: at * settings.tapCount }]));
  engine.explain(s.others.map((o) => o.state.mean), s.observed, weight, known, s.others[0].prior, s.crosstalk, s.leftover);
  const smooth = space.createRows(n);
  space.smooth(space.measurePower(s.crosstalk), n, smooth);
  k.fn.addLevels(smooth, n, width, ones, settings.modelError, s.leftover);
  for (const o of s.others) k.fn.addLevels(o.state.variance, n, width, o.level, settings.referenceDoubt, s.leftover);
  k.release(mark);
  k.fn.removeTrusted(s.observed.ptr, s.crosstalk.ptr, ones, n, width, s.residual.ptr, s.raw);
  updateVoice(work, s);
}

/** The voice as the posterior mean of the residual, and its power from two looks: what the residual suggests, then what the first look leaves. */
function updateVoice({ space, space: { k, width }, section }: Work, s: State): void {
  const n = section.spectrumCount, mark = k.mark(), [leftover, smooth, second] = Array.from({ length: 3 }, () => space.createRows(n));
  space.smooth(s.leftover, n, leftover);
  space.smooth(s.raw, n, smooth);
  k.fn.lookAtVoice(s.raw, smooth, s.leftover, leftover, s.floor, s.active, n, width, second);
  space.smooth(second, n, s.power, s.active);
  k.release(mark);
  k.fn.settleVoice(s.residual.ptr, s.leftover, s.power, s.floor, n, width, s.mean.ptr, s.variance);
}

/**
 * Inverse variance of what the paths do not explain in the stretch itself: the voice, noise, what a band-wise filter cannot model, and what is
 * not certain about the references.
 */
function weighStretch({ c: { settings: { independence, modelError } }, space, space: { k, width }, section }: Work, s: State): Ptr {
  const n = section.spectrumCount, other = space.createRows(n), weight = space.createRows(n);
  space.viewRows(other, n).set(space.viewRows(s.power, n));
  for (const o of s.others) k.fn.addLevels(o.state.variance, n, width, o.level, 1, other);
  k.fn.weighBins(section.tracks.get(s.track)!.smooth, other, n, width, s.floor, modelError, independence, weight);
  return weight;
}

/** Takes the crosstalk off as far as it is trusted, and looks at the voice once more. */
function removeCrosstalk(work: Work, s: State): void {
  const { c: { settings }, space, space: { k, width }, section } = work, n = section.spectrumCount, mark = k.mark();
  const doubt = s.others.some((o) => o.known === undefined) ? settings.blindDoubt : settings.removalDoubt;
  const predicted = space.sumRows(space.measurePower(s.crosstalk), 0, n, s.active), trust = weighTrust(predicted, space.sumRows(s.leftover, 0, n, s.active), doubt, settings);
  k.fn.removeTrusted(s.observed.ptr, s.crosstalk.ptr, space.placeRow(trust), n, width, s.residual.ptr, s.raw);
  k.release(mark);
  updateVoice(work, s);
}
