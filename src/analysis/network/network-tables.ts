import type { ColumnSpec, TableSpec } from '../../table/table-specs.js';
import type { LatencyBin, NetworkNode, ThresholdMeasure } from './build-network.js';
import type { EdgeDifference } from './compare-networks.js';
import type { NetworkEdge } from './judge-edges.js';
import type { DayMeasure } from './measure-days.js';
import type { TurnTaking } from './turn-taking.js';

const COUNT = { type: 'integer', minimum: 0 } as const;
const SHARE = { type: 'number', decimals: 6, minimum: 0, maximum: 1, isOptional: true } as const;
const SIGNED = { type: 'number', decimals: 6, isOptional: true } as const;
const SECONDS = { type: 'number', decimals: 6, unit: 's', minimum: 0, isOptional: true } as const;
const GAP = { type: 'number', decimals: 6, unit: 's', isOptional: true } as const;
const RATIO = { type: 'number', decimals: 4, minimum: 0, isOptional: true } as const;
const CALLER = { name: 'caller', key: 'caller', type: 'string', description: 'Bird that calls.' } as const;
const REPLIER = { name: 'replier', key: 'replier', type: 'string', description: 'Bird whose calls after it are counted as replies.' } as const;

const replyColumns: readonly ColumnSpec<NetworkEdge>[] = [
  { name: 'calls', key: 'calls', ...COUNT, description: 'Calls of the caller while both birds were observed.' },
  { name: 'replier_calls', key: 'replierCalls', ...COUNT, description: 'Calls of the replier in the same time.' },
  { name: 'replies', key: 'replies', ...COUNT, description: 'Calls of the caller that a call of the replier follows within the reply window (onset to onset).' },
  { name: 'reply_probability', key: 'replyProbability', ...SHARE, description: 'replies / calls.' },
  { name: 'chance', key: 'chance', ...SIGNED, description: 'Reply probability that the rates of both birds alone would give: the larger of what shifts and jitters say, after true replies are taken out of the jitters.' },
  { name: 'chance_shift', key: 'chanceShift', ...SHARE, description: 'Mean reply probability over all circular shifts within blocks.' },
  { name: 'chance_jitter', key: 'chanceJitter', ...SHARE, description: 'Mean reply probability over all jitters of bouts within cells, true replies not taken out.' },
  { name: 'excess', key: 'excess', ...SIGNED, description: 'reply_probability - chance: the weight of the edge.' },
];

const testColumns: readonly ColumnSpec<NetworkEdge>[] = [
  { name: 'z', key: 'z', ...SIGNED, description: "Replies less the surrogates' mean in standard deviations; the smaller of the two kinds, 0 where they disagree in sign." },
  { name: 'p_shift', key: 'pShift', ...SHARE, description: 'Two-sided p against circular shifts, the observed value counted among the surrogates.' },
  { name: 'p_jitter', key: 'pJitter', ...SHARE, description: 'The same against jitters.' },
  { name: 'p', key: 'p', ...SHARE, description: 'The larger of the two; 1 where they disagree in sign.' },
  { name: 'q', key: 'q', ...SHARE, description: 'p adjusted over all pairs after Benjamini and Hochberg (1995).' },
  { name: 'latency_median_s', key: 'latencyMedianSec', ...SECONDS, description: 'Median time from the onset of a call to the onset of the first reply in the window, chance replies among them.' },
  { name: 'latency_lower_s', key: 'latencyLowerSec', ...SECONDS, description: 'Lower quartile of the same.' },
  { name: 'latency_upper_s', key: 'latencyUpperSec', ...SECONDS, description: 'Upper quartile of the same.' },
];

