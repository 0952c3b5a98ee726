import type { Random } from './random.js';

/**
 * A blow on a bar, a perch or a bowl: a few modes that begin at once and fade each at its own rate, under the short noise of the touch. It rings once, or
 * bounces at shrinking intervals and heights, or is rubbed so that the modes are driven by rough noise. Modes and fading: common physics of struck bodies,
 * their ranges from memory.
 */
export function renderKnock(out: Float64Array, fs: number, chance: Random): Float64Array {
  const low = chance.logRange(250, 2500), fadeSec = chance.logRange(0.008, 0.2);
  const modes = Array.from({ length: chance.whole(1, 7) }, (_, m) => ({
    freqHz: Math.min(0.45 * fs, low * (m === 0 ? 1 : chance.logRange(1.1, 8))), fadeSec: fadeSec * chance.logRange(0.4, 1.6), gain: chance.logRange(0.1, 1),
  }));
  const manner = chance.next();
  if (manner < 0.2) return rub(out, fs, modes, chance);
  let start = 0, height = 1, wait = chance.range(0.05, 0.16);
  const touch = chance.logRange(0.02, 1), count = manner < 0.7 ? 1 : chance.whole(2, 6), tightness = chance.range(0.55, 0.95);
  for (let k = 0; k < count && start < out.length; k++) {
    strike(out, fs, modes, start, height, touch, chance);
    start += Math.round(wait * fs);
    wait *= tightness;
    height *= tightness;
  }
  return out;
}

interface Mode { freqHz: number; fadeSec: number; gain: number }

function strike(out: Float64Array, fs: number, modes: readonly Mode[], start: number, height: number, touch: number, chance: Random): void {
  for (const m of modes) {
    const phase = chance.range(0, 2 * Math.PI), gain = height * m.gain * chance.range(0.6, 1), end = Math.min(out.length, start + Math.round(8 * m.fadeSec * fs));
    for (let i = start; i < end; i++) out[i] += gain * Math.exp(-(i - start) / fs / m.fadeSec) * Math.sin(phase + (2 * Math.PI * m.freqHz * (i - start)) / fs);
  }
  const touchSec = chance.logRange(0.0005, 0.004), end = Math.min(out.length, start + Math.round(8 * touchSec * fs));
  for (let i = start; i < end; i++) out[i] += height * touch * Math.exp(-(i - start) / fs / touchSec) * chance.gauss();
}

/** Modes as resonators of noise that swells and rests. */
function rub(out: Float64Array, fs: number, modes: readonly Mode[], chance: Random): Float64Array {
  const rate = chance.range(4, 40), depth = chance.range(0.2, 1), phase = chance.range(0, 2 * Math.PI);
  for (const m of modes) {
    const r = Math.exp(-1 / fs / m.fadeSec), a = 2 * r * Math.cos((2 * Math.PI * m.freqHz) / fs), b = -r * r;
    let y1 = 0, y2 = 0;
    for (let i = 0; i < out.length; i++) {
      const swell = 1 - depth * (0.5 + 0.5 * Math.cos(phase + (2 * Math.PI * rate * i) / fs));
      const y = a * y1 + b * y2 + m.gain * (1 - r) * swell * chance.gauss();
      y2 = y1;
      y1 = y;
      out[i] += y;
    }
  }
  return out;
}
