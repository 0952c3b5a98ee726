import { describe, expect, it } from 'vitest';
import { parseScene } from '../../src/simulate/parse-scene.js';
import { CLEAR_OF_OTHERS_M, planPoses } from '../../src/simulate/pose.js';
import { Random, hashLabel } from '../../src/simulate/random.js';
import { distance } from '../../src/simulate/vector.js';

const perches = (second: number): [number, number, number][][] => [[[0.5, 0.5, 0.5]], [[0.5 + second, 0.5, 0.5]]];
function pose(second: number, seed: number) {
  const scene = parseScene({
    durationSec: 60, room: { sizeM: [2, 2, 2] }, voices: { v: { calls: [{ kind: 'stack' }] } },
    birds: perches(second).map((perchesM, b) => ({ name: `B${b + 1}`, voice: 'v', perchesM, movesPerMin: 20 })),
  } as never);
  return planPoses(scene, [], new Random(hashLabel(seed, 'scene'))).poses;
}

describe('birds side by side', () => {
  it('keep their beaks out of each other: nearer to the own back than to the other one\'s, however often they turn', () => {
    let turned = 0;
    for (let seed = 0; seed < 20; seed++) {
      const poses = pose(0.05, seed);
      poses.forEach((list, b) => list.forEach(({ emitter, receiver }) => {
        const toOther = distance(emitter.positionM, poses[1 - b][0].receiver.positionM);
        expect(toOther).toBeGreaterThanOrEqual(CLEAR_OF_OTHERS_M);
        expect(toOther).toBeGreaterThan(distance(emitter.positionM, receiver.positionM));
        turned++;
      }));
    }
    expect(turned).toBeGreaterThan(400);
  });

  it('look any way where there is room: a hand\'s breadth apart, all directions come about', () => {
    const angles = Array.from({ length: 10 }, (_, seed) => pose(0.5, seed)).flatMap((poses) => poses[0].map(({ emitter }) => Math.atan2(emitter.heading[1], emitter.heading[0])));
    const quarters = [0, 0, 0, 0];
    for (const a of angles) quarters[Math.floor((a + Math.PI) / (Math.PI / 2)) % 4]++;
    // Of n directions a quarter each: 5 standard deviations of a binomial count.
    for (const q of quarters) expect(Math.abs(q - angles.length / 4)).toBeLessThan(5 * Math.sqrt(angles.length * 0.1875));
  });
});
