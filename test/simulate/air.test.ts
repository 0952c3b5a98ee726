import { describe, expect, it } from 'vitest';
import { computeAirAbsorption, computeSoundSpeed } from '../../src/simulate/air.js';

describe('speed of sound', () => {
  // c = 343.2 sqrt(T / 293.15): the form of ISO 9613-1.
  it.each([[0, 331.286], [10, 337.296], [20, 343.2], [30, 349.005]])('at %d degrees C is %d m/s', (temperatureC, expected) => {
    expect(Math.abs(computeSoundSpeed(temperatureC) - expected)).toBeLessThan(1e-3);
  });

  it('agrees with the dry-air handbook formula 331.3 sqrt(1 + t / 273.15) within 0.1 m/s', () => {
    for (let t = 0; t <= 30; t += 5) expect(Math.abs(computeSoundSpeed(t) - 331.3 * Math.sqrt(1 + t / 273.15))).toBeLessThan(0.1);
  });
});

describe('air absorption', () => {
  // ISO 9613-1:1993 Table 1, dB/km at 101.325 kPa; the standard tabulates exact midbands 1000 * 10^(k/10). Three printed figures: 0.5 %.
  const midband = (k: number): number => 1000 * Math.pow(10, k / 10);
  it.each([
    [10, 70, 0, 3.66], [10, 50, 6, 46.7], [15, 50, 0, 4.16], [20, 50, 0, 4.66], [20, 50, 3, 9.86], [0, 20, 3, 34.6], [0, 50, 0, 6.83], [30, 50, 6, 24.5],
  ])('at %d degrees C, %d %%, band %d is %d dB/km', (temperatureC, humidityPct, k, expected) => {
    const found = 1000 * computeAirAbsorption(midband(k), temperatureC, humidityPct);
    expect(Math.abs(found / expected - 1)).toBeLessThan(0.005);
  });

  // ISO 9613-2:1996 Table 2, dB/km, octave bands 63 Hz to 8 kHz; half a unit of the last printed digit.
  it.each([
    [10, 70, ['0.1', '0.4', '1.0', '1.9', '3.7', '9.7', '32.8', '117']],
    [20, 70, ['0.1', '0.3', '1.1', '2.8', '5.0', '9.0', '22.9', '76.6']],
  ] as [number, number, string[]][])('at %d degrees C, %d %% matches the octave table', (temperatureC, humidityPct, printed) => {
    printed.forEach((text, i) => {
      const unit = Math.pow(10, -(text.split('.')[1]?.length ?? 0));
      expect(Math.abs(1000 * computeAirAbsorption(midband(3 * (i - 4)), temperatureC, humidityPct) - Number(text))).toBeLessThanOrEqual(unit / 2 + 1e-9);
    });
  });

  it('is negligible between neighbours: 0.21 dB over 2 m at 8 kHz, 20 degrees C, 50 %', () => {
    expect(2 * computeAirAbsorption(8000, 20, 50)).toBeCloseTo(0.21, 2);
  });
});
