import type { HighPass, RoomTrack } from '../kernels/stretch-kernels.js';
import { cosTurn, pow10, sinTurn } from '../numeric/elementary.js';
import type { StretchContext } from './measure-candidate.js';
import type { Segment } from './segments.js';

export interface Edges { onsetSec: number; offsetSec: number }

const SMOOTH_SEC = 0.003;
/** The high-pass starts this much before the stretch. */
const WARM_SEC = 0.01;
const ONSET_BELOW_DB = 27;
const OFFSET_BELOW_DB = 17;
/** A voice stops within about two milliseconds once it is 17 dB down; the room goes on. Found on simulated rooms. */
const OFFSET_AFTER_SEC = 0.002;
/** The first samples of a voice lie below the threshold for a third of a millisecond. Found on simulated rooms. */
const ONSET_AFTER_SEC = 0.0003;
/** Edges of a core, whose surroundings are loud: this far below the peak. */
const CORE_BELOW_DB = 13;
const LEAST_OVER_NOISE_DB = 7;
const ROOM_SHARE = 1.6;

/**
 * Onset and offset of a segment, seconds from the stretch's start. Where the track owns nearly all sound: crossings of the band-passed
 * envelope (3 ms) 27 dB below the peak at the start and 17 dB below at the end, both at least 7 dB over the noise. Else: crossings of the
 * owned level.
 */
export function refineEdges(c: StretchContext, segment: Segment, ownedShare: number): Edges {
  const { settings } = c;
  const hopSec = settings.hopFrames / settings.sampleRateHz;
  const coarse = crossOwnedLevel(c, segment, hopSec);
  if (ownedShare < 0.85 || segment.overPedestal || segment.shared) return coarse;
  const fs = settings.sampleRateHz;
  const pad = Math.round(0.025 * fs);
  const first = Math.max(0, segment.startFrame * settings.hopFrames - pad);
  const length = c.spectra.kernels?.region.signal.frameCount ?? c.signals[segment.track].length;
  const last = Math.min(length, segment.endFrame * settings.hopFrames + pad);
  if (!(last > first)) return coarse;
  const noise = bandNoise(c, segment.track);
  const { envelope, dry } = measureEnvelopes(c, segment.track, noise, first, last);
  const from = segment.startFrame * settings.hopFrames - first;
  const to = Math.min(envelope.length, segment.endFrame * settings.hopFrames - first);
  let peak = 0;
  let at = from;
  for (let k = Math.max(0, from); k < to; k++) if (envelope[k] > peak) { peak = envelope[k]; at = k; }
  const least = noise * pow10(LEAST_OVER_NOISE_DB / 10);
  const low = Math.max(peak * pow10(-ONSET_BELOW_DB / 10), least);
  const high = Math.max(peak * pow10(-OFFSET_BELOW_DB / 10), least);
  if (!(peak > low)) return coarse;
  const hold = Math.round((segment.elements > 1 ? 0.05 : 0.012) * fs);
  const onset = (first + walkEdge(envelope, at, -1, low, hold)) / fs - ONSET_AFTER_SEC;
  const offset = (first + walkEdge(dry, at, 1, high, hold)) / fs + OFFSET_AFTER_SEC;
  // A correction beyond the resolution of the frames means that another sound was followed.
  return {
    onsetSec: Math.abs(onset - coarse.onsetSec) < 0.02 ? onset : coarse.onsetSec,
    offsetSec: offset - coarse.offsetSec < 0.03 && offset > onset ? offset : coarse.offsetSec,
  };
}

type Envelope = Float32Array | Float64Array;

/**
 * The envelope of a track, and the same without the room's decay: after a call the diffuse field is about equally loud at every microphone
 * once the gains are taken out, so 1.6 times the median of the other tracks is subtracted. During the call the others are far below the own
 * track and little is lost.
 */
function measureEnvelopes(c: StretchContext, track: number, ownNoise: number, first: number, last: number): { envelope: Envelope; dry: Envelope } {
  const { settings } = c;
  const middle = Math.round((first + last) / 2 / settings.hopFrames);
  const others: RoomTrack[] = [];
  for (let j = 0; j < c.signals.length; j++) {
    if (j === track || c.lost[j][Math.min(middle, c.lost[j].length - 1)]) continue;
    others.push({ track: j, noise: bandNoise(c, j), scale: pow10((c.gainDb[track] - c.gainDb[j]) / 10) });
  }
  const fs = settings.sampleRateHz;
  const filter = designHighPass(settings.bandHz[0], fs);
  const warm = Math.round(WARM_SEC * fs);
  const width = Math.max(1, Math.round(SMOOTH_SEC * fs));
  const { own, room } = c.spectra.kernels?.measureRoom(filter, track, others, first, last, warm, width)
    ?? findRoom(c.signals, filter, track, others, first, last, warm, width);
  if (others.length === 0) return { envelope: own, dry: own };
  const dry = new Float64Array(own.length);
  for (let n = 0; n < own.length; n++) dry[n] = Math.max(ownNoise * 1e-3, own[n] - ROOM_SHARE * room[n]);
  return { envelope: own, dry };
}

