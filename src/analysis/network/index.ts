/** What the library offers for networks of calls and replies: pure functions on rows, the same in Node and browsers. */
export { buildNetwork } from './build-network.js';
export type { BondContrast, LatencyBin, Network, NetworkNode, ThresholdMeasure } from './build-network.js';
export { compareNetworks } from './compare-networks.js';
export type { ComparedEdge, EdgeDifference, NetworkComparison } from './compare-networks.js';
export { formatGraphml } from './format-graphml.js';
export { formatNetwork, networkToJson } from './format-network.js';
export { formatNetworkFiles } from './format-tables.js';
export type { EdgeKind, NetworkEdge } from './judge-edges.js';
export type { DayMeasure } from './measure-days.js';
export { networkTables } from './network-tables.js';
export type { TurnTaking } from './turn-taking.js';
export { DEFAULT_NETWORK_SETTINGS } from './types.js';
export type { ExcludedWindow, Interval, NetworkInput, NetworkSettings } from './types.js';
