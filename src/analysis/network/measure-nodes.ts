import { DirectedGraph } from 'graphology';
import betweennessModule from 'graphology-metrics/centrality/betweenness.js';
import densityModule from 'graphology-metrics/graph/density.js';

// CommonJS modules whose types speak of a default export that Node hands over as the module itself.
const measureBetweenness = betweennessModule as unknown as typeof betweennessModule.default;
const { directedDensity } = densityModule;

/** A directed edge with a weight above 0. */
export interface WeightedEdge { source: string; target: string; weight: number }

/** Place of one bird in the network. */
export interface NodeMeasure {
  bird: string;
  /** Birds that reply to it, and that it replies to. */
  outDegree: number;
  inDegree: number;
  /** Summed weights of the same edges. */
  outStrength: number;
  inStrength: number;
  /** Of its edges in either direction, the share whose reverse is there too. */
  reciprocity: number;
  /** Share of shortest paths between two others that lead over it; a path's length is the sum of 1 / weight. */
  betweenness: number;
}

export interface GraphMeasure {
  edges: number;
  density: number;
  /** Share of edges whose reverse is there too. */
  reciprocity: number;
  /** The part of the weights that is returned: sum of min(w_ij, w_ji) over the sum of w (Squartini et al. 2013, Sci. Rep. 3:2729). */
  weightedReciprocity: number;
}

export function buildGraph(birds: readonly string[], edges: readonly WeightedEdge[]): DirectedGraph {
  const graph = new DirectedGraph();
  for (const bird of birds) graph.addNode(bird);
  for (const { source, target, weight } of edges) graph.addDirectedEdge(source, target, { weight, distance: 1 / weight });
  return graph;
}

/** Degree, strength, reciprocity and betweenness of every bird. */
export function measureNodes(graph: DirectedGraph): NodeMeasure[] {
  const between = graph.order > 2 ? measureBetweenness(graph, { getEdgeWeight: 'distance', normalized: true }) : {};
  const weightOf = (edge: string): number => graph.getEdgeAttribute(edge, 'weight') as number;
  return graph.mapNodes((bird) => {
    const out = graph.outEdges(bird);
    const into = graph.inEdges(bird);
    const returned = [...out, ...into].filter((e) => isReturned(graph, e)).length;
    return {
      bird, outDegree: out.length, inDegree: into.length,
      outStrength: out.reduce((s, e) => s + weightOf(e), 0), inStrength: into.reduce((s, e) => s + weightOf(e), 0),
      reciprocity: out.length + into.length ? returned / (out.length + into.length) : NaN, betweenness: between[bird] ?? 0,
    };
  });
}

export function measureGraph(graph: DirectedGraph): GraphMeasure {
  const edges = graph.edges();
  let whole = 0;
  let returned = 0;
  for (const e of edges) {
    const weight = graph.getEdgeAttribute(e, 'weight') as number;
    const back = graph.edge(graph.target(e), graph.source(e));
    whole += weight;
    if (back !== undefined) returned += Math.min(weight, graph.getEdgeAttribute(back, 'weight') as number);
  }
  return {
    edges: edges.length, density: graph.order > 1 ? directedDensity(graph) : NaN,
    reciprocity: edges.length ? edges.filter((e) => isReturned(graph, e)).length / edges.length : NaN,
    weightedReciprocity: whole > 0 ? returned / whole : NaN,
  };
}

function isReturned(graph: DirectedGraph, edge: string): boolean {
  return graph.hasDirectedEdge(graph.target(edge), graph.source(edge));
}
