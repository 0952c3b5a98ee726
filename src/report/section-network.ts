import type { NetworkEdge } from '../analysis/network/index.js';
import type { ReportNetwork } from './analysis-input.js';
import { drawGraph } from './draw-graph.js';
import { writeDays, writeTurns } from './draw-network-course.js';
import { dataLink, figure, paragraph, table } from './page.js';
import type { Section } from './page.js';
import type { ReportInput } from './report-input.js';
import { createScale, drawBottomAxis, drawLeftAxis, roundOut } from './scale.js';
import { box, element, fittedLabel, label, line, pathThrough, picture, tip } from './svg.js';
import { showCount, showNumber, shorten } from './text.js';

const PANEL = { width: 310, height: 205, columns: 3, plot: 104 };
/** More correlograms than this do not fit a page; their numbers are in the table and the CSV. */
const MOST_PANELS = 12;

/** Who replies to whom, and how fast; nothing where the network was not built. */
export function writeNetwork(input: ReportInput): Section | undefined {
  const { network } = input;
  if (!network?.edges.length) return undefined;
  const told = network.edges.filter((e) => e.kind !== 'none').sort((a, b) => rank(a) - rank(b) || b.excess - a.excess);
  const replies = told.filter((e) => e.kind === 'reply');
  const graph = figure(drawGraph([...new Set(network.edges.flatMap((e) => [e.caller, e.replier]))], told), 'Who replies to whom.',
    'Arrows lead from the caller to the bird that replies; the wider, the larger the excess of the reply probability over chance (written beside). Full: reply; dashed: more replies than chance, not confirmed by the regression (it may be indirect); dotted: fewer than chance.',
    dataLink('network.csv', EDGE_HEAD, network.edges.map(listEdge)));
  const shown = told.filter((e) => e.kind === 'reply' || e.kind === 'pairwise').slice(0, MOST_PANELS).filter((e) => network.latencies.some((b) => b.caller === e.caller && b.replier === e.replier));
  const latencies = shown.length ? figure(drawLatencies(shown, network), 'How fast.', 'Calls of the replier by the time from the onset of a call to the onset of theirs. Bars: found; dashed line: unrelated birds with the same rates; tinted: reply window; stroke: median latency of the first reply in it.'
    + `${told.length > shown.length && shown.length === MOST_PANELS ? ` The ${MOST_PANELS} strongest are drawn.` : ''}`, latencyData(shown, network)) : '';
  const intro = `${showCount(replies.length, 'edge')} of ${network.edges.length} ordered pairs: more replies than both kinds of surrogates, confusion of callers and the regression on everybody else's calls explain.${tellIndirect(told)} An edge is timing, not intention.`;
  return { id: 'network', title: 'Network of calls and replies', body: paragraph(intro) + graph + latencies + writeTurns(network.turns ?? []) + writeDays(shown, network.days ?? []) + tabulate(told) };
}

function tellIndirect(told: readonly NetworkEdge[]): string {
  const count = told.filter((e) => e.through).length;
  return count ? ` ${showCount(count, 'more pair')} may only be indirect, through a third bird: the table names it.` : '';
}

/** What kind of edge it is, and over whom it may be indirect. */
function nameKind(e: NetworkEdge): string {
  return e.through ? `${e.kind}, may be indirect through ${shorten(e.through, 14)}` : e.kind;
}

function rank(e: NetworkEdge): number {
  return ['reply', 'pairwise', 'fewer', 'none'].indexOf(e.kind);
}

const EDGE_HEAD = ['caller', 'replier', 'edge', 'calls', 'replies', 'reply_probability', 'chance', 'excess', 'excess_low', 'excess_high', 'q', 'latency_median_s', 'latency_lower_s', 'latency_upper_s', 'gap_median_s', 'gap_lower_s', 'gap_upper_s', 'rate_ratio', 'rate_ratio_low', 'rate_ratio_high', 'rate_ratio_needed', 'indirect_excess', 'q_influence', 'through'];

function listEdge(e: NetworkEdge): (string | number)[] {
  const numbers = [e.replyProbability, e.chance, e.excess, e.excessLow, e.excessHigh, e.q, e.latencyMedianSec, e.latencyLowerSec, e.latencyUpperSec, e.gapMedianSec, e.gapLowerSec, e.gapUpperSec, e.rateRatio, e.rateRatioLow, e.rateRatioHigh, e.rateRatioNeeded, e.indirectExcess, e.qInfluence];
  return [e.caller, e.replier, e.kind, e.calls, e.replies, ...numbers.map((v) => (Number.isFinite(v) ? Number(v.toFixed(6)) : '')), e.through];
}

function latencyData(shown: readonly NetworkEdge[], network: ReportNetwork): string {
  const bins = network.latencies.filter((b) => shown.some((e) => e.caller === b.caller && e.replier === b.replier));
  return dataLink('network-latencies.csv', ['caller', 'replier', 'lag_s', 'pairs', 'expected', 'first_replies'], bins.map((b) => [b.caller, b.replier, Number(b.lagSec.toFixed(6)), b.pairs, Number.isFinite(b.expected) ? Number(b.expected.toFixed(3)) : '', b.firstReplies]));
}

