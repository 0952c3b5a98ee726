// Times several ways to do the same work in turn (A B C A B C ...), so that a busy quarter of an hour falls on all of them alike.

const SLICE_SEC = 0.06;

/**
 * A contender is { name, run(reps) -> seconds, or a promise of them, isWhole? }; a whole one (a command) is run once per round.
 * Returns per contender { name, medianSec, leastSec } of one repetition.
 */
export async function takeTurns(contenders, rounds) {
  const reps = [];
  for (const c of contenders) reps.push(c.isWhole ? 1 : await chooseReps(c));
  const times = contenders.map(() => []);
  for (let round = 0; round < rounds; round++) {
    for (let i = 0; i < contenders.length; i++) times[i].push((await contenders[i].run(reps[i])) / reps[i]);
  }
  return contenders.map(({ name }, i) => ({ name, medianSec: median(times[i]), leastSec: Math.min(...times[i]) }));
}

export function median(values) {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted.length % 2 ? sorted[(sorted.length - 1) / 2] : (sorted[sorted.length / 2 - 1] + sorted[sorted.length / 2]) / 2;
}

/** Makes a contender of a function of this process. */
export function timed(name, work) {
  return {
    name,
    run: (reps) => {
      const start = performance.now();
      for (let i = 0; i < reps; i++) work();
      return (performance.now() - start) / 1000;
    },
  };
}

/** Repetitions that fill a slice; the search also warms the contender up. */
async function chooseReps(contender) {
  for (let reps = 1; ; reps *= 2) {
    const seconds = await contender.run(reps);
    if (seconds >= SLICE_SEC / 2) return Math.max(1, Math.round((reps * SLICE_SEC) / seconds));
  }
}
