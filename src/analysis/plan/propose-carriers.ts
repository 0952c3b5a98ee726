export interface ProposalInput {
  /** How many carriers to find beside those that are settled. */
  count: number;
  /** Edges of the band, Hz; half a bandwidth stays free at each. */
  lowHz: number;
  highHz: number;
  rasterHz: number;
  bandwidthHz: number;
  /** Settled carriers that the new ones must go with, Hz. */
  settledHz?: readonly number[];
  /** Candidates tried before the search is given up. */
  mostTries?: number;
}

export interface Proposal {
  /** New carriers in rising order, Hz; as many as asked for, or none. */
  carriersHz: number[];
  outcome: 'found' | 'impossible' | 'gave-up';
  /** Most new carriers that stood together at any time of the search. */
  mostPlaced: number;
}

/**
 * Looks for carriers on a raster (whole multiples of rasterHz) at least one bandwidth apart and with no third-order product within half a
 * bandwidth of any of them. That is so when all differences between pairs differ by more than half a bandwidth: a ruler whose marks
 * measure every distance once. Takes the lowest carrier that fits and goes back where the band runs out, so the answer is always the same.
 * 'impossible' means that every possibility was tried (settled carriers that clash among themselves make it so at once).
 * Source: W. C. Babcock, 'Intermodulation interference in radio systems', Bell Syst. Tech. J. 32 (1953) 63-73.
 */
export function proposeCarriers(input: ProposalInput): Proposal {
  const search = new CarrierSearch(input.bandwidthHz);
  for (const settled of input.settledHz ?? []) if (!search.add(settled)) return { carriersHz: [], outcome: 'impossible', mostPlaced: 0 };
  const { rasterHz, count } = input, settledCount = search.carriers.length;
  // A hair of tolerance: a band edge that lies on the raster is not lost to rounding.
  const first = Math.ceil((input.lowHz + input.bandwidthHz / 2) / rasterHz - 1e-9), last = Math.floor((input.highHz - input.bandwidthHz / 2) / rasterHz + 1e-9);
  let tries = input.mostTries ?? 2_000_000, mostPlaced = 0;
  const placed: number[] = [];
  let next = first;
  for (;;) {
    if (placed.length === count) return { carriersHz: search.carriers.slice(settledCount), outcome: 'found', mostPlaced: count };
    // The carriers still missing need one bandwidth each.
    const room = (last - next) * rasterHz >= (count - placed.length - 1) * input.bandwidthHz;
    if (next > last || !room) {
      const back = placed.pop();
      if (back === undefined) return { carriersHz: [], outcome: 'impossible', mostPlaced };
      search.drop();
      next = back + 1;
      continue;
    }
    if (tries-- <= 0) return { carriersHz: [], outcome: 'gave-up', mostPlaced };
    if (search.add(next * rasterHz)) {
      placed.push(next);
      mostPlaced = Math.max(mostPlaced, placed.length);
    }
    next++;
  }
}

/** Carriers and all differences between them; takes a carrier only where it fits. */
class CarrierSearch {
  readonly carriers: number[] = [];
  private readonly differences: number[] = [];

  constructor(private readonly bandwidthHz: number) {}

  add(carrierHz: number): boolean {
    const fresh: number[] = [];
    for (const other of this.carriers) {
      const difference = Math.abs(carrierHz - other);
      if (difference < this.bandwidthHz || this.isTaken(difference, this.differences) || this.isTaken(difference, fresh)) return false;
      fresh.push(difference);
    }
    this.differences.push(...fresh);
    this.carriers.push(carrierHz);
    return true;
  }

  drop(): void {
    this.carriers.pop();
    this.differences.length -= this.carriers.length;
  }

  private isTaken(difference: number, among: readonly number[]): boolean {
    const half = this.bandwidthHz / 2;
    for (const d of among) if (Math.abs(d - difference) <= half) return true;
    return false;
  }
}
