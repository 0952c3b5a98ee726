// What separation does to every sample that it touches: short-time spectra of 8 tracks, and back by overlapping and adding.
import { computeIstft, computeStft, countSpectraBytes, createStftPlan } from '../../dist/kernels/stft.js';
import { requireSame } from './compare.mjs';
import { takeTurns, timed } from './take-turns.mjs';

const RATE = 48000, TRACKS = 8, FFT = 1024, HOP = 256;
// Two transforms in f32.
const TOLERANCE = 2e-5;

export async function benchSeparation({ kernels: k, noise, python, rounds, tell }) {
  tell('spectra and back');
  const spectrumCount = Math.floor((RATE - FFT) / HOP) + 1, frameCount = (spectrumCount - 1) * HOP + FFT;
  const samples = new Float32Array(TRACKS * frameCount);
  for (let t = 0; t < TRACKS; t++) samples.set(noise.subarray(t * RATE, t * RATE + frameCount), t * frameCount);
  const signal = k.allocF32(samples.length);
  k.f32(signal, samples.length).set(samples);
  const region = { signal, trackStrideFrames: frameCount, trackCount: TRACKS, frameCount };
  const plan = createStftPlan(k, { fftSize: FFT, hopFrames: HOP });
  const into = k.alloc(countSpectraBytes(plan.binCount, TRACKS, spectrumCount));
  const base = k.mark();
  const run = () => { k.release(base); return computeIstft(k, plan, computeStft(k, plan, region, 0, spectrumCount, into), frameCount); };
  const values = run().slice();
  const contenders = [timed('ours', run)], difference = {};
  if (python) {
    const peer = await python.prepare('separation', samples, { tracks: TRACKS, n: FFT, hop: HOP });
    difference['scipy.fft'] = requireSame('spectra and back of scipy', inside(peer, frameCount), inside(values, frameCount), TOLERANCE);
    contenders.push({ ...python.contender('separation'), name: 'scipy.fft' });
  }
  return [{ case: 'spectra of 8 tracks and back, 1 s', unit: 's of sound', perRun: frameCount / RATE, times: await takeTurns(contenders, rounds), difference, goals: { 'scipy.fft': 5.5 } }];
}

/** Without the first and last window of each track, where dividing by a window near 0 makes rounding large. */
function inside(values, frameCount) {
  return values.filter((_, i) => i % frameCount >= FFT && i % frameCount < frameCount - FFT);
}
