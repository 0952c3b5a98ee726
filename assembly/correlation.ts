/**
 * Correlation of every pair over lags, from summed cross-spectra.
 *
 * Formula: with c[k] = 1 for bins 0 and n/2 and 2 between, and w the weights,
 *   r_ij(lag) = sum over k of c w Re(C_ij exp(i 2 pi k lag / n)) / D_ij,
 * D_ij = sqrt(sum c w A_i * sum c w A_j) when isNormalised (then |r| <= 1, and 1 for a pure delay), else D = n (plain correlation:
 * sum over p of x_i[p] x_j[p + lag]). Whitened spectra make this the generalised cross-correlation with phase transform.
 * Positive lag: j is later than i. Lags are in steps of 1 / upsample samples (zero padding of the spectrum, exact).
 *   crossPtr, autoPtr read  as addCrossSpectra writes them, for transforms of n samples
 *   weightPtr  read    f32[n / 2 + 1], values >= 0, or 0 for ones; bins outside firstBin .. endBin-1 count as 0
 *   tablePtr   read    fftPrepare(n * upsample)
 *   scratchPtr written 3 * n * upsample + 3 + groupCount v128
 *   outPtr     written [pair][2 * maxLagSteps + 1] f32, lag -maxLagSteps first; maxLagSteps <= n * upsample / 2
 * Alignment 16 (weightPtr, outPtr: 4). Nothing may overlap. D = 0 (silence) gives r = 0. Lags wrap after n samples: pad the windows.
 * Source: Knapp & Carter 1976, IEEE TASSP 24(4) 320-327. Plain reference: test/reference/correlation.ts.
 */
import { countGroups, pairIndex, POINT_BYTES } from './abi';
import { fftInverse } from './fft';
import { countRotations, describeRotation, pairOfLane, rotateLanes } from './inline/rotations';

export function correlationsFromCross(
  crossPtr: usize, autoPtr: usize, trackCount: i32, n: i32, firstBin: i32, endBin: i32, weightPtr: usize, isNormalised: i32,
  upsample: i32, tablePtr: usize, scratchPtr: usize, maxLagSteps: i32, outPtr: usize,
): void {
  const groups = countGroups(trackCount);
  const size = n * upsample;
  const workPtr = scratchPtr + (<usize>size << 4);
  const spectrumPtr = workPtr + (<usize>size << 4);
  const energyPtr = spectrumPtr + (<usize>(size + 2) << 4);
  sumEnergies(autoPtr, groups, n, firstBin, endBin, weightPtr, energyPtr);
  const rotations = countRotations(groups);
  const binCount = (n >> 1) + 1;
  for (let i = 0; i < rotations; i++) {
    const rotation = describeRotation(i, groups);
    if (!hasPairs(rotation, trackCount)) continue;
    const cross = crossPtr + <usize>i * <usize>binCount * POINT_BYTES;
    weighSpectrum(cross, n, firstBin, endBin, weightPtr, upsample, spectrumPtr);
    fftInverse(size, tablePtr, spectrumPtr, <i32>POINT_BYTES, workPtr, scratchPtr);
    const factors = isNormalised ? factorsOf(rotation, energyPtr, <f32>size) : f32x4.splat(<f32>upsample);
    writeLags(rotation, trackCount, scratchPtr, size, factors, energyPtr, maxLagSteps, outPtr);
  }
}

/** energy[g] = sum over bins of c w A, four tracks at once. */
function sumEnergies(autoPtr: usize, groups: i32, n: i32, firstBin: i32, endBin: i32, weightPtr: usize, energyPtr: usize): void {
  memory.fill(energyPtr, 0, <usize>groups << 4);
  for (let k = firstBin; k < endBin; k++) {
    const w = (k == 0 || k == n >> 1 ? <f32>1 : <f32>2) * (weightPtr ? load<f32>(weightPtr + (<usize>k << 2)) : <f32>1);
    for (let g = 0; g < groups; g++) {
      const p = energyPtr + (<usize>g << 4);
      const a = v128.load(autoPtr + ((<usize>k * <usize>groups + <usize>g) << 4));
      v128.store(p, f32x4.add(v128.load(p), f32x4.mul(a, f32x4.splat(w))));
    }
  }
}

function hasPairs(rotation: i32, trackCount: i32): bool {
  for (let lane = 0; lane < 4; lane++) if (pairOfLane(rotation, lane, trackCount) >= 0) return true;
  return false;
}

/** Weighted cross-spectrum on the bins of the upsampled transform; bin n/2 is shared between both halves when there are more bins above. */
function weighSpectrum(cross: usize, n: i32, firstBin: i32, endBin: i32, weightPtr: usize, upsample: i32, spectrumPtr: usize): void {
  memory.fill(spectrumPtr, 0, <usize>(((n * upsample) >> 1) + 1) * POINT_BYTES);
  for (let k = firstBin; k < endBin; k++) {
    let w = weightPtr ? load<f32>(weightPtr + (<usize>k << 2)) : <f32>1;
    if (k == n >> 1 && upsample > 1) w *= 0.5;
    const at = <usize>k * POINT_BYTES;
    const factor = f32x4.splat(w);
    v128.store(spectrumPtr + at, f32x4.mul(factor, v128.load(cross + at)));
    v128.store(spectrumPtr + at, f32x4.mul(factor, v128.load(cross + at, 16)), 16);
  }
}

/** scale / sqrt(E_i E_j) per lane, 0 where a track has no energy. */
function factorsOf(rotation: i32, energyPtr: usize, scale: f32): v128 {
  const a = v128.load(energyPtr + (<usize>(rotation & 0xff) << 4));
  const b0 = v128.load(energyPtr + (<usize>((rotation >> 8) & 0xff) << 4));
  const r = rotation >> 16;
  const b = r == 0 ? b0 : r == 1 ? rotateLanes(b0, 1) : r == 2 ? rotateLanes(b0, 2) : rotateLanes(b0, 3);
  // Root by root: the product of two energies may leave the range of f32.
  const d = f32x4.mul(f32x4.sqrt(a), f32x4.sqrt(b));
  return v128.and(f32x4.div(f32x4.splat(scale), d), f32x4.gt(d, f32x4.splat(0)));
}

function writeLags(
  rotation: i32, trackCount: i32, lanesPtr: usize, size: i32, factors: v128, spillPtr: usize, maxLagSteps: i32, outPtr: usize,
): void {
  const spill = spillPtr + (<usize>countGroups(trackCount) << 4);
  v128.store(spill, factors);
  for (let lane = 0; lane < 4; lane++) {
    const pair = pairOfLane(rotation, lane, trackCount);
    if (pair < 0) continue;
    const factor = load<f32>(spill + (<usize>lane << 2));
    const sign = pair >> 16 ? -1 : 1;
    const row = <usize>pairIndex(pair & 0xff, (pair >> 8) & 0xff, trackCount) * <usize>(2 * maxLagSteps + 1);
    let o = outPtr + (row << 2);
    for (let lag = -maxLagSteps; lag <= maxLagSteps; lag++) {
      const at = (sign * lag) & (size - 1);
      store<f32>(o, factor * load<f32>(lanesPtr + (<usize>at << 4) + (<usize>lane << 2)));
      o += 4;
    }
  }
}
