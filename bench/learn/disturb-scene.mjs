// What lies over the recordings of many rooms and links: steady sound in a part of the band (fans, whistles, mains, slopes), gains that wander, samples cut
// off at a level, clicks of the link, drops and seeds that fall on a tag. Drawn by the seed, for a share of the scenes that are learned from; how common any of it is, is not known.
import { Random, hashLabel } from '../../dist/simulate/random.js';

const STEADY_SHARE = 0.5, SECOND_SHARE = 0.25, WANDER_SHARE = 0.1, CLIP_SHARE = 0.1, DROP_SHARE = 0.15, CLICK_SHARE = 0.15;
/** Of steady sounds: heard by some tracks only; comes and goes. */
const SOME_TRACKS_SHARE = 0.25, CHANGING_SHARE = 0.2;
/** Above the quiet level of the tracks, dB: what the noise filter can take out, and what lies on the calls. */
const BESIDE_DB = [-5, 30], OVER_DB = [-8, 14];
/** Where most calls lie. */
const CALL_HZ = [1000, 8000];
const FRAME_SEC = 0.05;
/** Drops and clicks: how many a second on a track, how loud at their peak above the quiet level, how fast drops fade. */
const DROPS_PER_SEC = [0.05, 3], CLICKS_PER_SEC = [0.2, 30], PEAK_DB = [10, 50], DROP_HZ = [800, 9000], FADE_SEC = [0.0004, 0.006];

/** @param scene { signals, sampleRateHz, seed } of samples per track @param label keeps draws of scenes with the same seed apart @returns signals of its own; those of `scene` are left as they are */
export function disturbScene({ signals, sampleRateHz, seed }, label) {
  const random = new Random(hashLabel(seed, `disturbance ${label}`));
  const out = signals.map((x) => Float32Array.from(x));
  const isWandering = random.chance(WANDER_SHARE), isClipped = random.chance(CLIP_SHARE);
  if (isWandering) for (const x of out) wander(x, sampleRateHz, random);
  const quiet = middle(out.map((x) => measureQuiet(x, sampleRateHz)));
  if (random.chance(STEADY_SHARE)) addSteady(out, sampleRateHz, quiet, random);
  if (random.chance(STEADY_SHARE * SECOND_SHARE)) addSteady(out, sampleRateHz, quiet, random);
  for (const [share, draw, perSec] of [[DROP_SHARE, addDrop, DROPS_PER_SEC], [CLICK_SHARE, addClick, CLICKS_PER_SEC]]) {
    if (random.chance(share)) addEvents(out, sampleRateHz, quiet, random, draw, random.logRange(...perSec));
  }
  if (isClipped) for (const x of out) clip(x, random.range(3, 20));
  return out;
}

function addSteady(signals, rate, quiet, random) {
  const { levelDb, render } = KINDS[random.pick(['band', 'band', 'band', 'tone', 'tone', 'mains', 'slope'])](random, rate);
  const isChanging = random.chance(CHANGING_SHARE), period = Math.round(random.logRange(8, 40) * rate), on = random.range(0.3, 0.7) * period, phase = Math.floor(random.next() * period);
  const share = random.chance(SOME_TRACKS_SHARE) ? 0.4 : 1;
  for (const x of signals) {
    const level = quiet * 10 ** ((levelDb + random.range(-4, 4)) / 20);
    if (!random.chance(share)) continue;
    const y = new Float32Array(x.length);
    render(y, random);
    let power = 0;
    for (let i = 0; i < y.length; i++) power += y[i] * y[i];
    const scale = level / Math.sqrt(power / y.length);
    for (let i = 0; i < y.length; i++) if (!isChanging || (i + phase) % period < on) x[i] += scale * y[i];
  }
}

/** Kinds of steady sound: how loud beside the quiet level, and what writes it, each track with noise or phases of its own. */
const KINDS = {
  band(random, rate) {
    const centre = random.logRange(150, Math.min(9000, 0.35 * rate)), half = 2 ** (random.range(0.1, 1.2) / 2), low = centre / half, high = centre * half;
    const isOver = high > CALL_HZ[0] && low < CALL_HZ[1];
    return {
      levelDb: random.range(...(isOver ? OVER_DB : BESIDE_DB)),
      render(y, r) {
        writeWhite(y, r);
        for (const [edgeHz, isLow] of [[low, false], [high, true], [low, false], [high, true]]) filterSection(y, edgeHz, isLow, rate);
      },
    };
  },
  tone(random, rate) {
    const freqHz = random.logRange(200, 0.4 * rate), harmonics = random.chance(0.4) ? 1 + Math.floor(random.next() * 4) : 1;
    return { levelDb: random.range(...BESIDE_DB), render: (y, r) => addTones(y, r, freqHz * (1 + 0.002 * r.range(-1, 1)), harmonics, rate) };
  },
  mains(random, rate) {
    const freqHz = random.pick([50, 60]);
    return { levelDb: random.range(0, 40), render: (y, r) => addTones(y, r, freqHz, 20, rate) };
  },
  slope(random) {
    const keep = random.chance(0.7) ? 0.998 : -0.9;
    return {
      levelDb: random.range(...(keep > 0 ? BESIDE_DB : OVER_DB)),
      render(y, r) {
        writeWhite(y, r);
        for (let i = 1; i < y.length; i++) y[i] += keep * y[i - 1];
      },
    };
  },
};

