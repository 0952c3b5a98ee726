/** Spectra of four tracks, [spectrum][bin][re x 4][im x 4], as planes [track][re, im][spectrum][width] of the first tracks, 0 behind the last bin, in plain loops. */
export function referencePlanes(spectra: ArrayLike<number>, spectrumCount: number, bins: number, trackCount: number, width: number): Float64Array {
  const planes = new Float64Array(2 * trackCount * spectrumCount * width);
  for (let t = 0; t < trackCount; t++) {
    for (let part = 0; part < 2; part++) {
      for (let s = 0; s < spectrumCount; s++) {
        for (let b = 0; b < bins; b++) planes[((t * 2 + part) * spectrumCount + s) * width + b] = spectra[(s * bins + b) * 8 + part * 4 + t];
      }
    }
  }
  return planes;
}
