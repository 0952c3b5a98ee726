import type { Network } from './build-network.js';
import type { NetworkComparison } from './compare-networks.js';
import type { NetworkEdge } from './judge-edges.js';

/** The network as text for people. */
export function formatNetwork(network: Network, comparison?: NetworkComparison): string {
  const { settings: s, counts, graph } = network;
  const lines = [
    `${network.birds.length} birds, ${counts.used} of ${counts.calls} calls used`,
    `  left out: ${counts.belowThreshold} below probability ${s.threshold}, ${counts.sharedSound} that share a surer call's sound, ${counts.untagged} of untagged callers, ${counts.unobserved} at unobserved or excluded times`,
    ...describeExcluded(network),
    `reply: a call that starts ${s.fromSec} to ${s.toSec} s after another's start; ${s.surrogates} surrogates; expected share of false edges ${s.falseShare}`,
    ...describeResolution(network),
    '', ...formatEdges(network), '',
    `${graph.edges} ${graph.edges === 1 ? 'edge' : 'edges'} of ${network.edges.length} ordered pairs; density ${show(graph.density)}; returned ${percent(graph.reciprocity)} of edges, ${percent(graph.weightedReciprocity)} of weight`,
    ...describeThresholds(network), ...describeTurns(network), ...describeDays(network),
  ];
  if (network.withoutRegression.length) lines.push(`too few calls for the regression, so no edge to them can be confirmed: ${network.withoutRegression.join(', ')}`);
  const { bonds } = network;
  if (bonds) lines.push(`pair bonds: mean excess ${show(bonds.bondedMean)} within ${bonds.bondedPairs} pairs, ${show(bonds.otherMean)} in others; p ${showP(bonds.p)} (${describePermutations(bonds)})`);
  if (comparison) {
    const told = comparison.differences.filter((d) => d.q <= s.falseShare).length;
    lines.push(`compared over ${comparison.birds.length} birds: correlation ${show(comparison.statistic)}, p ${showP(comparison.p)} (${describePermutations(comparison)}); ${told} of ${comparison.differences.length} pairs differ`);
  }
  return lines.join('\n');
}

/** With few surrogates p cannot fall far enough for a lone edge among many pairs: said, lest 'no edge' be read as a finding. */
function describeResolution({ settings: s, edges }: Network): string[] {
  const told = edges.filter((e) => Number.isFinite(e.p)).length;
  const together = Math.ceil((2 * told) / ((s.surrogates + 1) * s.falseShare) - 1e-9);
  if (together < 2) return [];
  const needed = Math.ceil((2 * told) / s.falseShare - 1e-9) - 1;
  if (together > told) return [`caution: with ${s.surrogates} surrogates no pair can stand out; for a lone one at least ${needed} are needed`];
  return [`caution: with ${s.surrogates} surrogates no fewer than ${together} of ${told} pairs can stand out together; for a lone one at least ${needed} surrogates are needed`];
}

function formatEdges(network: Network): string[] {
  const shown = network.edges.filter((e) => e.kind !== 'none').sort((a, b) => b.excess - a.excess);
  if (!shown.length) return ['no edge: no pair of birds stands out from chance'];
  const width = Math.max(7, ...network.birds.map((b) => b.length));
  const row = (cells: readonly string[]): string => cells.map((c, i) => (i < 2 ? c.padEnd(width) : i === 2 ? c.padEnd(8) : c.padStart(i === 6 ? 17 : 8))).join('  ').trimEnd();
  return [row(['caller', 'replier', 'edge', 'calls', 'replies', 'chance', 'excess (95 %)', 'q', 'latency', 'from end', 'ratio >', 'needed']), ...shown.map((e) => row([
    e.caller, e.replier, e.kind, String(e.calls), percent(e.replyProbability), percent(e.chance), `${show(e.excess)} (${show(e.excessLow)} ${show(e.excessHigh)})`,
    showP(e.q), `${Math.round(1000 * e.latencyMedianSec)} ms`, `${Math.round(1000 * e.gapMedianSec)} ms`, ...[e.rateRatioLow, e.rateRatioNeeded].map((v) => (Number.isFinite(v) ? v.toFixed(1) : '-')),
  ])), ...describeIndirect(shown)];
}

function describeIndirect(shown: readonly NetworkEdge[]): string[] {
  const pairs = shown.filter((e) => e.through !== '').map((e) => `${e.caller} to ${e.replier} through ${e.through}`);
  return pairs.length ? [`may be indirect: ${pairs.join(', ')}`] : [];
}

function describeExcluded(network: Network): string[] {
  return network.excluded.map((e) => `  excluded: ${e.bird || 'all birds'}, ${e.reason || 'no reason given'}: ${e.windows} windows, ${(e.sec / 3600).toFixed(2)} h, ${e.calls} calls`);
}

function describeThresholds(network: Network): string[] {
  const { thresholds, falseShare } = network.settings;
  if (!thresholds.length) return [];
  const standing = (list: readonly { excess: number; q: number }[]): number => list.filter((m) => m.q <= falseShare && m.excess > 0).length;
  const cells = thresholds.map((t) => `${standing(network.thresholds.filter((m) => m.threshold === t))} at ${t}`);
  return [`pairs above the surrogates by threshold: ${cells.join(', ')}`];
}

function describeTurns(network: Network): string[] {
  const told = network.turns.filter((t) => Number.isFinite(t.index)).sort((a, b) => b.index - a.index);
  if (!told.length) return [];
  return [`turn-taking above chance: ${told.slice(0, 3).map((t) => `${t.birdA} and ${t.birdB} ${show(t.index)} (p ${showP(t.p)})`).join(', ')}`];
}

function describeDays(network: Network): string[] {
  const next = network.dayLikeness.filter((d) => d.dayB === d.dayA + 1 && Number.isFinite(d.correlation));
  if (!next.length) return [];
  const mean = next.reduce((s, d) => s + d.correlation, 0) / next.length;
  return [`stability: mean correlation of one day's weights with the next's ${show(mean)} over ${next.length} ${next.length > 1 ? 'steps' : 'step'}`];
}

function describePermutations(test: { permutations: number; isExact: boolean }): string {
  return `${test.isExact ? 'all ' : ''}${test.permutations} permutations of birds`;
}

function show(value: number): string {
  return Number.isFinite(value) ? value.toFixed(3) : '-';
}

function showP(p: number): string {
  if (!Number.isFinite(p)) return '-';
  return p < 0.0001 ? '<0.0001' : p.toFixed(4);
}

function percent(value: number): string {
  return Number.isFinite(value) ? `${(100 * value).toFixed(1)} %` : '-';
}

/** What stands in network.json: all but the long tables, which are CSV; numbers to six decimals, missing ones null. */
export function networkToJson(network: Network, comparison?: NetworkComparison): string {
  const { latencies: _, thresholds: __, days: ___, ...rest } = network;
  const round = (_key: string, value: unknown): unknown => (typeof value !== 'number' ? value : Number.isFinite(value) ? Number(value.toFixed(6)) : null);
  return `${JSON.stringify({ schema: 1, ...rest, comparison }, round, 2)}\n`;
}