/** A cross-correlogram per edge, one scale of time, counts to each panel's own scale. */
function drawLatencies(edges: readonly NetworkEdge[], network: ReportNetwork): string {
  const panels = edges.map((e, i) => drawPanel(e, network, (i % PANEL.columns) * PANEL.width + 50, Math.floor(i / PANEL.columns) * PANEL.height + 62));
  return picture(Math.min(PANEL.columns, edges.length) * PANEL.width, Math.ceil(edges.length / PANEL.columns) * PANEL.height + 42, 'Latency of replies, one panel per edge',
    label('pairs of calls per bin, count', { class: 'axis-title', x: 6, y: 12 }), ...panels);
}

function drawPanel(e: NetworkEdge, { latencies, settings }: ReportNetwork, left: number, top: number): string {
  const bins = latencies.filter((b) => b.caller === e.caller && b.replier === e.replier).sort((a, b) => a.lagSec - b.lagSec);
  const stepSec = bins.length > 1 ? bins[1].lagSec - bins[0].lagSec : 0.02;
  const reach = bins[bins.length - 1].lagSec + stepSec;
  const [, high] = roundOut(0, Math.max(1, ...bins.map((b) => b.pairs)), 4);
  const x = createScale(0, 1000 * reach, left, left + PANEL.width - 70);
  const y = createScale(0, high, top + PANEL.plot, top);
  const { fromSec, toSec } = settings;
  const wash = fromSec !== undefined && toSec !== undefined ? box(x(1000 * fromSec), top, x(1000 * Math.min(toSec, reach)) - x(1000 * fromSec), PANEL.plot, 'window-wash') : '';
  const bars = bins.map((b) => (b.pairs > 0 ? box(x(1000 * b.lagSec), y(b.pairs), x(1000 * (b.lagSec + stepSec)) - x(1000 * b.lagSec) - 0.4, y(0) - y(b.pairs), 'call-mid', tip(`${showNumber(1000 * b.lagSec, 0)} ms: ${b.pairs} pairs, ${showNumber(b.expected, 1)} expected`)) : '')).join('');
  const chance = bins.filter((b) => Number.isFinite(b.expected)).map((b) => [x(1000 * (b.lagSec + stepSec / 2)), y(Math.min(high, Math.max(0, b.expected)))] as const);
  const middle = Number.isFinite(e.latencyMedianSec) ? line(x(1000 * e.latencyMedianSec), top - 3, x(1000 * e.latencyMedianSec), top + PANEL.plot, 'axis') : '';
  const doubt = e.kind === 'reply' ? '' : label(e.through ? `through ${shorten(e.through, 14)}?` : e.kind, { class: 'axis-title', x: left, y: top - 10 });
  const title = fittedLabel(`${shorten(e.caller, 14)} → ${shorten(e.replier, 14)}`, PANEL.width - 60, { class: 'name', x: left, y: top - (doubt ? 26 : 10) });
  return element('g', {}, title, doubt, wash,
    drawBottomAxis(x, top + PANEL.plot, { title: 'latency, ms', ticks: 5 }), drawLeftAxis(y, left, { title: '', ticks: 4, leastStep: 1 }), bars, chance.length > 1 ? pathThrough(chance, 'chance-line') : '', middle);
}

function tabulate(edges: readonly NetworkEdge[]): string {
  if (!edges.length) return paragraph('No pair stood out.');
  const ms = (sec: number): string => showNumber(1000 * sec, 0);
  const q = (v: number): string => (!Number.isFinite(v) ? '–' : v < 0.0001 ? '<0.0001' : showNumber(v, 4));
  const rows = edges.map((e) => [`${e.caller} → ${e.replier}`, nameKind(e), String(e.calls), showNumber(e.replyProbability, 3), showNumber(e.chance, 3), `${showNumber(e.excess, 3)} (${showNumber(e.excessLow, 3)} to ${showNumber(e.excessHigh, 3)})`,
    q(e.q), `${ms(e.latencyMedianSec)} (${ms(e.latencyLowerSec)} to ${ms(e.latencyUpperSec)})`, `${ms(e.gapMedianSec)} (${ms(e.gapLowerSec)} to ${ms(e.gapUpperSec)})`, `${showNumber(e.rateRatio, 1)} (${showNumber(e.rateRatioLow, 1)} to ${showNumber(e.rateRatioHigh, 1)})`, showNumber(e.rateRatioNeeded, 1), q(e.qInfluence)]);
  return table(['caller → replier', 'edge', 'calls', 'reply probability', 'chance', 'excess (95 %)', 'q', 'latency ms (quartiles)', 'from the end of the call, ms', 'rate ratio (95 %)', 'needed', 'q rate ratio'], rows,
    { caption: 'Latency: onset to onset, first reply in the window, chance replies among them. q: adjusted over all pairs (Benjamini and Hochberg). Rate ratio: by the regression, net of own history, other birds and the hour of the day. Needed: what its lower end has to exceed, so that missing calls of a third bird cannot feign an edge.', left: [1] });
}
