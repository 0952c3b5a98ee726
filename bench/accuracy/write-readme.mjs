// Puts the tables of a run between the marks in README: node bench/accuracy/write-readme.mjs bench/runs/accuracy-DATE.json [README.md]
import { readFileSync, writeFileSync } from 'node:fs';
import { join, dirname } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { OURS } from './judge-scene.mjs';
import { PEERS } from './peers.mjs';
import { VOICED } from './voiced-scenes.mjs';
import { describeRun, formatAblation, formatMain, formatPeers, formatUntagged, showShare } from './format-tables.mjs';

const START = '<!-- accuracy:start -->';
const END = '<!-- accuracy:end -->';
const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');

export function writeReadme(run, path = join(root, 'README.md')) {
  const text = readFileSync(path, 'utf8');
  const from = text.indexOf(START);
  const to = text.indexOf(END);
  if (from < 0 || to < from) throw new Error(`${path}: no lines '${START}' and '${END}'`);
  writeFileSync(path, `${text.slice(0, from + START.length)}\n${formatBlock(run)}\n${text.slice(to)}`);
}

function formatBlock(run) {
  const simulated = run.groups.filter((g) => g.seeds.length);
  const recorded = run.groups.filter((g) => !g.seeds.length);
  const names = recorded.map((g) => g.name).join(', ');
  const parts = [
    summariseRun(run.groups),
    describeRun(run),
    `Simulated scenes of 60 to 90 s, drawn at random by \`volary simulate --random PRESET --seed N\` (presets and seeds in the table). The models were learned on other seeds (3000-3999, 20000-20999 and 30000-30475, calibrated on 7000-7127) of the same simulator, with birds of one species further apart in voice (\`individuality\` .1 to 2 in place of .08 to .7), with struck things in most rooms, with calls of unlike parts, and two fifths of them with disturbed tracks (steady sound, drops, clicks, clipping, gains that wander): the scenes are new, the kind of world is not.${run.groups.some((g) => g.name.startsWith('real voices')) ? ' *Real voices*: rooms, tags and noises of a preset drawn by the simulator, and as voices recorded calls of two real birds (a set kept outside the project), for every bird at a pitch of its own; nothing was learned on recorded calls. *Higher*: calls 1.15 to 1.9 times as high and as short.' : ''}${names ? ` ${names}: real zebra finch calls played back in a simulated room (a set of labelled scenes kept outside the project; used while developing, so no blind test).` : ''} Intervals are 95 %, over blocks of time within these scenes; how much scenes differ from each other tells the column beside. Scenes are pooled: each counts by its calls.`,
    formatMain(run.groups),
    '- *right time and right bird*: onset within 50 ms of a labelled call of the same tagged bird, one to one. *Detection*: whoever called, birds without a tag included. *Ghost*: a row of a tagged bird that lies in somebody else\'s call. *DER*: diarization error rate without collar. *ECE*: expected calibration error of the column `probability`, 15 bins (by chance alone, perfectly calibrated probabilities would show '
      + `${showChance(run.groups)} here).`,
    'Calls without a tag are *found* where they have a row at all, that of a tagged bird included; *above the noise* are those louder than the steady noise of the track that hears them best.',
    formatUntagged(run.groups),
    'Beside three plain ways to say who called, on the same tracks, right time and right bird, F1. *Loudest*: the track with the most power over its own noise; *earliest*: the track that the sound reaches first, by cross-correlation; *majority*: of loudest, loudest at the onset, and earliest. Their thresholds were chosen on seeds 2000-2011; with several recorders they are given the true clocks.',
    formatPeers(run.groups),
  ];
  if (simulated.some((g) => g.ablation)) {
    parts.push('What each kind of evidence contributes: F1 with the forests blind to it (features held at their median, probabilities calibrated anew on the other scenes, forests not retrained, which would win some of it back). Stretches of sound are still cut by comparing levels.', formatAblation(simulated));
  }
  return parts.join('\n\n');
}

/** The tables in a sentence: over the scenes of each kind, our range and that of all plain ways. */
function summariseRun(groups) {
  const kinds = [
    ['simulated voices', groups.filter((g) => g.seeds.length && !isVoiced(g))], ['recorded voices in simulated rooms', groups.filter(isVoiced)], ['the labelled scenes T1 to T4, which were used while developing', groups.filter((g) => !g.seeds.length)],
  ].filter(([, some]) => some.length);
  const range = (some, methods) => {
    const values = some.flatMap((g) => methods.map((m) => g.methods[m].rightBirdF1.value)), show = (value) => showShare({ value, low: null }, 2);
    return Math.min(...values) === Math.max(...values) ? show(values[0]) : `${show(Math.min(...values))} to ${show(Math.max(...values))}`;
  };
  return `**In short**: right time and right bird with F1 ${kinds.map(([name, some]) => `${range(some, [OURS])} (${name}, plain ways ${range(some, PEERS)})`).join('; ')}.`;
}

const isVoiced = (g) => VOICED.some((v) => v.name === g.name);

function showChance(groups) {
  const values = groups.map((g) => g.methods.volary.calibrationErrorByChance?.median).filter((v) => v !== undefined && v !== null);
  const show = (value) => showShare({ value, low: null });
  return values.length ? `${show(Math.min(...values))} to ${show(Math.max(...values))}` : 'an unknown amount';
}

if (process.argv[1] && import.meta.url === pathToFileURL(process.argv[1]).href) {
  const [runPath, readme] = process.argv.slice(2);
  if (!runPath) { process.stderr.write('usage: write-readme.mjs RUN.json [README.md]\n'); process.exitCode = 2; }
  else writeReadme(JSON.parse(readFileSync(runPath, 'utf8')), readme);
}
