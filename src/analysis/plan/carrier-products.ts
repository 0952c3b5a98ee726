/** A third-order product: carriers (by index) first + second - third; first = second for 2 fi - fj. */
export interface ThirdOrderProduct { first: number; second: number; third: number; freqHz: number }

export interface ProductHit extends ThirdOrderProduct {
  /** Index of the carrier that it falls on. */
  carrier: number;
  /** Product minus carrier, Hz. */
  distanceHz: number;
}

export interface SpacingFault { first: number; second: number; spacingHz: number }

/**
 * Bandwidth that a frequency-modulated carrier takes, Hz: 2 (peak deviation + highest audio frequency).
 * Source: J. R. Carson, 'Notes on the theory of modulation', Proc. IRE 10 (1922) 57-64, the rule that bears his name.
 */
export function computeCarsonBandwidth(deviationHz: number, audioHz: number): number {
  return 2 * (deviationHz + audioHz);
}

/**
 * All third-order products of n carriers in Hz: n (n - 1) of two tones (2 fi - fj), then n (n - 1)(n - 2) / 2 of three (fi + fj - fk).
 */
export function listThirdOrderProducts(carriersHz: readonly number[]): ThirdOrderProduct[] {
  const n = carriersHz.length, twoTone: ThirdOrderProduct[] = [], threeTone: ThirdOrderProduct[] = [];
  const make = (first: number, second: number, third: number): ThirdOrderProduct => ({ first, second, third, freqHz: carriersHz[first] + carriersHz[second] - carriersHz[third] });
  for (let i = 0; i < n; i++) {
    for (let k = 0; k < n; k++) {
      if (k === i) continue;
      twoTone.push(make(i, i, k));
      for (let j = i + 1; j < n; j++) if (j !== k) threeTone.push(make(i, j, k));
    }
  }
  return [...twoTone, ...threeTone];
}

/** Products that fall within half a bandwidth (its edge included) of a carrier in use, of the carrier nearest to each. */
export function findProductHits(carriersHz: readonly number[], bandwidthHz: number): ProductHit[] {
  return listThirdOrderProducts(carriersHz).flatMap((product) => {
    let carrier = 0;
    carriersHz.forEach((f, c) => { if (Math.abs(product.freqHz - f) < Math.abs(product.freqHz - carriersHz[carrier])) carrier = c; });
    const distanceHz = product.freqHz - carriersHz[carrier];
    return Math.abs(distanceHz) <= bandwidthHz / 2 ? [{ ...product, carrier, distanceHz }] : [];
  });
}

/** Pairs of carriers nearer to each other than one bandwidth. */
export function findSpacingFaults(carriersHz: readonly number[], bandwidthHz: number): SpacingFault[] {
  const faults: SpacingFault[] = [];
  for (let first = 0; first < carriersHz.length; first++) {
    for (let second = first + 1; second < carriersHz.length; second++) {
      const spacingHz = Math.abs(carriersHz[first] - carriersHz[second]);
      if (spacingHz < bandwidthHz) faults.push({ first, second, spacingHz });
    }
  }
  return faults;
}
