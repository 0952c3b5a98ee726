import { log2 } from '../numeric/elementary.js';
import { VolaryError } from '../schema/errors.js';

/** Analysis settings that follow from the sample rate and what the user asked for. Nothing here is about one species. */
export interface AnalysisSettings {
  sampleRateHz: number;
  /** Transform length in samples, a power of two near 11.6 ms. */
  fftSize: number;
  /** Hop in samples, a quarter of the transform. */
  hopFrames: number;
  /** Band searched for calls, Hz. */
  bandHz: [number, number];
  /** First and last bin (half-open) of the band. */
  bandBins: [number, number];
  /** Shortest and longest call, seconds. */
  callSec: [number, number];
  /** Largest acoustic lag between two tracks that is looked for, seconds. */
  maxLagSec: number;
  soundSpeedMps: number;
}

export interface SettingsRequest {
  bandHz?: [number, number];
  callSec?: [number, number];
}

/** Speed of sound in dry air, 331.3 sqrt(1 + T/273.15): handbook value, 343.2 m/s at 20 degrees Celsius. */
const SOUND_MPS = 331.3 * Math.sqrt(1 + 20 / 273.15);
/** Birds farther apart than this are not told apart by lags. */
const FARTHEST_M = 2.5;
/** Transforms have 8 to 8192 points and are about as long as .0116 s. */
const SAMPLE_RATES_HZ = [2000, 500000] as const;

/**
 * Resolves the settings for a sample rate.
 * @param sampleRateHz sample rate, Hz
 * @param request what the user fixed; the rest is derived
 * @throws VolaryError 'bad-option' on a sample rate that the transforms cannot serve
 */
export function resolveSettings(sampleRateHz: number, request: SettingsRequest = {}): AnalysisSettings {
  const [least, most] = SAMPLE_RATES_HZ;
  if (!(sampleRateHz >= least && sampleRateHz <= most)) {
    throw new VolaryError('bad-option', { what: 'no such sample rate can be attributed', got: `${sampleRateHz} Hz`, expected: `${least} to ${most} Hz`, mend: 'check the header, or resample the files' });
  }
  const fftSize = 2 ** Math.round(log2(0.0116 * sampleRateHz));
  const top = Math.min(0.45 * sampleRateHz, 11000);
  const bandHz: [number, number] = request.bandHz ?? [400, top];
  const binHz = sampleRateHz / fftSize;
  const bandBins: [number, number] = [Math.max(1, Math.round(bandHz[0] / binHz)), Math.min(fftSize / 2, Math.round(bandHz[1] / binHz) + 1)];
  return {
    sampleRateHz, fftSize, hopFrames: fftSize / 4, bandHz, bandBins,
    callSec: request.callSec ?? [0.008, 1.5],
    maxLagSec: FARTHEST_M / SOUND_MPS,
    soundSpeedMps: SOUND_MPS,
  };
}
