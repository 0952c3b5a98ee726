// Three plain ways to say who called, as peers of the attribution: loudest track, earliest arrival, and a majority. All share one
// detection: band-passed envelopes over the noise floor of their own track, cut by a threshold with hysteresis, and stretches of all tracks
// that begin together taken for one sound. Tracks of a second recorder are read at the true clock offset, which a user would not have.
// The thresholds were chosen on learning seeds (2000-2011: see choose-peer-settings.mjs), not on the judged ones.
import { designButterworth } from '../../dist/kernels/filter-design.js';

export const PEERS = ['loudest track', 'earliest arrival', 'majority'];

/** openDb, closeDb: over the floor; joinSec: shorter gaps are closed; togetherSec: onsets of one sound on several tracks. */
export const PEER_SETTINGS = { openDb: 24, closeDb: 14, joinSec: 0.008, togetherSec: 0.05, smoothSec: 0.008, leastSec: 0.04, mostSec: 1.5 };

const HOP_SEC = 0.001;
const FLOOR_QUANTILE = 0.25;
/** How much of a sound is correlated, and over which lags (2 m of air). */
const CORRELATED_SEC = 0.03;
const MOST_LAG_SEC = 0.006;
const LEAST_CORRELATION = 0.3;

/** Tracks of a scene made ready once: band-passed samples, envelopes in dB over the floor. */
export function prepareTracks(scene) {
  const { sampleRateHz: rate, signals } = scene;
  const sos = designButterworth({ kind: 'bandpass', order: 2, lowHz: 400, highHz: Math.min(0.45 * rate, 11000) }, rate);
  const hop = Math.round(HOP_SEC * rate);
  return { rate, hop, tracks: signals.map((x, track) => {
    const samples = filter(x, sos);
    return { samples, power: hopPowers(samples, hop), offsetAt: makeOffsetReader(scene, track) };
  }) };
}

/** Calls { bird, onsetSec, offsetSec, probability } of every peer, in the order of PEERS. */
export function attributeByPeers(scene, prepared = prepareTracks(scene), settings = PEER_SETTINGS) {
  const stretches = prepared.tracks.flatMap((t, track) => findStretches(t, track, prepared, settings));
  const sounds = groupStretches(stretches, settings.togetherSec);
  const out = PEERS.map(() => []);
  for (const sound of sounds) {
    const loudest = pickLargest(sound, (s) => s.levelDb);
    const atOnset = pickLargest(sound, (s) => s.onsetLevelDb);
    const earliest = pickEarliest(sound, loudest, prepared);
    // Three votes: loudest as a whole, loudest at its onset, earliest; where all differ, the first stands.
    const majority = atOnset === earliest ? earliest : loudest;
    [loudest, earliest, majority].forEach((s, k) => out[k].push({ bird: scene.birds[s.track], onsetSec: s.onsetSec, offsetSec: s.offsetSec, probability: 1 }));
  }
  return out.map((calls) => calls.sort((a, b) => a.onsetSec - b.onsetSec));
}

function filter(x, sos) {
  const y = Float32Array.from(x);
  for (let k = 0; k < sos.length; k += 5) {
    const [b0, b1, b2, a1, a2] = sos.subarray(k, k + 5);
    let z1 = 0; let z2 = 0;
    for (let n = 0; n < y.length; n++) {
      const v = y[n];
      const w = b0 * v + z1;
      z1 = b1 * v - a1 * w + z2;
      z2 = b2 * v - a2 * w;
      y[n] = w;
    }
  }
  return y;
}

function hopPowers(y, hop) {
  const p = new Float64Array(Math.floor(y.length / hop));
  for (let h = 0; h < p.length; h++) { let s = 0; for (let n = h * hop; n < (h + 1) * hop; n++) s += y[n] * y[n]; p[h] = s / hop; }
  return p;
}

/** Running mean of the powers, in dB over a low quantile of itself: every track's noise becomes 0 dB. */
function normaliseNoise(power, width) {
  const mean = new Float64Array(power.length);
  let sum = 0;
  for (let h = 0; h < power.length; h++) {
    sum += power[h] - (h >= width ? power[h - width] : 0);
    mean[Math.max(0, h - (width >> 1))] = Math.max(0, sum) / width;
  }
  const floor = Float64Array.from(mean).sort()[Math.floor(FLOOR_QUANTILE * mean.length)] + 1e-16;
  return mean.map((v) => 10 * Math.log10(v / floor + 1e-6));
}

