/** Plain references in f64: rise of bands over the floor, frames in which all bands rise alike. */

/** [frame][band] mean of power over floor between ascending edges. */
export function referenceBandRise(power: ArrayLike<number>, frameCount: number, binCount: number, floor: ArrayLike<number>, edges: readonly number[]): number[][] {
  return Array.from({ length: frameCount }, (_, t) => edges.slice(1).map((to, m) => {
    let sum = 0;
    for (let b = edges[m]; b < to; b++) sum += power[t * binCount + b] / floor[b];
    return sum / (to - edges[m]);
  }));
}

/** 1 where, after a mean over 2 radius + 1 frames, all bands exceed leastDb and all but the largest lie within spreadDb of the smallest. */
export function referenceEvenFrames(rise: number[][], radius: number, leastDb: number, spreadDb: number): number[] {
  return rise.map((row, t) => {
    const near = rise.slice(Math.max(0, t - radius), t + radius + 1);
    const db = row.map((_, m) => 10 * Math.log10(near.reduce((s, r) => s + r[m], 0) / near.length + 1e-9));
    if (db.some(Number.isNaN)) return 0;
    db.sort((a, b) => a - b);
    return db[0] > leastDb && db[db.length - 2] - db[0] < spreadDb ? 1 : 0;
  });
}
