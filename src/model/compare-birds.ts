import { middle } from './templates.js';

/**
 * How the sure calls of a bird differ from those of the other birds: a wearer's voice reaches its microphone through the body, too, and from near. Where all that a
 * track leads comes from a neighbour without a tag, the low end is lifted less, it leads by less, and it is softer than what other tracks hear of their wearers.
 */
export const BIRD_FEATURES = ['birdTiltDb', 'birdLeadDb', 'birdStrengthDb'] as const;

/** What is usual for a bird, by its sure calls; dB. */
export interface UsualCall { tilt: number; residual: number; strength: number; count: number }

/** Birds with fewer sure calls say nothing about others. */
const LEAST_CALLS = 3;

/** @returns per bird the row of BIRD_FEATURES: its usual less the median of the other birds; 0 where either is unknown */
export function compareBirds(usual: readonly UsualCall[]): number[][] {
  return usual.map((own, k) => {
    const others = usual.filter((u, m) => m !== k && u.count >= LEAST_CALLS);
    if (own.count === 0 || others.length === 0) return [0, 0, 0];
    return [own.tilt - middle(others.map((u) => u.tilt)), own.residual - middle(others.map((u) => u.residual)), own.strength - middle(others.map((u) => u.strength))];
  });
}