/** The kernels' `measureRoom` in plain loops. */
function findRoom(
  signals: readonly Float32Array[], filter: HighPass, track: number, others: readonly RoomTrack[], first: number, last: number, warm: number, width: number,
): { own: Envelope; room: Envelope } {
  const own = smoothEnvelope(signals[track], filter, first, last, warm, width);
  const envelopes = others.map((o) => smoothEnvelope(signals[o.track], filter, first, last, warm, width));
  const room = new Float64Array(own.length);
  const column = new Float64Array(others.length);
  for (let n = 0; n < own.length; n++) {
    for (let k = 0; k < others.length; k++) column[k] = Math.max(0, envelopes[k][n] - others[k].noise) * others[k].scale;
    column.sort();
    room[n] = column[column.length >> 1];
  }
  return { own, room };
}

/** Last index in a direction that is above the threshold, bridging stretches below it of up to `hold` samples. */
function walkEdge(envelope: Envelope, from: number, step: number, low: number, hold: number): number {
  let last = from;
  for (let k = from; k >= 0 && k < envelope.length; k += step) {
    if (envelope[k] >= low) last = k;
    else if (Math.abs(k - last) > hold) break;
  }
  return last;
}

/** Second-order Butterworth high-pass by the bilinear transform (Oppenheim and Schafer 7.1). */
function designHighPass(lowHz: number, fs: number): HighPass {
  const k = sinTurn(lowHz / (2 * fs)) / cosTurn(lowHz / (2 * fs));
  const b = 1 / (1 + Math.SQRT2 * k + k * k);
  return { b, a1: 2 * (k * k - 1) * b, a2: (1 - Math.SQRT2 * k + k * k) * b };
}

/** Mean power over `width` frames of the signal after a high-pass that starts `warmFrames` earlier. */
function smoothEnvelope(x: Float32Array, { b, a1, a2 }: HighPass, first: number, last: number, warmFrames: number, width: number): Float64Array {
  const out = new Float64Array(last - first);
  const square = new Float64Array(last - first);
  let x1 = 0; let x2 = 0; let y1 = 0; let y2 = 0;
  const warm = Math.max(0, first - warmFrames);
  for (let n = warm; n < last; n++) {
    const y = b * (x[n] - 2 * x1 + x2) - a1 * y1 - a2 * y2;
    x2 = x1; x1 = x[n]; y2 = y1; y1 = Math.abs(y) < 1e-15 ? 0 : y;
    if (n >= first) square[n - first] = y * y;
  }
  let sum = 0;
  const half = width >> 1;
  for (let n = 0; n < out.length + half; n++) {
    if (n < out.length) sum += square[n];
    if (n - width >= 0) sum -= square[n - width];
    if (n - half >= 0) out[n - half] = Math.max(0, sum) / width;
  }
  return out;
}

/** Noise power of a track above the band's lower edge: the floor's mean over those bins (its bins carry the variance of white noise each). */
function bandNoise(c: StretchContext, track: number): number {
  const f = c.floors[track];
  const lo = c.settings.bandBins[0];
  let a = 0;
  for (let b = lo; b < f.length; b++) a += f[b];
  return a / f.length;
}

function crossOwnedLevel(c: StretchContext, segment: Segment, hopSec: number): Edges {
  const level = segment.shared ? c.sharedLevel : (segment.overPedestal ? c.tonalLevels : c.levels)[segment.track];
  const low = Math.max(3, segment.peakDb - (segment.core ? CORE_BELOW_DB : OFFSET_BELOW_DB));
  const interpolate = (inside: number, outside: number): number => {
    const a = level[inside];
    const b = level[outside] ?? -30;
    return a > low && b < low ? inside + ((a - low) / (a - b)) * (outside - inside) : inside;
  };
  let first = segment.startFrame;
  while (first < segment.peakFrame && level[first] < low) first++;
  let last = segment.endFrame - 1;
  while (last > segment.peakFrame && level[last] < low) last--;
  return { onsetSec: interpolate(first, first - 1) * hopSec, offsetSec: interpolate(last, last + 1) * hopSec };
}
