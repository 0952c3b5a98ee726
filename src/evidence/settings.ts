import { log2 } from '../numeric/elementary.js';

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
  maxDistanceM?: number;
  temperatureC?: number;
}

/**
 * Resolves the settings for a sample rate.
 * @param sampleRateHz sample rate, Hz
 * @param request what the user fixed; the rest is derived
 */
export function resolveSettings(sampleRateHz: number, request: SettingsRequest = {}): AnalysisSettings {
  const fftSize = 2 ** Math.round(log2(0.0116 * sampleRateHz));
  const top = Math.min(0.45 * sampleRateHz, 11000);
  const bandHz: [number, number] = request.bandHz ?? [400, top];
  const binHz = sampleRateHz / fftSize;
  const bandBins: [number, number] = [Math.max(1, Math.round(bandHz[0] / binHz)), Math.min(fftSize / 2, Math.round(bandHz[1] / binHz) + 1)];
  // Speed of sound in dry air, 331.3 sqrt(1 + T/273.15): handbook value, 343.2 m/s at 20 degrees Celsius.
  const soundSpeedMps = 331.3 * Math.sqrt(1 + (request.temperatureC ?? 20) / 273.15);
  return {
    sampleRateHz, fftSize, hopFrames: fftSize / 4, bandHz, bandBins,
    callSec: request.callSec ?? [0.008, 1.5],
    maxLagSec: (request.maxDistanceM ?? 2.5) / soundSpeedMps,
    soundSpeedMps,
  };
}
