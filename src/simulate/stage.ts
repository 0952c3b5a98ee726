import { applyBiquad, designHighPass, designHighShelf, designLowPass, meanSquare } from './filters.js';
import type { Biquad } from './filters.js';
import { getFft, nextPowerOfTwo } from './fft.js';
import type { Emitter, PathOptions, Receiver, Room } from './room.js';
import type { FullTag } from './scene.js';
import { distance } from './vector.js';

/** One microphone with its filters and the sum of all sound that reaches it. */
export interface Microphone {
  /** Index of the bird that wears it. */
  bird: number;
  tag: FullTag;
  /** Samples behind the tag's filters; nominal own call = 1. Sample 0 stands at the stage's start. */
  sum: Float32Array;
  /** The wearer's own voice alone, where asked for. */
  own?: Float32Array;
}

export interface Listener { receiver: Receiver; options: PathOptions }

/** Mean squares of one emission at every microphone, inside the window given. */
export interface Emission { samples: Float64Array; startFrame: number; windowStart: number; windowEnd: number; emitter: Emitter; ownBird: number }

/** Linear filters of a tag: low cut, feathers, band limit. */
export function designTagFilters(tag: FullTag, sampleRateHz: number): Biquad[] {
  const filters: Biquad[] = [];
  if (tag.lowCutHz > 0) filters.push(designHighPass(tag.lowCutHz, Math.SQRT1_2, sampleRateHz));
  if (tag.tiltDb !== 0) filters.push(designHighShelf(3000, tag.tiltDb, sampleRateHz));
  if (tag.highCutHz < 0.44 * sampleRateHz) filters.push(designLowPass(tag.highCutHz, Math.SQRT1_2, sampleRateHz));
  return filters;
}

export function filterThroughTag(x: Float64Array, tag: FullTag, sampleRateHz: number): void {
  for (const filter of designTagFilters(tag, sampleRateHz)) applyBiquad(x, filter);
}

/** Plays sounds into the room and collects them at every microphone. */
export class Stage {
  constructor(readonly room: Room, readonly microphones: Microphone[], readonly sampleRateHz: number) {}

  /**
   * Convolves the emission with the response to every microphone (two at a time in one complex transform) and adds it.
   * @returns mean square at each microphone over the emission's window, shifted by the travel time
   */
  emit(e: Emission, gain: number, listeners: readonly Listener[]): number[] {
    const { room, microphones } = this;
    const responseFrames = room.responseFrames, size = nextPowerOfTwo(e.samples.length + responseFrames);
    const fft = getFft(size);
    const sourceRe = new Float64Array(size), sourceIm = new Float64Array(size);
    for (let i = 0; i < e.samples.length; i++) sourceRe[i] = gain * e.samples[i];
    fft.forwardScrambled(sourceRe, sourceIm);
    const re = new Float64Array(size), im = new Float64Array(size);
    const responses = [new Float64Array(responseFrames), new Float64Array(responseFrames)];
    const powers: number[] = [];
    for (let m = 0; m < microphones.length; m += 2) {
      const count = Math.min(2, microphones.length - m);
      re.fill(0); im.fill(0);
      for (let k = 0; k < count; k++) {
        room.fillResponse(responses[k], e.emitter, listeners[m + k].receiver, m + k, listeners[m + k].options);
        filterThroughTag(responses[k], microphones[m + k].tag, this.sampleRateHz);
        (k === 0 ? re : im).set(responses[k]);
      }
      fft.forwardScrambled(re, im);
      for (let i = 0; i < size; i++) {
        const a = re[i], b = im[i];
        re[i] = a * sourceRe[i] - b * sourceIm[i];
        im[i] = a * sourceIm[i] + b * sourceRe[i];
      }
      fft.inverseScrambled(re, im);
      for (let k = 0; k < count; k++) powers.push(this.add(k === 0 ? re : im, e, m + k, listeners[m + k], responseFrames));
    }
    return powers;
  }

  private add(wet: Float64Array, e: Emission, index: number, listener: Listener, responseFrames: number): number {
    const microphone = this.microphones[index];
    const lead = this.room.leadFrames, start = e.startFrame - lead, length = e.samples.length + responseFrames - 1;
    const from = Math.max(0, -start), to = Math.min(length, microphone.sum.length - start);
    for (let i = from; i < to; i++) microphone.sum[start + i] += wet[i];
    if (microphone.own && microphone.bird === e.ownBird) for (let i = from; i < to; i++) microphone.own[start + i] += wet[i];
    const travel = Math.round((distance(e.emitter.positionM, listener.receiver.positionM) / this.room.soundSpeed + listener.receiver.delaySec) * this.sampleRateHz);
    return meanSquare(wet, Math.max(0, e.windowStart + lead + travel), Math.min(length, e.windowEnd + lead + travel));
  }
}