function findStretches(t, track, { rate, hop }, settings) {
  const db = normaliseNoise(t.power, Math.max(1, Math.round((settings.smoothSec * rate) / hop)));
  const runs = [];
  for (let h = 0; h < db.length; h++) {
    if (db[h] < settings.openDb) continue;
    let from = h; let to = h + 1;
    while (from > 0 && db[from - 1] >= settings.closeDb) from--;
    while (to < db.length && db[to] >= settings.closeDb) to++;
    const last = runs[runs.length - 1];
    if (last && (from - last.to) * hop < settings.joinSec * rate) last.to = to;
    else runs.push({ from, to });
    h = to;
  }
  return runs.filter((r) => { const sec = ((r.to - r.from) * hop) / rate; return sec >= settings.leastSec && sec <= settings.mostSec; }).map((r) => {
    const fileSec = (r.from * hop) / rate;
    // The offset is a function of reference time; one step back is enough, clocks being off by parts per million.
    const shift = t.offsetAt(fileSec - t.offsetAt(fileSec));
    return { track, onsetSec: fileSec - shift, offsetSec: (r.to * hop) / rate - shift, levelDb: meanDb(db, r.from, r.to), onsetLevelDb: meanDb(db, r.from, Math.min(r.to, r.from + 20)) };
  });
}

function meanDb(db, from, to) {
  let s = 0;
  for (let h = from; h < to; h++) s += 10 ** (db[h] / 10);
  return 10 * Math.log10(s / (to - from));
}

/** Stretches whose onsets lie within `togetherSec` of the first of them are one sound; a second stretch of a track opens another. */
function groupStretches(stretches, togetherSec) {
  const sounds = [];
  for (const s of stretches.sort((a, b) => a.onsetSec - b.onsetSec || a.track - b.track)) {
    let home = null;
    for (let k = sounds.length - 1; k >= 0 && s.onsetSec - sounds[k][0].onsetSec <= togetherSec; k--) if (!sounds[k].some((o) => o.track === s.track)) { home = sounds[k]; break; }
    if (home) home.push(s); else sounds.push([s]);
  }
  return sounds;
}

function pickLargest(sound, measure) {
  return sound.reduce((best, s) => (measure(s) > measure(best) ? s : best));
}

/** The track that the sound reaches first: lags by cross-correlation with the loudest track over the sound's beginning. */
function pickEarliest(sound, loudest, { rate, tracks }) {
  const startSec = Math.min(...sound.map((s) => s.onsetSec));
  const length = Math.round(CORRELATED_SEC * rate);
  const reach = Math.round(MOST_LAG_SEC * rate);
  const place = (s) => { const t = tracks[s.track]; return Math.round((startSec + t.offsetAt(startSec)) * rate); };
  const reference = tracks[loudest.track].samples.subarray(Math.max(0, place(loudest)), Math.max(0, place(loudest)) + length);
  let first = loudest; let earliest = 0;
  for (const s of sound) {
    if (s === loudest) continue;
    const { lag, height } = correlate(reference, tracks[s.track].samples, place(s), reach);
    if (height >= LEAST_CORRELATION && lag < earliest) { earliest = lag; first = s; }
  }
  return first;
}

/** Lag (positive: later than the reference) of the largest normalised correlation. */
function correlate(reference, y, start, reach) {
  let energy = 0;
  for (const v of reference) energy += v * v;
  let best = { lag: 0, height: 0 };
  for (let lag = -reach; lag <= reach; lag++) {
    const at = start + lag;
    if (at < 0 || at + reference.length > y.length) continue;
    let dot = 0; let e = 0;
    for (let n = 0; n < reference.length; n++) { const v = y[at + n]; dot += reference[n] * v; e += v * v; }
    const height = Math.abs(dot) / Math.sqrt(energy * e + 1e-30);
    if (height > best.height) best = { lag, height };
  }
  return best;
}

/** True offset (file minus reference, seconds) of a track's recorder at a reference time; 0 for the reference recorder. */
function makeOffsetReader(scene, track) {
  const rows = scene.clock.filter((r) => r.recorder === scene.recorders[track]);
  if (rows.length === 0) return () => 0;
  return (tSec) => {
    let low = 0; let high = rows.length - 1;
    while (low < high) { const mid = (low + high + 1) >> 1; if (rows[mid].tRefSec <= tSec) low = mid; else high = mid - 1; }
    const a = rows[low]; const b = rows[Math.min(rows.length - 1, low + 1)];
    const span = b.tRefSec - a.tRefSec;
    return span > 0 ? a.offsetSec + ((b.offsetSec - a.offsetSec) * Math.min(1, Math.max(0, (tSec - a.tRefSec) / span))) : a.offsetSec;
  };
}
