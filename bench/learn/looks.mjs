// What each look needs of a scene, and which rows its forest is fitted to. A scene is opened for each look and only what later looks need of it is
// kept: evidence of thousands of scenes would not fit into memory.
import { readFileSync } from 'node:fs';
import { cutPiece } from './cut-piece.mjs';
import { unpackEvidence } from './evidence-file.mjs';
import { judgeLostRows, judgeOwnRows, judgeUntaggedRows, labelLeftovers, labelLost, labelOwn, lookAgainAtLeftovers, takeFirstLook, takeSecondLook } from './label-scene.mjs';

/** Rows from here on take part in calibration: a little below what is written. */
export const LEAST_LOG_ODDS = -1.5;
/** Of sounds left over that are no calls, before any look at them: one of these, which counts as so many. */
const SOME = 4;
/** What is had anew whenever a scene is opened. */
const EVIDENCE = ['truth', 'candidates', 'gains', 'x1', 'y', 'w'];

/** By forest: the look that its rows need, by the models before it, and where rows `x` and labels `y` stand then. */
const LOOKS = {
  first: { look: () => {}, x: 'x1', y: 'y' },
  second: { look: (s, m) => takeFirstLook(s, m.first), x: 'x2', y: 'y' },
  own: { look: (s, m) => { takeSecondLook(s, m.second); s.x2 = undefined; }, x: 'x3', y: 'y' },
  untagged: { look: (s, m) => labelLeftovers(s, m.own), x: 'ux', y: 'uy' },
  untaggedAgain: { look: (s, m) => { lookAgainAtLeftovers(s, m.untagged); s.ux = s.x3 = undefined; }, x: 'vx', y: 'uy' },
  lost: { look: (s, m) => labelLost(s, m.untaggedAgain), x: 'lx', y: 'ly' },
};
const JUDGES = { own: judgeOwnRows, untaggedAgain: judgeUntaggedRows, lost: judgeLostRows };

/** A scene as it is kept: { seed, file, isPiece }. @returns { seed, birds, truth, candidates, gains } */
export function openScene({ file, isPiece }) {
  const scene = unpackEvidence(readFileSync(file));
  return isPiece ? cutPiece(scene) : scene;
}

/** Looks at scenes one after the other and keeps what later looks need. */
export class Looker {
  #kept = new Map();

  /** @param models those of the scene's fold @returns rows that forest `name` is fitted to: { rows (single precision, one after the other), labels, weights } */
  look(scene, name, models) {
    const { look, x, y } = LOOKS[name];
    return this.#open(scene, (s) => {
      look(s, models);
      return chooseRows(s, x, y);
    });
  }

  /** @returns rows that would be written, { z, right } each, as `name` calibrates on them */
  judge(scene, name, models) {
    return this.#open(scene, (s) => JUDGES[name](s, models[name], LEAST_LOG_ODDS));
  }

  #open(scene, work) {
    const key = `${scene.file} ${scene.isPiece}`, s = this.#kept.get(key) ?? {};
    this.#kept.set(key, s);
    Object.assign(s, openScene(scene));
    labelOwn(s);
    const answer = work(s);
    for (const name of EVIDENCE) delete s[name];
    return answer;
  }
}

/** Rows that a look asks about, with their labels and weights. Shared sound is never the wearer's own: it takes part in the last questions only. */
function chooseRows(s, x, y) {
  const shareOf = (n) => (!s[y][n] && x === 'ux' ? SOME : 1);
  const chosen = [...s[x].keys()].filter((n) => s[x][n] !== undefined && !(y === 'y' && s.candidates[n].shared) && (n + s.seed) % shareOf(n) === 0);
  const width = chosen.length > 0 ? s[x][chosen[0]].length : 0, rows = new Float32Array(chosen.length * width);
  chosen.forEach((n, k) => rows.set(s[x][n], k * width));
  return { rows, labels: Uint8Array.from(chosen, (n) => s[y][n]), weights: Float32Array.from(chosen, (n) => (s[y][n] ? 1 : shareOf(n) * (y === 'y' ? s.w[n] : 1))) };
}
