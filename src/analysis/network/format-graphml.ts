import type { Network, NetworkNode } from './build-network.js';
import type { NetworkEdge } from './judge-edges.js';

const nodeKeys: readonly (readonly [string, 'long' | 'double', keyof NetworkNode])[] = [
  ['calls', 'long', 'calls'], ['observed_s', 'double', 'observedSec'], ['out_strength', 'double', 'outStrength'], ['in_strength', 'double', 'inStrength'], ['betweenness', 'double', 'betweenness'],
];
const edgeKeys: readonly (readonly [string, 'string' | 'long' | 'double', keyof NetworkEdge])[] = [
  ['weight', 'double', 'excess'], ['edge', 'string', 'kind'], ['through', 'string', 'through'], ['calls', 'long', 'calls'], ['replies', 'long', 'replies'], ['reply_probability', 'double', 'replyProbability'],
  ['chance', 'double', 'chance'], ['q', 'double', 'q'], ['latency_median_s', 'double', 'latencyMedianSec'], ['rate_ratio', 'double', 'rateRatio'], ['q_influence', 'double', 'qInfluence'],
];

/**
 * The network as GraphML (http://graphml.graphdrawing.org): birds as nodes, the edges called reply and pairwise with their excess as weight.
 * A value that is missing is left out.
 */
export function formatGraphml(network: Network): string {
  const lines = [
    '<?xml version="1.0" encoding="UTF-8"?>',
    '<graphml xmlns="http://graphml.graphdrawing.org/xmlns" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xsi:schemaLocation="http://graphml.graphdrawing.org/xmlns http://graphml.graphdrawing.org/xmlns/1.0/graphml.xsd">',
    ...nodeKeys.map(([name, type]) => `  <key id="n_${name}" for="node" attr.name="${name}" attr.type="${type}"/>`),
    ...edgeKeys.map(([name, type]) => `  <key id="e_${name}" for="edge" attr.name="${name}" attr.type="${type}"/>`),
    '  <graph id="calls" edgedefault="directed">',
  ];
  for (const node of network.nodes) {
    lines.push(`    <node id="${escapeXml(node.bird)}">`, ...nodeKeys.flatMap(([name, , key]) => formatData(`n_${name}`, node[key])), '    </node>');
  }
  for (const edge of network.edges.filter((e) => e.kind === 'reply' || e.kind === 'pairwise')) {
    lines.push(`    <edge source="${escapeXml(edge.caller)}" target="${escapeXml(edge.replier)}">`, ...edgeKeys.flatMap(([name, , key]) => formatData(`e_${name}`, edge[key])), '    </edge>');
  }
  return `${[...lines, '  </graph>', '</graphml>'].join('\n')}\n`;
}

function formatData(key: string, value: string | number): string[] {
  if (value === '' || (typeof value === 'number' && !Number.isFinite(value))) return [];
  return [`      <data key="${key}">${typeof value === 'number' ? String(Number(value.toFixed(6))) : escapeXml(value)}</data>`];
}

function escapeXml(text: string): string {
  return text.replace(/[&<>"']/g, (c) => `&#${c.charCodeAt(0)};`);
}
