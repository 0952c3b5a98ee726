/**
 * Signatures of the kernels' exported functions. `Ptr` is a byte address in the kernels' memory; the head of each file in assembly/
 * gives the shapes, who writes what, and the restrictions.
 */
export type Ptr = number;

export interface KernelExports {
  abiVersion(): number;
  heapStart(): Ptr;

  /** 1 for a power of two from 8 to 8192. */
  fftKnowsSize(n: number): number;
  fftTableBytes(n: number): number;
  fftPrepare(n: number, table: Ptr): number;
  fftForward(n: number, table: Ptr, lanes: Ptr, work: Ptr, spectrum: Ptr, strideBytes: number): void;
  fftInverse(n: number, table: Ptr, spectrum: Ptr, strideBytes: number, work: Ptr, lanes: Ptr): void;

  hannWindow(window: Ptr, count: number, isSymmetric: number, scale: number): void;
  sumWindow(window: Ptr, count: number): number;
  sumWindowSquares(window: Ptr, count: number): number;

  stft(
    signal: Ptr, trackStrideFrames: number, trackCount: number, frameCount: number, firstFrame: number, hopFrames: number,
    spectrumCount: number, n: number, window: Ptr, windowFrames: number, table: Ptr, scratch: Ptr, spectra: Ptr,
  ): void;
  istft(
    spectra: Ptr, spectrumCount: number, trackCount: number, n: number, firstFrame: number, hopFrames: number, window: Ptr,
    windowFrames: number, table: Ptr, scratch: Ptr, weight: Ptr, signal: Ptr, trackStrideFrames: number, frameCount: number,
  ): void;
  powerFromSpectra(spectra: Ptr, spectrumCount: number, binCount: number, trackCount: number, scale: number, power: Ptr): void;
}
