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
  /** step: f64 [frame][re, im]. */
  turnPhases(planes: Ptr, frameCount: number, width: number, step: Ptr): void;
  /** width: n / 2 + 4. */
  stftPlanes(
    signal: Ptr, trackStrideFrames: number, trackCount: number, frameCount: number, hopFrames: number, spectrumCount: number,
    n: number, window: Ptr, table: Ptr, scratch: Ptr, width: number, planes: Ptr, power: Ptr,
  ): void;
  istftPlanes(
    planes: Ptr, spectrumCount: number, trackCount: number, n: number, hopFrames: number, window: Ptr, table: Ptr, scratch: Ptr, width: number, weight: Ptr,
    signal: Ptr, trackStrideFrames: number, frameCount: number,
  ): void;
  powerFromSpectra(spectra: Ptr, spectrumCount: number, binCount: number, trackCount: number, scale: number, power: Ptr): void;

  /** Spectra and powers (their lower bins) from lanes, and sums over the others. */
  stftPower(
    lanes: Ptr, groupBytes: number, trackCount: number, hopFrames: number, spectrumCount: number, n: number, window: Ptr, table: Ptr, scratch: Ptr,
    keptBins: number, spectra: Ptr, scale: number, powerBins: number, power: Ptr, weight: Ptr, edge: Ptr, rise: Ptr, high: Ptr,
  ): void;
  stftPowerScratchBytes(n: number, trackCount: number): number;

  mapOwnership(
    power: Ptr, frameCount: number, binCount: number, trackCount: number, floor: Ptr, scale: Ptr, lost: Ptr, firstBin: number, endBin: number,
    leastSnr: number, scratch: Ptr, owner: Ptr, lead: Ptr, owned: Ptr,
  ): void;
  ownershipScratchBytes(binCount: number, trackCount: number): number;
  findPedestal(
    power: Ptr, frameCount: number, binCount: number, floor: Ptr, level: Ptr, leastDb: number, firstBin: number, endBin: number, rank: number,
    factor: number, scratch: Ptr, pedestal: Ptr,
  ): void;
  sumOwnedOver(
    power: Ptr, frameCount: number, binCount: number, floor: Ptr, owner: Ptr, track: number, firstBin: number, endBin: number, pedestal: Ptr,
    owned: Ptr, over: Ptr,
  ): void;
  /** result: per group seven vectors of f32: step of the peak, value before, at and after it, at 0, sum of weights, of their squares. */
  measureSet(
    spectra: Ptr, keptBins: number, binCount: number, trackCount: number, noise: Ptr, own: number, set: Ptr, setCount: number, n: number, table: Ptr,
    maxSteps: number, scratch: Ptr, result: Ptr, scale: number, splitBin: number, levels: Ptr,
  ): void;
  setScratchBytes(n: number, trackCount: number, setCount: number): number;
  /** spectrum: f64[binCount], inTime: f64[endFrame - startFrame]. */
  sumSetShape(power: Ptr, binCount: number, floor: Ptr, set: Ptr, setCount: number, startFrame: number, endFrame: number, spectrum: Ptr, inTime: Ptr): void;
  /** scratch: f64[3][binCount]. */
  heldTones(spectra: Ptr, keptBins: number, trackCount: number, track: number, binCount: number, set: Ptr, setCount: number, startFrame: number, lag: number, scratch: Ptr): number;
  /** scratch: f64[3][binCount]; result: f64[7]. */
  compareParts(
    power: Ptr, binCount: number, floor: Ptr, set: Ptr, setCount: number, beforeFrame: number, startFrame: number, splitFrame: number, endFrame: number, half: number,
    firstBin: number, endBin: number, scratch: Ptr, result: Ptr,
  ): void;
  correlateShifted(spectrum: Ptr, firstBin: number, endBin: number, firstShift: number, lastShift: number, scratch: Ptr): number;
  /** filter: f32[3] b a1 a2; energy: f32[step][group][x 4]. */
  stepEnergies(lanes: Ptr, groupBytes: number, groupCount: number, warmFrames: number, stepCount: number, stepFrames: number, filter: Ptr, energy: Ptr): void;
  /** result: f32[frames][6]. */
  frameTexture(
    power: Ptr, binCount: number, floor: Ptr, firstFrame: number, endFrame: number, firstBin: number, endBin: number, lag: number,
    highBin: number, highEnd: number, result: Ptr,
  ): void;
  /** sums: f32[count][6] of frameTexture; high: f32[count], or 0; out: f64[3]. */
  meanTexture(sums: Ptr, count: number, width: number, lag: number, high: Ptr, out: Ptr): void;
  /** place: u8[endBin - firstBin]; result: f64[22]. */
  describeSpectrum(spectrum: Ptr, firstBin: number, endBin: number, place: Ptr, result: Ptr): void;
  /** course: f64[count]; result: f64[4]. */
  describeCourse(course: Ptr, count: number, result: Ptr): void;
  /** scratch: f64[192]; result: f64[16]. */
  markThresholds(rows: Ptr, rowCount: number, width: number, starts: Ptr, cuts: Ptr, passed: Ptr): void;
  addLeaves(trees: Ptr, treeCount: number, nodes: Ptr, leaves: Ptr, passed: Ptr, slots: Ptr, rowCount: number, out: Ptr): void;
  patternProducts(patterns: Ptr, first: number, others: Ptr, count: number, out: Ptr): void;
  voicePattern(spectrum: Ptr, firstBin: number, endBin: number, scratch: Ptr, result: Ptr): void;
  /** own: f64[count]. */
  trackEnvelope(
    energy: Ptr, laneCount: number, stepCount: number, lane: number, first: number, count: number, half: number, width: number, perFrame: number, own: Ptr,
  ): void;
  /** noise, scale, scratch: f64[laneCount]. */
  findDryOffset(
    energy: Ptr, laneCount: number, stepCount: number, own: Ptr, first: number, count: number, from: number, high: number, hold: number, half: number,
    width: number, perFrame: number, roomShare: number, noise: Ptr, scale: Ptr, scratch: Ptr,
  ): number;
  /** Returns the largest level. */
  smoothLevel(sums: Ptr, frameCount: number, floorSum: number, level: Ptr): number;
  collectOwned(
    power: Ptr, frameCount: number, binCount: number, floor: Ptr, owner: Ptr, lead: Ptr, track: number, lift: Ptr, from: number, to: number,
    firstBin: number, endBin: number, set: Ptr, result: Ptr,
  ): number;
  collectShared(
    power: Ptr, frameCount: number, binCount: number, trackCount: number, floor: Ptr, owner: Ptr, lead: Ptr, lost: Ptr, mostLead: number,
    from: number, to: number, firstBin: number, endBin: number, set: Ptr, result: Ptr,
  ): number;
  sumShared(
    power: Ptr, frameCount: number, binCount: number, floor: Ptr, floorSum: Ptr, owner: Ptr, lead: Ptr, mostLead: number, firstBin: number,
    endBin: number, level: Ptr,
  ): void;
  sumLoud(
    power: Ptr, frameCount: number, binCount: number, floor: Ptr, track: number, factor: number, from: number, to: number, firstBin: number, endBin: number,
  ): number;
  /** edge: i32[9]. */
  bandRise(power: Ptr, frameCount: number, binCount: number, floor: Ptr, edge: Ptr, rise: Ptr): void;
  flagEvenFrames(rise: Ptr, frameCount: number, radius: number, leastRatio: number, spreadRatio: number, flag: Ptr): void;

  /** whitening: 0 none, 1 phase only, 2 square root of the magnitude. */
  addCrossSpectra(
    spectra: Ptr, spectrumCount: number, binCount: number, trackCount: number, firstBin: number, endBin: number, whitening: number,
    mask: Ptr, scratch: Ptr, cross: Ptr, auto: Ptr,
  ): void;
  crossScratchBytes(trackCount: number): number;
  correlationsFromCross(
    cross: Ptr, auto: Ptr, trackCount: number, n: number, firstBin: number, endBin: number, weight: Ptr, isNormalised: number,
    upsample: number, table: Ptr, scratch: Ptr, maxLagSteps: number, out: Ptr,
  ): void;
  /** result: f64[4] lag, value, index, largest other local maximum. */
  peakLag(
    r: Ptr, count: number, from: number, to: number, order: number, share: number, interpolation: number, result: Ptr,
  ): number;

  /** records: four of i32 address, stride in bytes, coding (0 none, 1 u8, 2 s16, 3 s24, 4 s32, 5 f32). */
  /** Samples from the first on that equal it, at most count; codings as `lanesFromPcm` takes them. */
  countSame(address: Ptr, strideBytes: number, coding: number, count: number): number;
  lanesFromPcm(records: Ptr, frameCount: number, lanes: Ptr): void;
  /** The same records, of which `trackCount` count. */
  planesFromPcm(records: Ptr, trackCount: number, frameCount: number, planes: Ptr, rowBytes: number): void;
  codes16(samples: Ptr, count: number, codes: Ptr): void;
  codes24(samples: Ptr, count: number, codes: Ptr): void;
  bandHops(lanes: Ptr, groupBytes: number, groupCount: number, hopCount: number, hopFrames: number, filter: Ptr, state: Ptr, energy: Ptr): void;
  /** y[i] = sum of taps[k] x[i - k] in place; tapCount - 1 frames before each row are read, tapCount is a multiple of 4. */
  filterLanes(lanes: Ptr, groupBytes: number, groupCount: number, frameCount: number, taps: Ptr, tapCount: number): void;
  lanePower(n: number, lanes: Ptr, window: Ptr, table: Ptr, scratch: Ptr, scale: number, out: Ptr, strideBytes: number): void;
  lowQuantiles(rows: Ptr, rowCount: number, columnCount: number, rank: Ptr, groupCount: number, scratch: Ptr, out: Ptr): void;

  /** table: i32[refCount + 1] addresses of planes. */
  pathProducts(
    table: Ptr, refCount: number, frameCount: number, tapCount: number, leadTaps: number, weight: Ptr, width: number, scratch: Ptr, products: Ptr,
  ): void;
  pathPrediction(
    table: Ptr, refCount: number, frameCount: number, tapCount: number, leadTaps: number, width: number,
    mean: Ptr, factor: Ptr, scratch: Ptr, crosstalk: Ptr, variance: Ptr,
  ): void;
  solvePathBins(system: Ptr, prior: Ptr, size: number, width: number, scratch: Ptr, mean: Ptr, factor: Ptr): void;
  /** other: 0 for none. */
  weighPathBins(
    system: Ptr, other: Ptr, prior: Ptr, size: number, width: number, first: number, end: number, step: number, scratch: Ptr, explained: Ptr, det: Ptr,
  ): void;

  planePower(re: Ptr, im: Ptr, count: number, power: Ptr): void;
  /** keep: u8[frameCount], or 0. */
  smoothBins(power: Ptr, frameCount: number, bins: number, width: number, keep: Ptr, scratch: Ptr, out: Ptr): void;
  sumRows(power: Ptr, keep: Ptr, first: number, end: number, width: number, out: Ptr): void;
  sumFrames(power: Ptr, frameCount: number, width: number, out: Ptr): void;
  powerRows(spectra: Ptr, spectrumCount: number, bins: number, columns: number, rows: Ptr, usable: Ptr): void;
  meanPower(spectra: Ptr, spectrumCount: number, bins: number, mean: Ptr): void;
  /** 1 where anything was added. */
  addExpected(
    power: Ptr, active: Ptr, frameCount: number, width: number, ratio: Ptr, excess: number, floor: Ptr, share: number, decay: number, ringing: Ptr, expected: Ptr,
  ): number;
  hushBins(planes: Ptr, power: Ptr, expected: Ptr, kept: Ptr, frameCount: number, width: number, floor: Ptr, change: Ptr): void;
  addLevels(power: Ptr, frameCount: number, width: number, ratio: Ptr, share: number, out: Ptr): void;
  /** other: 0 for none. */
  weighBins(power: Ptr, other: Ptr, frameCount: number, width: number, floor: Ptr, error: number, share: number, out: Ptr): void;
  addValues(source: Ptr, count: number, out: Ptr): void;
  collectRatios(own: Ptr, other: Ptr, frameCount: number, bins: number, width: number, ratio: Ptr, floor: Ptr, otherFloor: Ptr, out: Ptr): number;
  selectRank(values: Ptr, count: number, rank: number): number;
  beginVoice(x: Ptr, own: Ptr, expected: Ptr, floor: Ptr, active: Ptr, frameCount: number, width: number, mean: Ptr, variance: Ptr): void;
  lookAtVoice(raw: Ptr, smooth: Ptr, variance: Ptr, leftover: Ptr, floor: Ptr, active: Ptr, frameCount: number, width: number, out: Ptr): void;
  settleVoice(x: Ptr, leftover: Ptr, power: Ptr, floor: Ptr, frameCount: number, width: number, mean: Ptr, variance: Ptr): void;
  removeTrusted(x: Ptr, crosstalk: Ptr, trust: Ptr, frameCount: number, width: number, residual: Ptr, raw: Ptr): void;
  maskVoice(
    x: Ptr, residual: Ptr, power: Ptr, leftover: Ptr, withPtr: Ptr, withoutPtr: Ptr, least: number, frameCount: number, width: number, change: Ptr,
  ): void;
}
