/** Plain references in f64: bins that a track owns, bins that no track leads clearly, and sums over them. */
export interface ReferenceBins {
  power: ArrayLike<number>[]; floors: ArrayLike<number>[]; owner: ArrayLike<number>; leadDb: ArrayLike<number>; lost: ArrayLike<number>[];
  binCount: number; from: number; to: number; firstBin: number; endBin: number;
}

function listBins(s: ReferenceBins): { t: number; b: number; k: number }[] {
  const out: { t: number; b: number; k: number }[] = [];
  for (let t = s.from; t < s.to; t++) for (let b = s.firstBin; b < s.endBin; b++) out.push({ t, b, k: t * s.binCount + b });
  return out;
}

export function referenceOwnedBins(s: ReferenceBins, track: number, lift?: ArrayLike<number>): { set: number[]; all: number; owned: number; led: number } {
  const p = s.power[track], f = s.floors[track];
  const loud = listBins(s).filter(({ t, b, k }) => p[k] >= (lift ? Math.max(4, lift[t]) : 4) * f[b]);
  const own = loud.filter(({ k }) => s.owner[k] === track);
  const sum = (list: typeof loud, weight: (k: number) => number): number => list.reduce((a, { k, b }) => a + (p[k] - f[b]) * weight(k), 0);
  return { set: own.map(({ k }) => k), all: sum(loud, () => 1), owned: sum(own, () => 1), led: sum(own, (k) => s.leadDb[k]) };
}

export function referenceSharedBins(s: ReferenceBins, mostLeadDb: number): { set: number[]; led: number; weight: number; heard: number[] } {
  const shared = listBins(s).filter(({ k }) => s.owner[k] !== 255 && s.leadDb[k] <= mostLeadDb);
  const energy = ({ k, b }: { k: number; b: number }): number => s.power[s.owner[k]][k] / s.floors[s.owner[k]][b];
  return {
    set: shared.map(({ k }) => k), led: shared.reduce((a, x) => a + energy(x) * s.leadDb[x.k], 0), weight: shared.reduce((a, x) => a + energy(x), 0),
    heard: s.power.map((p, j) => shared.reduce((a, { t, b, k }) => a + (s.lost[j][t] ? 0 : Math.max(0, p[k] / s.floors[j][b] - 1)), 0)),
  };
}
