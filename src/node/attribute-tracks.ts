import { attributeInline, type AttributeOptions, type AttributeResult } from '../api/attribute-opened.js';
import { openTracks, type TracksInput } from '../api/open-tracks.js';
import { loadKernelsFile } from './kernels-file.js';

/**
 * Finds every call on tracks that are in memory and says who made it; works in this thread and lets others have it between cells.
 * @param input birds, their signals and the sample rate
 * @throws VolaryError 'bad-study', 'not-fit' with fewer than two usable tracks, 'interrupted'
 * @example const { calls } = await attributeTracks({ birds: ['red', 'blue'], signals: [red, blue], sampleRateHz: 44100 });
 */
export async function attributeTracks(input: TracksInput, options: AttributeOptions = {}): Promise<AttributeResult> {
  const study = openTracks(input);
  return attributeInline(await loadKernelsFile(), study, options);
}
