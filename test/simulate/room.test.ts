import { describe, expect, it } from 'vitest';
import { applyBiquad, designHighPass, designLowPass } from '../../src/simulate/filters.js';
import { Random } from '../../src/simulate/random.js';
import { RESPONSE_LEAD_FRAMES, Room } from '../../src/simulate/room.js';
import { makeEmitter, makeReceiver, makeRoom, rmsDb } from './support.js';

const FS = 44100;

function respond(room: Room, distanceM: number, high = 1.3): Float64Array {
  const out = new Float64Array(room.responseFrames);
  room.fillResponse(out, makeEmitter([0.4, 1.5, high]), makeReceiver([0.4 + distanceM, 1.5, high]), 0);
  return out;
}

/** Delay of the sound's centre in seconds: exact for a linear-phase pulse. */
function centroidSec(h: Float64Array): number {
  let sum = 0, moment = 0;
  h.forEach((v, i) => { sum += v; moment += i * v; });
  return (moment / sum - RESPONSE_LEAD_FRAMES) / FS;
}

describe('direct sound', () => {
  const room = new Room(makeRoom({ reflection: 0 }), FS, new Random(1));

  // Spherical spreading, 20 lg(r2 / r1), from 5 cm; the pulse is interpolated on 1/64 sample: 0.02 dB.
  it.each([[0.3, 15.563], [0.5, 20], [1, 26.021], [1.5, 29.542], [3, 35.563]])('at %d m is %d dB below 5 cm', (r, expected) => {
    const near = respond(room, 0.05), far = respond(room, r);
    // Below about 2 kHz, where 3 m of air take 0.03 dB.
    for (const h of [near, far]) for (let k = 0; k < 3; k++) applyBiquad(h, designLowPass(2000, Math.SQRT1_2, FS));
    const loss = (rmsDb(near) - rmsDb(far));
    expect(Math.abs(loss - expected)).toBeLessThan(0.03);
  });

  // Extra travel from 5 cm at 343.2 m/s in ms: (r - 0.05) / c. Half of the 1/64-sample grid at both ends.
  it.each([[0.3, 0.728], [0.5, 1.311], [1, 2.768], [1.5, 4.225], [3, 8.596]])('arrives at %d m %d ms later', (r, expectedMs) => {
    const extraMs = 1000 * (centroidSec(respond(room, r)) - centroidSec(respond(room, 0.05)));
    expect(Math.abs(extraMs - expectedMs)).toBeLessThan(0.0005 + 1000 / 64 / FS);
  });

  it('carries the air absorption of its path', () => {
    // 3 m of air at 20 degrees C, 50 %: 0.477 dB more at 10 kHz than near 0 Hz (ISO 9613-1, 158.8 dB/km).
    const h = respond(room, 3), w = (2 * Math.PI * 10000) / FS;
    let re = 0, im = 0, sum = 0;
    h.forEach((v, i) => { re += v * Math.cos(w * i); im -= v * Math.sin(w * i); sum += v; });
    expect(20 * Math.log10(Math.hypot(re, im) / sum)).toBeCloseTo(-0.476, 1);
  });
});

describe('mirror images', () => {
  it('puts the first echo of one wall at its place with its strength', () => {
    // Only the wall at z = 0 reflects (0.8): source and microphone 1.3 m above it, 1 m apart; path sqrt(1 + 2.6^2) m.
    const room = new Room(makeRoom({ reflection: [0, 0, 0, 0, 0.8, 0], highRatio: 1 }), FS, new Random(1));
    const h = respond(room, 1), path = Math.hypot(1, 2.6), at = RESPONSE_LEAD_FRAMES + (path / 343.2) * FS;
    let sum = 0, moment = 0;
    for (let i = Math.round(at) - 30; i < Math.round(at) + 30; i++) { sum += h[i]; moment += i * h[i]; }
    expect(sum).toBeCloseTo(0.8 / path, 2);
    expect(Math.abs(moment / sum - at)).toBeLessThan(0.05);
  });
});

describe('reverberation', () => {
  // T30 of the backward-integrated response (Schroeder 1965) in the 1 kHz octave, mean of 16 positions. 10 %: the accuracy that
  // ISO 3382-2 gives for its survey method (from memory); images and tail meet within that.
  it.each([
    [[0.6, 0.5, 0.5], 0.08], [[1, 0.9, 0.8], 0.2], [[3, 2.5, 2.2], 0.3], [[6, 4, 3], 0.8],
  ] as [[number, number, number], number][])('of a room %j is %d s', (sizeM, rt60Sec) => {
    const room = new Room(makeRoom({ sizeM, rt60Sec, scatter: 0.4, highRatio: 0.6 }), FS, new Random(5));
    const decay = new Float64Array(room.responseFrames), h = new Float64Array(room.responseFrames);
    for (let k = 0; k < 16; k++) {
      room.fillResponse(h, makeEmitter([sizeM[0] * (0.2 + 0.03 * k), sizeM[1] * 0.4, sizeM[2] * 0.5]), makeReceiver([sizeM[0] * 0.7, sizeM[1] * (0.9 - 0.04 * k), sizeM[2] * 0.6]), k);
      applyBiquad(h, designHighPass(707, Math.SQRT1_2, FS));
      applyBiquad(h, designLowPass(1414, Math.SQRT1_2, FS));
      let s = 0;
      for (let i = h.length - 1; i >= 0; i--) { s += h[i] * h[i]; decay[i] += s; }
    }
    const cross = (db: number): number => decay.findIndex((e) => 10 * Math.log10(e / decay[0]) < db) / FS;
    expect(Math.abs((2 * (cross(-35) - cross(-5))) / rt60Sec - 1)).toBeLessThan(0.1);
  });

  it('reaches two microphones without coherence, once the tail is diffuse', () => {
    const room = new Room(makeRoom({ rt60Sec: 0.5 }), FS, new Random(2));
    const a = new Float64Array(room.responseFrames), b = a.slice(), from = Math.round(0.06 * FS);
    room.fillResponse(a, makeEmitter([1, 1, 1]), makeReceiver([2, 2, 1]), 0);
    room.fillResponse(b, makeEmitter([1, 1, 1]), makeReceiver([2.3, 2, 1]), 1);
    let ab = 0, aa = 0, bb = 0;
    for (let i = from; i < a.length; i++) { ab += a[i] * b[i]; aa += a[i] * a[i]; bb += b[i] * b[i]; }
    // About (0.5 s / 13.8) * 44100 = 1600 effective samples: three standard deviations are 0.075.
    expect(Math.abs(ab) / Math.sqrt(aa * bb)).toBeLessThan(0.075);
  });
});
