import { describe, expect, it } from 'vitest';
import { computeOadev } from '../../src/analysis/allan.js';
import { VolaryError } from '../../src/schema/errors.js';

/** Phase of a frequency series: its running sum from zero. */
function sumPhase(frequency: readonly number[]): Float64Array {
  const x = new Float64Array(frequency.length + 1);
  frequency.forEach((y, k) => { x[k + 1] = x[k] + y; });
  return x;
}

// The nine frequency values of the NBS test suite, NIST SP 1065 (Riley 2008) p. 107.
const NBS = sumPhase([892, 809, 823, 798, 671, 644, 883, 903, 677]);

describe('overlapping Allan deviation', () => {
  it('has the values of NIST SP 1065 p. 107', () => {
    // Seven digits are printed.
    expect(Math.abs(computeOadev(NBS, 1, 1) / 91.22945 - 1)).toBeLessThan(1e-6);
    expect(Math.abs(computeOadev(NBS, 1, 2) / 85.95287 - 1)).toBeLessThan(1e-6);
  });

  it('makes the noise of NIST SP 1065 p. 108 and takes steady rate for none', () => {
    let state = 1234567890;
    const noise = Array.from({ length: 1000 }, () => { const u = state / 2147483647; state = (16807 * state) % 2147483647; return u; });
    const mean = noise.reduce((s, v) => s + v, 0) / 1000;
    expect(mean).toBeCloseTo(0.4897745, 7);
    expect(Math.sqrt(noise.reduce((s, v) => s + (v - mean) ** 2, 0) / 999)).toBeCloseTo(0.2884664, 7);
    const phase = sumPhase(noise);
    const shifted = phase.map((v, k) => v + 3 * k);
    expect(computeOadev(shifted, 1, 10)).toBeCloseTo(computeOadev(phase, 1, 10), 9);
    // White noise of frequency falls with the root of tau (NIST SP 1065 section 3.2); ten independent groups leave about 20 %.
    expect(computeOadev(phase, 1, 16) / computeOadev(phase, 1, 1)).toBeGreaterThan(0.2);
    expect(computeOadev(phase, 1, 16) / computeOadev(phase, 1, 1)).toBeLessThan(0.32);
  });

  it('scales with the step, and is no number where the series is too short', () => {
    const seconds = NBS.map((v) => v * 10);
    expect(computeOadev(seconds, 10, 2)).toBeCloseTo(computeOadev(NBS, 1, 2), 9);
    expect(computeOadev(NBS, 1, 4)).not.toBeNaN();
    expect(computeOadev(NBS, 1, 5)).toBeNaN();
    expect(() => computeOadev(NBS, 1, 1.5)).toThrow(VolaryError);
  });

  it('a change of rate at steady pace leaves tau over root two (NIST SP 1065 section 5.16)', () => {
    const x = Float64Array.from({ length: 400 }, (_, k) => 0.5 * 1e-9 * k * k);
    expect(computeOadev(x, 1, 20)).toBeCloseTo((1e-9 * 20) / Math.SQRT2, 15);
  });
});
