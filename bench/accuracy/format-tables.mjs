// The tables of a run as Markdown, for the terminal and for README.
import { KINDS } from './evidence-groups.mjs';
import { OURS } from './judge-scene.mjs';
import { PEERS } from './peers.mjs';

const METHODS = [OURS, ...PEERS];

/** Rows of cells, the first being the head; columns are padded so that the source reads well too. */
export function formatMarkdown(rows) {
  const width = rows[0].map((_, c) => Math.max(...rows.map((r) => r[c].length)));
  const line = (r) => `| ${r.map((cell, c) => cell.padEnd(width[c])).join(' | ')} |`;
  return [line(rows[0]), `|${width.map((w) => '-'.repeat(w + 2)).join('|')}|`, ...rows.slice(1).map(line)].join('\n');
}

/** A share near one or zero as .987 (.975-.994). */
export function showShare(e, digits = 3) {
  if (!e || e.value === null) return '-';
  const f = (v) => v.toFixed(digits).replace(/^0\./, '.');
  return e.low === null ? f(e.value) : `${f(e.value)} (${f(e.low)}-${f(e.high)})`;
}

function showMs(e, digits = 1) {
  if (!e || e.value === null) return '-';
  return e.low === null ? e.value.toFixed(digits) : `${e.value.toFixed(digits)} (${e.low.toFixed(digits)}-${e.high.toFixed(digits)})`;
}

export function formatMain(groups) {
  const head = ['scenes', 'calls', 'right time and right bird, F1', 'worst to best scene', 'detection F1', 'ghosts per true call', 'DER', 'onset error, median ms', 'p95 ms', 'ECE'];
  return formatMarkdown([head, ...groups.map((g) => {
    const m = g.methods[OURS];
    const each = g.scenes.map((s) => s.rightBirdF1).filter((v) => v !== null);
    const range = each.length > 1 ? `${showShare({ value: Math.min(...each), low: null })} to ${showShare({ value: Math.max(...each), low: null })}` : '-';
    return [describeGroup(g), String(m.labels), showShare(m.rightBirdF1), range, showShare(m.detectionF1), showShare(m.ghosts, 4), showShare(m.diarizationError), showMs(m.onsetMedianMs), showMs(m.onsetP95Ms), showShare(m.calibrationError)];
  })]);
}

export function formatUntagged(groups) {
  const head = ['scenes', 'calls without a tag', 'found', 'found of those above the noise', 'given to a tagged bird', 'recall of overlapped tagged calls', 'of the others', 'clock error, rms ms', 'worst clock'];
  return formatMarkdown([head, ...groups.map((g) => {
    const m = g.methods[OURS];
    const recall = (name) => showShare(m.overlapGroups.find((o) => o.group === name)?.recall);
    return [g.name, String(m.untaggedLabels), showShare(m.untaggedFound), showHeard(m.untaggedHeard), showShare(m.untaggedGivenAway), recall('yes'), recall('no'), ...showClocks(g)];
  })]);
}

function showHeard(heard) {
  return heard?.labels ? `${showShare(heard.found)} of ${heard.labels}` : '-';
}

function showClocks(g) {
  const clocks = g.scenes.flatMap((s) => s.clockRmsMs);
  if (clocks.length === 0) return ['-', '-'];
  const points = clocks.reduce((n, c) => n + c.points, 0);
  const rms = Math.sqrt(clocks.reduce((s, c) => s + c.points * c.rmsMs ** 2, 0) / points);
  return [`${rms.toFixed(3)} (${clocks.length} clock${clocks.length > 1 ? 's' : ''})`, Math.max(...clocks.map((c) => c.rmsMs)).toFixed(3)];
}

/** Beside the peers: one measure, a column for each method. */
export function formatPeers(groups, measure = (m) => showShare(m.rightBirdF1)) {
  return formatMarkdown([['scenes', ...METHODS], ...groups.map((g) => [g.name, ...METHODS.map((name) => measure(g.methods[name]))])]);
}

export function formatAblation(groups) {
  const with_ = groups.filter((g) => g.ablation);
  const kinds = KINDS.filter((k) => with_.some((g) => k in g.ablation));
  return formatMarkdown([['scenes', 'everything', ...kinds.map((k) => `without ${k}`)], ...with_.map((g) => [
    g.name, showShare(g.methods[OURS].rightBirdF1), ...kinds.map((k) => showShare(g.ablation[k].rightBirdF1)),
  ])]);
}

function describeGroup(g) {
  return g.seeds.length ? `${g.name} (${g.scenes.length}: ${g.seeds[0]}${g.seeds.length > 1 ? `-${g.seeds[g.seeds.length - 1]}` : ''})` : g.name;
}

/** Everything that the terminal shows. */
export function formatRun(run) {
  const { groups } = run;
  const parts = [
    describeRun(run),
    `Attribution (95 % intervals)\n\n${formatMain(groups)}`,
    `Callers without a tag, overlaps, clocks\n\n${formatUntagged(groups)}`,
    `Beside plain peers: right time and right bird, F1\n\n${formatPeers(groups)}`,
    `Detection F1\n\n${formatPeers(groups, (m) => showShare(m.detectionF1))}`,
    `Ghosts per true call\n\n${formatPeers(groups, (m) => showShare(m.ghosts))}`,
    `DER, no collar\n\n${formatPeers(groups, (m) => showShare(m.diarizationError))}`,
    `Onset error, median ms\n\n${formatPeers(groups, (m) => showMs(m.onsetMedianMs))}`,
  ];
  if (groups.some((g) => g.ablation)) parts.push(`Ablation: right time and right bird, F1, with forests blind to one kind of evidence (not retrained, only recalibrated)\n\n${formatAblation(groups)}`);
  return `${parts.join('\n\n')}\n`;
}

export function describeRun({ machine, date, commit, groups }) {
  const audio = groups.flatMap((g) => g.scenes);
  const trackSec = audio.reduce((s, x) => s + x.durationSec * x.trackCount, 0);
  const cpuSec = audio.reduce((s, x) => s + x.cpuSec, 0);
  return `Measured ${date} at commit ${commit} on ${machine.cpu} (${machine.cores} cores), Node ${machine.node}: ${audio.length} scenes, `
    + `${(trackSec / 3600).toFixed(2)} track hours, attributed in ${cpuSec.toFixed(0)} s of processor time, ${(trackSec / cpuSec).toFixed(0)} track seconds per second and core.`;
}