/** Tones of falling height, each by rotation of a phasor. */
function addTones(y, random, freqHz, count, rate) {
  for (let h = 1; h <= count && freqHz * h < 0.45 * rate; h++) {
    const step = (2 * Math.PI * freqHz * h) / rate, c = Math.cos(step), s = Math.sin(step), phase = random.range(0, 2 * Math.PI);
    let re = Math.cos(phase) / h, im = Math.sin(phase) / h;
    for (let i = 0; i < y.length; i++) {
      y[i] += im;
      const next = c * re - s * im;
      im = s * re + c * im;
      re = next;
    }
  }
}

/** Even noise by a shift register (Marsaglia 2003, Journal of Statistical Software 8 (14)). */
function writeWhite(y, random) {
  let s = random.uint32() | 1;
  for (let i = 0; i < y.length; i++) {
    s ^= s << 13;
    s ^= s >>> 17;
    s ^= s << 5;
    y[i] = s / 2147483648;
  }
}

/** Butterworth section of second order by the bilinear transform (Oppenheim & Schafer 7.1), in place. */
function filterSection(y, edgeHz, isLow, rate) {
  const k = Math.tan((Math.PI * Math.min(edgeHz, 0.45 * rate)) / rate), norm = 1 / (1 + Math.SQRT2 * k + k * k), b = isLow ? k * k * norm : norm, twice = isLow ? 2 : -2;
  const a1 = 2 * (k * k - 1) * norm, a2 = (1 - Math.SQRT2 * k + k * k) * norm;
  let x1 = 0, x2 = 0, y1 = 0, y2 = 0;
  for (let i = 0; i < y.length; i++) {
    const x = y[i], out = b * (x + twice * x1 + x2) - a1 * y1 - a2 * y2;
    x2 = x1;
    x1 = x;
    y2 = y1;
    y1 = out;
    y[i] = out;
  }
}

/** Events at random moments of most tracks, each track with its own. */
function addEvents(signals, rate, quiet, random, draw, perSec) {
  for (const x of signals) {
    if (!random.chance(0.7)) continue;
    const count = (x.length / rate) * perSec * random.logRange(0.3, 3);
    for (let n = 0; n < count; n++) draw(x, Math.floor(random.next() * x.length), quiet * 10 ** (random.range(...PEAK_DB) / 20), rate, random);
  }
}

function addDrop(x, from, peak, rate, random) {
  const step = (2 * Math.PI * random.logRange(DROP_HZ[0], Math.min(DROP_HZ[1], 0.4 * rate))) / rate, keep = Math.exp(-1 / (random.logRange(...FADE_SEC) * rate));
  let height = peak;
  for (let i = from; i < x.length && height > 0.001 * peak; i++) {
    x[i] += height * Math.sin(step * (i - from));
    height *= keep;
  }
}

function addClick(x, from, peak, rate, random) {
  const length = 1 + Math.floor(random.next() * 4), sign = random.chance(0.5) ? 1 : -1;
  for (let i = 0; i < length && from + i < x.length; i++) x[from + i] += sign * peak * Math.sin((Math.PI * (i + 1)) / (length + 1));
}

/** Gains that wander by a few dB within a minute: signal lost by and by, or a bird that turns. */
function wander(x, rate, random) {
  const depthDb = random.range(1, 6), periodSec = random.logRange(20, 120), phase = random.range(0, 2 * Math.PI);
  for (let i = 0; i < x.length; i++) x[i] *= 10 ** ((depthDb * Math.sin((2 * Math.PI * i) / (periodSec * rate) + phase)) / 20);
}

function clip(x, belowPeakDb) {
  let peak = 0;
  for (const v of x) peak = Math.max(peak, Math.abs(v));
  const most = peak * 10 ** (-belowPeakDb / 20);
  for (let i = 0; i < x.length; i++) x[i] = Math.max(-most, Math.min(most, x[i]));
}

/** Root mean square of the quiet tenth of frames. */
function measureQuiet(x, rate) {
  const length = Math.round(FRAME_SEC * rate), rms = [];
  for (let from = 0; from + length <= x.length; from += length) {
    let sum = 0;
    for (let i = from; i < from + length; i++) sum += x[i] * x[i];
    if (sum > 0) rms.push(Math.sqrt(sum / length));
  }
  rms.sort((a, b) => a - b);
  return rms.length > 0 ? rms[Math.floor(rms.length / 10)] : 1e-4;
}

const middle = (values) => [...values].sort((a, b) => a - b)[values.length >> 1];
