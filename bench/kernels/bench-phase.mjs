// Phase correlation of all 28 pairs of 8 tracks over a tenth of a second: windows, transforms, whitening, sums, correlation over lags.
import { correlateRegion, createCorrelationPlan } from '../../dist/kernels/correlation.js';
import { requireSame } from './compare.mjs';
import { takeTurns, timed } from './take-turns.mjs';

const TRACKS = 8, FFT = 1024, WINDOW = 768, HOP = 384, LOW = 10, HIGH = 200, MOST_LAG = 256, WINDOWS = 12;
// Sums of a few hundred products of f32 that partly cancel.
const TOLERANCE = 1e-4;

export async function benchPhase({ kernels: k, noise, python, rounds, tell }) {
  tell('phase correlation');
  const frameCount = WINDOW + (WINDOWS - 1) * HOP, signal = k.allocF32(TRACKS * frameCount);
  const samples = noise.subarray(0, TRACKS * frameCount);
  k.f32(signal, samples.length).set(samples);
  const region = { signal, trackStrideFrames: frameCount, trackCount: TRACKS, frameCount };
  const plan = createCorrelationPlan(k, { fftSize: FFT, windowFrames: WINDOW, hopFrames: HOP, trackCount: TRACKS, whitening: 'phase', maxLagFrames: MOST_LAG, firstBin: LOW, endBin: HIGH });
  const run = () => correlateRegion(k, plan, region, 0, frameCount);
  const values = run().values.slice();
  const contenders = [timed('ours', run)], difference = {};
  if (python) {
    const job = { tracks: TRACKS, n: FFT, window: WINDOW, hop: HOP, low: LOW, high: HIGH, most: MOST_LAG };
    difference.scipy = requireSame('phase correlation of scipy', await python.prepare('phase', samples, job), values, TOLERANCE);
    contenders.push({ ...python.contender('phase'), name: 'scipy' });
  }
  return [{ case: 'phase correlation, 28 pairs, 12 windows', unit: 'regions', perRun: 1, times: await takeTurns(contenders, rounds), difference, goals: { scipy: 4 } }];
}