export const edgeTable: TableSpec<NetworkEdge> = {
  name: 'network', title: 'Network of calls and replies', description: 'One row per ordered pair of birds.', primaryKey: ['caller', 'replier'],
  columns: [
    CALLER, REPLIER,
    { name: 'edge', key: 'kind', type: 'string', values: ['reply', 'pairwise', 'fewer', 'none'], description: 'reply: more replies than surrogates, confusion and the regression explain; pairwise: more than surrogates and confusion explain, but not confirmed by the regression (see through); fewer: fewer than the surrogates; none: none of these was seen.' },
    ...replyColumns,
    { name: 'excess_low', key: 'excessLow', ...SIGNED, description: 'Lower end of the 95 % interval of excess: callers drawn by their probability, blocks of time drawn anew, and what wrong callers may have feigned.' },
    { name: 'excess_high', key: 'excessHigh', ...SIGNED, description: 'Upper end of the same, with what wrong callers may have cost.' },
    { name: 'leak', key: 'leak', ...SIGNED, description: 'Excess that calls given to the wrong bird could feign, to first order.' },
    ...testColumns,
    { name: 'gap_median_s', key: 'gapMedianSec', ...GAP, description: 'Median time from the offset of a call to the onset of the same first reply; below 0 = the reply starts before the call ends.' },
    { name: 'gap_lower_s', key: 'gapLowerSec', ...GAP, description: 'Lower quartile of the same.' },
    { name: 'gap_upper_s', key: 'gapUpperSec', ...GAP, description: 'Upper quartile of the same.' },
    { name: 'rate_ratio', key: 'rateRatio', ...RATIO, description: "By the regression: the replier's rate in the reply window over what it would be without that call, all else held; empty where the replier called too little." },
    { name: 'rate_ratio_low', key: 'rateRatioLow', ...RATIO, description: 'Lower end of its 95 % interval.' },
    { name: 'rate_ratio_high', key: 'rateRatioHigh', ...RATIO, description: 'Upper end of its 95 % interval.' },
    { name: 'rate_ratio_needed', key: 'rateRatioNeeded', ...RATIO, description: 'What rate_ratio_low has to exceed for a reply: the least rate ratio set, and what missing and wrongly given calls of other birds could feign.' },
    { name: 'indirect_excess', key: 'indirectExcess', ...SIGNED, description: 'Excess that paths over other birds would give, to first order: chains (another answers the caller and is answered) and common causes (both answer another).' },
    { name: 'through', key: 'through', type: 'string', isOptional: true, description: 'Of a pairwise pair: the bird over which it may be indirect; empty where no such path is strong enough.' },
    { name: 'p_influence', key: 'pInfluence', ...SHARE, description: 'Two-sided p of rate_ratio being 1.' },
    { name: 'q_influence', key: 'qInfluence', ...SHARE, description: 'The same adjusted over all pairs after Benjamini and Hochberg (1995).' },
  ],
};

export const nodeTable: TableSpec<NetworkNode> = {
  name: 'network-nodes', title: 'Birds in the network', description: 'One row per bird, from the edges called reply with their excess as weight.', primaryKey: ['bird'],
  columns: [
    { name: 'bird', key: 'bird', type: 'string', description: 'Bird.' },
    { name: 'calls', key: 'calls', ...COUNT, description: 'Calls used.' },
    { name: 'observed_s', key: 'observedSec', ...SECONDS, description: 'Time in which the bird was observed.' },
    { name: 'out_degree', key: 'outDegree', ...COUNT, description: 'Birds that reply to it.' },
    { name: 'in_degree', key: 'inDegree', ...COUNT, description: 'Birds that it replies to.' },
    { name: 'out_strength', key: 'outStrength', ...SIGNED, description: 'Summed excess of the replies that it gets.' },
    { name: 'in_strength', key: 'inStrength', ...SIGNED, description: 'Summed excess of the replies that it gives.' },
    { name: 'reciprocity', key: 'reciprocity', ...SHARE, description: 'Share of its edges whose reverse is an edge too; empty without edges.' },
    { name: 'betweenness', key: 'betweenness', ...SHARE, description: 'Share of shortest paths between two other birds that lead over it; a path is as long as the sum of 1 / excess.' },
  ],
};

export const latencyTable: TableSpec<LatencyBin> = {
  name: 'network-latencies', title: 'Cross-correlograms', description: 'Pairs of calls by the time from one to the other, and first replies.', primaryKey: ['caller', 'replier', 'lag_s'],
  columns: [
    CALLER, REPLIER,
    { name: 'lag_s', key: 'lagSec', ...SECONDS, description: "Start of the bin: onset of the replier's call less onset of the caller's. The reverse pair holds the other side." },
    { name: 'pairs', key: 'pairs', ...COUNT, description: 'Pairs of calls in the bin.' },
    { name: 'expected', key: 'expected', ...SIGNED, description: 'Pairs that unrelated birds with the same rates block by block would give.' },
    { name: 'first_replies', key: 'firstReplies', ...COUNT, description: 'Calls whose first reply in the reply window lies in the bin.' },
  ],
};

