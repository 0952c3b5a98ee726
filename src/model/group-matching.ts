/** What a matching says of the first group and one bird. */
export interface MatchingMargin {
  /** Least total cost where the first group is not that bird's, less that where it is. */
  margin: number;
  /** The group that is that bird's in the cheaper matching in which the first is not; -1 for none. */
  instead: number;
}

/**
 * Matches groups with birds one to one, each group with a bird or with none at a price, such that the costs are least in sum, once with the first
 * group held to a bird and once with it kept away. By dynamic programming over sets of birds, for groups and birds are few.
 * @param costs [group][bird] @param bird that the first group is held to or kept from @param none price of a group that is none of the birds'
 */
export function weighMatching(costs: readonly (readonly number[])[], bird: number, none: number): MatchingMargin {
  const birds = costs[0].length, sets = 1 << birds;
  // After all groups but the first: least cost by the set of birds taken, and which group took the bird in question.
  let cost = new Float64Array(sets).fill(Infinity), taker = new Int32Array(sets).fill(-1);
  cost[0] = 0;
  for (let g = 1; g < costs.length; g++) {
    const next = new Float64Array(sets).fill(Infinity), who = new Int32Array(sets).fill(-1);
    for (let set = 0; set < sets; set++) {
      if (cost[set] === Infinity) continue;
      if (cost[set] + none < next[set]) { next[set] = cost[set] + none; who[set] = taker[set]; }
      for (let b = 0; b < birds; b++) {
        const to = set | (1 << b), sum = cost[set] + costs[g][b];
        if (to === set || sum >= next[to]) continue;
        next[to] = sum;
        who[to] = b === bird ? g : taker[set];
      }
    }
    cost = next;
    taker = who;
  }
  let held = Infinity; let kept = Infinity; let instead = -1;
  for (let set = 0; set < sets; set++) {
    if (!(set & (1 << bird))) held = Math.min(held, cost[set] + costs[0][bird]);
    let first = none;
    for (let b = 0; b < birds; b++) if (b !== bird && !(set & (1 << b))) first = Math.min(first, costs[0][b]);
    if (cost[set] + first < kept) { kept = cost[set] + first; instead = taker[set]; }
  }
  return { margin: kept - held, instead };
}
