// A second scene from a first: one to three birds lose their tags (their calls become calls of birds without a tag, some in body contact with a
// wearer), and links of others go down for a while (flat receiver noise). Costs no simulation.

/** @returns { birds, recorders, signals, truth } ; `scene` is left as it is */
export function varyScene({ birds, recorders, signals, truth, clock, sampleRateHz, seed }) {
  const random = lehmer(seed * 7919 + 1);
  const gone = new Set();
  const wanted = birds.length >= 7 ? 1 + Math.floor(random() * 3) : birds.length >= 4 ? 1 : 0;
  while (gone.size < wanted) gone.add(1 + Math.floor(random() * (birds.length - 1)));
  let keep = birds.map((_, j) => j).filter((j) => !gone.has(j));
  // Every recorder keeps a track.
  if (new Set(keep.map((j) => recorders[j])).size < new Set(recorders).size) keep = birds.map((_, j) => j);
  const names = keep.map((j) => birds[j]);
  const out = {
    birds: names, recorders: keep.map((j) => recorders[j]), signals: keep.map((j) => signals[j].slice()),
    truth: truth.map((t) => ({ ...t, bird: names.includes(t.bird) ? t.bird : 'none' })),
  };
  for (let w = Math.floor(random() * 4); w > 0; w--) loseLink(out, Math.floor(random() * names.length), clock, sampleRateHz, random);
  return out;
}

function loseLink(scene, track, clock, sampleRateHz, random) {
  const x = scene.signals[track];
  const length = 2 + 8 * random();
  const start = random() * (x.length / sampleRateHz - length);
  let sum = 0;
  for (let i = 0; i < 4000; i++) sum += x[Math.floor((i * x.length) / 4000)] ** 2;
  const peak = Math.min(0.5, Math.sqrt(sum / 4000) * 10 ** ((25 + 15 * random()) / 20)) * 1.7;
  for (let i = Math.floor(start * sampleRateHz); i < Math.floor((start + length) * sampleRateHz); i++) x[i] = peak * (2 * random() - 1);
  const offset = clock.find((c) => c.recorder === scene.recorders[track])?.offsetSec ?? 0;
  for (const t of scene.truth) {
    const both = Math.min(t.offsetSec, start - offset + length) - Math.max(t.onsetSec, start - offset);
    if (t.bird === scene.birds[track] && both > 0.5 * (t.offsetSec - t.onsetSec)) t.lost = true;
  }
}

/** Park and Miller's minimal standard generator: the same draws everywhere. */
function lehmer(seed) {
  let s = seed % 2147483647;
  return () => { s = (16807 * s) % 2147483647; return s / 2147483647; };
}