export const thresholdTable: TableSpec<ThresholdMeasure> = {
  name: 'network-thresholds', title: 'Network by threshold', description: 'The surrogate tests at other thresholds of the probability of a call.', primaryKey: ['threshold', 'caller', 'replier'],
  columns: [
    { name: 'threshold', key: 'threshold', ...SHARE, isOptional: false, description: 'Least probability of the calls used.' },
    CALLER, REPLIER,
    ...(replyColumns as readonly ColumnSpec<never>[] as readonly ColumnSpec<ThresholdMeasure>[]),
    ...(testColumns as readonly ColumnSpec<never>[] as readonly ColumnSpec<ThresholdMeasure>[]),
  ],
};

export const dayTable: TableSpec<DayMeasure> = {
  name: 'network-days', title: 'Network by day', description: 'Replies day by day.', primaryKey: ['day', 'caller', 'replier'],
  columns: [
    { name: 'day', key: 'day', ...COUNT, minimum: 1, description: "Day of the study, 1 = the first, as in rates-by-day; from midnight to midnight where the study's start is known, else in spans of 24 h." },
    CALLER, REPLIER,
    { name: 'calls', key: 'calls', ...COUNT, description: 'Calls of the caller while both birds were observed.' },
    { name: 'replies', key: 'replies', ...COUNT, description: 'Those with a reply.' },
    { name: 'reply_probability', key: 'replyProbability', ...SHARE, description: 'replies / calls.' },
    { name: 'chance', key: 'chance', ...SIGNED, description: "Chance by circular shifts on that day, plus what the pair's chance is above it in the whole study." },
    { name: 'excess', key: 'excess', ...SIGNED, description: 'reply_probability - chance.' },
  ],
};

export const turnTable: TableSpec<TurnTaking> = {
  name: 'network-turns', title: 'Turn-taking', description: 'One row per two birds: how often successive calls change bird.', primaryKey: ['bird_a', 'bird_b'],
  columns: [
    { name: 'bird_a', key: 'birdA', type: 'string', description: 'One bird.' },
    { name: 'bird_b', key: 'birdB', type: 'string', description: 'The other.' },
    { name: 'followed', key: 'followed', ...COUNT, description: 'Calls of either that the next call of either follows within the reach of the correlograms.' },
    { name: 'alternations', key: 'alternations', ...COUNT, description: 'Those followed by the other bird.' },
    { name: 'share', key: 'share', ...SHARE, description: 'alternations / followed.' },
    { name: 'chance', key: 'chance', ...SHARE, description: 'Mean share over circular shifts.' },
    { name: 'index', key: 'index', ...SIGNED, description: 'share - chance: above 0 they take turns more than their own rhythms would make them.' },
    { name: 'p', key: 'p', ...SHARE, description: 'Two-sided p against circular shifts.' },
  ],
};

export const compareTable: TableSpec<EdgeDifference> = {
  name: 'network-compare', title: 'Comparison with another network', description: 'One row per ordered pair that both networks hold.', primaryKey: ['caller', 'replier'],
  columns: [
    CALLER, REPLIER,
    { name: 'excess', key: 'excess', ...SIGNED, description: 'Excess here.' },
    { name: 'other_excess', key: 'otherExcess', ...SIGNED, description: 'Excess in the other network.' },
    { name: 'difference', key: 'difference', ...SIGNED, description: 'excess - other_excess.' },
    { name: 'p', key: 'p', ...SHARE, description: 'Two-sided p of no difference, from the widths of both intervals (normal distribution).' },
    { name: 'q', key: 'q', ...SHARE, description: 'p adjusted over all pairs after Benjamini and Hochberg (1995).' },
  ],
};

/** All tables that `network` writes; the last only where two networks are compared. */
export const networkTables = [edgeTable, nodeTable, latencyTable, thresholdTable, dayTable, turnTable, compareTable] as const;
