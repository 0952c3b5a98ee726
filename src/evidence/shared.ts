import type { FloorSpectrum } from './floors.js';
import type { BinSet } from './lags.js';
import type { OwnershipMap } from './ownership.js';
import { smoothLevel } from './smooth-level.js';
import type { StretchSpectra } from './spectra.js';

/** A wearer's voice leads by more than this on its own track; what no track leads by as much comes from elsewhere in the room. */
const MOST_LEAD_DB = 7;

/** Level over time of the sound that several tracks share without a clear lead, dB over the floor of the track that leads in each bin. */
export function measureSharedLevel(s: StretchSpectra, floors: readonly FloorSpectrum[], map: OwnershipMap, bins: readonly [number, number]): Float32Array {
  const floorSum = floors.map((f) => {
    let a = 0;
    for (let b = bins[0]; b < bins[1]; b++) a += f[b];
    return a;
  });
  const raw = s.kernels?.knowsOwner(map.owner, bins) ? s.kernels.bins.sumShared(floors, floorSum, MOST_LEAD_DB) : sumSharedFrames(s, floors, floorSum, map, bins);
  return smoothLevel(s, raw, 1);
}

/** The kernels' `sumShared` in plain loops. */
function sumSharedFrames(s: StretchSpectra, floors: readonly FloorSpectrum[], floorSum: readonly number[], map: OwnershipMap, bins: readonly [number, number]): Float32Array {
  const raw = new Float32Array(s.frameCount);
  for (let t = 0; t < s.frameCount; t++) {
    let a = 0;
    for (let b = bins[0]; b < bins[1]; b++) {
      const k = t * s.binCount + b;
      const j = map.owner[k];
      if (j === 255 || map.leadDb[k] > MOST_LEAD_DB) continue;
      a += Math.max(0, s.power[j][k] - floors[j][b]) / floorSum[j];
    }
    raw[t] = a;
  }
  return raw;
}

/** Bins of shared sound, the track that hears it best over its floor (-1 where none does), and its owners' mean lead. */
export interface SharedSet { set: BinSet; track: number; leadDb: number }

/** The shared sound of a stretch of frames. */
export function collectShared(
  s: StretchSpectra, floors: readonly FloorSpectrum[], lost: readonly Uint8Array[], map: OwnershipMap, bins: readonly [number, number], from: number, to: number,
): SharedSet {
  if (s.kernels?.knowsOwner(map.owner, bins)) {
    const { set, led, weight, heard } = s.kernels.bins.collectShared(floors, MOST_LEAD_DB, from, to);
    return { set, track: findLoudest(heard), leadDb: weight > 0 ? led / weight : 0 };
  }
  const found: number[] = [];
  const heard = new Float64Array(s.trackCount);
  let lead = 0; let weight = 0;
  for (let t = from; t < to; t++) {
    for (let b = bins[0]; b < bins[1]; b++) {
      const k = t * s.binCount + b;
      const o = map.owner[k];
      if (o === 255 || map.leadDb[k] > MOST_LEAD_DB) continue;
      found.push(k);
      const e = s.power[o][k] / floors[o][b];
      lead += e * map.leadDb[k];
      weight += e;
      for (let j = 0; j < s.trackCount; j++) if (!lost[j][t]) heard[j] += Math.max(0, s.power[j][k] / floors[j][b] - 1);
    }
  }
  return { set: Uint32Array.from(found), track: findLoudest(heard), leadDb: weight > 0 ? lead / weight : 0 };
}

function findLoudest(heard: Float64Array): number {
  let track = -1;
  for (let j = 0; j < heard.length; j++) if (heard[j] > (track < 0 ? 0 : heard[track])) track = j;
  return track;
}
