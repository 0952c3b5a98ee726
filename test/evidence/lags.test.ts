import { describe, expect, it } from 'vitest';
import { LagMeter, type BinSet, type LagReading } from '../../src/evidence/lags.js';
import type { StretchSpectra } from '../../src/evidence/spectra.js';
import { addVoice, analyse, flatFloor, HOP_SEC, makeGaussian, RATE, settings } from './make-stretch.js';

const measureAll = (s: StretchSpectra, f: readonly Float32Array[], own: number, set: BinSet): LagReading[] => meter.measureSet(s, f, own, set, 0).readings;
const NOISE = 1e-3;
const meter = new LagMeter(settings.fftSize, RATE, settings.maxLagSec);
const floors = (n: number): Float32Array[] => Array.from({ length: n }, () => flatFloor(NOISE ** 2));

/** Bins of a track in a stretch of time that rise 12 dB over the noise. */
function loudBins(s: StretchSpectra, track: number, fromSec: number, toSec: number): BinSet {
  const found: number[] = [];
  for (let t = Math.round(fromSec / HOP_SEC); t < toSec / HOP_SEC; t++) {
    for (let b = settings.bandBins[0]; b < settings.bandBins[1]; b++) if (s.power[track][t * s.binCount + b] > 16 * NOISE ** 2) found.push(t * s.binCount + b);
  }
  return Uint32Array.from(found);
}

describe.each([['kernels', false], ['plain loops', true]])('lags by %s', (_, plain) => {
  it('are recovered to a fraction of a sample, of both signs, on all tracks at once', async () => {
    // In samples: 100.3 = 2.3 ms is 78 cm; the fourth is quiet, the sixth in the next group of four.
    const delays = [0, 0.25, -3.6, 100.3, 41.5, -77.75];
    const levels = [0.05, 0.02, 0.03, 0.004, 0.01, 0.02];
    const x = delays.map((d, j) => {
      const track = makeGaussian(RATE, 60 + j, NOISE);
      addVoice(track, 0.4, 0.52, levels[j], { delaySec: d / RATE });
      return track;
    });
    const s = await analyse(x, plain);
    const readings = measureAll(s, floors(6), 0, loudBins(s, 0, 0.4, 0.52));
    delays.forEach((d, j) => {
      if (j === 0) return;
      // Parabola on a transform twice as fine as the samples: a twentieth of a sample. A late copy is partly outside the frame of 512 samples
      // and the pitch has moved on meanwhile, which pulls long lags towards zero: 0.4 % of the lag. No source; measured 0.01 samples at
      // 3.6 and 0.27 at 100.
      const error = readings[j].lagSec * RATE - d;
      expect(Math.abs(error), `track ${j}`).toBeLessThan(0.05 + 0.004 * Math.abs(d));
      expect(readings[j].agreement).toBeGreaterThan(Math.abs(d) < 20 ? 0.6 : 0.3);
      expect(readings[j].agreementZ).toBeGreaterThan(8);
    });
    // The same from the other side has the other sign.
    const back = measureAll(s, floors(6), 3, loudBins(s, 3, 0.4, 0.53));
    expect(Math.abs(back[0].lagSec * RATE + 100.3)).toBeLessThan(0.5);
    expect(Math.abs(back[2].lagSec * RATE + 103.9)).toBeLessThan(0.5);
  });

  it('of unrelated noise agree no better than chance', async () => {
    const count = 8;
    const s = await analyse(Array.from({ length: count }, (__, j) => makeGaussian(RATE, 300 + j, NOISE * 10)), plain);
    let worst = 0;
    for (let own = 0; own < count; own++) {
      for (const r of measureAll(s, floors(count), own, loudBins(s, own, 0.4, 0.5)).filter((__, j) => j !== own)) {
        worst = Math.max(worst, r.agreementZ);
        expect(r.agreement).toBeLessThan(0.2);
      }
    }
    // The largest of 56 readings over some 640 lags (half of them independent): sqrt(2 ln 18000) = 4.4 standard deviations are due for
    // Gaussian values; 6 is where the attribution takes a track for having heard the sound.
    expect(worst).toBeGreaterThan(2);
    expect(worst).toBeLessThan(6);
  });

  it('tell a copy without delay from a sound that travelled', async () => {
    const x = [0, 0, 60].map((d, j) => {
      const track = makeGaussian(RATE, 80 + j, NOISE);
      addVoice(track, 0.4, 0.5, j === 0 ? 0.05 : 0.01, { delaySec: d / RATE });
      return track;
    });
    const s = await analyse(x, plain);
    const r = measureAll(s, floors(3), 0, loudBins(s, 0, 0.4, 0.5));
    expect(r[1].zeroLag).toBeGreaterThan(0.5);
    expect(r[1].zeroLag).toBeCloseTo(r[1].agreement, 2);
    expect(r[2].zeroLag).toBeLessThan(0.3);
  });

  it('have no meaning where there is nothing to compare', async () => {
    const s = await analyse([makeGaussian(RATE, 1, NOISE), new Float32Array(RATE)], plain);
    const [, r] = measureAll(s, floors(2), 0, loudBins(s, 0, 0.2, 0.4));
    expect(r).toEqual({ lagSec: 0, agreement: 0, agreementZ: 0, zeroLag: 0 });
    expect(measureAll(s, floors(2), 0, new Uint32Array(0))[1].agreement).toBe(0);
  });
});
