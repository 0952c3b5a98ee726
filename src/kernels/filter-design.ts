/**
 * Butterworth filters as second-order sections, by bilinear transform with the edges pre-warped: -3.0103 dB at every edge.
 * Source: Oppenheim & Schafer, Discrete-Time Signal Processing, 7.1; values checked against scipy.signal.butter.
 */
import { VolaryError } from '../schema/errors.js';

export type FilterShape =
  | { kind: 'lowpass'; order: number; edgeHz: number }
  | { kind: 'highpass'; order: number; edgeHz: number }
  | { kind: 'bandpass'; order: number; lowHz: number; highHz: number };

interface Complex {
  re: number;
  im: number;
}

const add = (a: Complex, b: Complex): Complex => ({ re: a.re + b.re, im: a.im + b.im });
const scale = (a: Complex, f: number): Complex => ({ re: a.re * f, im: a.im * f });
const multiply = (a: Complex, b: Complex): Complex => ({ re: a.re * b.re - a.im * b.im, im: a.re * b.im + a.im * b.re });
function divide(a: Complex, b: Complex): Complex {
  const d = b.re * b.re + b.im * b.im;
  return { re: (a.re * b.re + a.im * b.im) / d, im: (a.im * b.re - a.re * b.im) / d };
}
function squareRoot(a: Complex): Complex {
  const size = Math.hypot(a.re, a.im);
  const re = Math.sqrt(Math.max(0, (size + a.re) / 2));
  const im = Math.sqrt(Math.max(0, (size - a.re) / 2));
  return { re, im: a.im < 0 ? -im : im };
}

/**
 * Sections as rows b0, b1, b2, a1, a2 (a0 = 1), the least resonant first, each of gain 1 at the reference frequency (0, half the rate, or
 * the band's centre). A bandpass of order n has n sections. Throws `bad-option` for edges that are not between 0 and half the rate.
 * @example designButterworth({ kind: 'highpass', order: 2, edgeHz: 1000 }, 22050) // [0.8174, -1.6347, 0.8174, -1.6011, 0.6684]
 */
export function designButterworth(shape: FilterShape, sampleRateHz: number): Float64Array {
  checkShape(shape, sampleRateHz);
  const warp = (freqHz: number): number => Math.tan((Math.PI * freqHz) / sampleRateHz);
  const edges = shape.kind === 'bandpass' ? [warp(shape.lowHz), warp(shape.highHz)] : [warp(shape.edgeHz)];
  const sections: number[][] = [];
  for (const pair of placePoles(shape, edges)) sections.push(makeSection(shape.kind, pair));
  const reference = referencePoint(shape.kind, edges);
  for (const s of sections) {
    const { re, im } = responseOf(s, reference);
    const gain = Math.hypot(re, im);
    for (let i = 0; i < 3; i++) s[i] /= gain;
  }
  sections.sort((a, b) => Math.abs(a[4]) - Math.abs(b[4]));
  return Float64Array.from(sections.flat());
}

/** Response of sections at a frequency: gain in dB (-Infinity at a zero) and phase in radians. */
export function computeResponse(sos: ArrayLike<number>, freqHz: number, sampleRateHz: number): { gainDb: number; phaseRad: number } {
  const turn = (2 * Math.PI * freqHz) / sampleRateHz;
  const z = { re: Math.cos(turn), im: Math.sin(turn) };
  let h: Complex = { re: 1, im: 0 };
  for (let i = 0; i < sos.length; i += 5) h = multiply(h, responseOf([sos[i], sos[i + 1], sos[i + 2], sos[i + 3], sos[i + 4]], z));
  return { gainDb: 20 * Math.log10(Math.hypot(h.re, h.im)), phaseRad: Math.atan2(h.im, h.re) };
}

function checkShape(shape: FilterShape, sampleRateHz: number): void {
  const edges = shape.kind === 'bandpass' ? [shape.lowHz, shape.highHz] : [shape.edgeHz];
  const isRising = edges.length < 2 || edges[0] < edges[1];
  if (!edges.every((f) => f > 0 && f < sampleRateHz / 2) || !isRising) {
    throw new VolaryError('bad-option', {
      what: 'filter edges do not fit the sample rate', got: `${edges.join(' to ')} Hz at ${sampleRateHz} Hz`, expected: `rising, between 0 and ${sampleRateHz / 2} Hz`,
    });
  }
  if (!(Number.isInteger(shape.order) && shape.order >= 1 && shape.order <= 16)) {
    throw new VolaryError('bad-option', { what: 'wrong filter order', got: String(shape.order), expected: 'a whole number from 1 to 16' });
  }
}

/** Poles in the z plane, as pairs that make real sections; a lone real pole has null as partner. */
function placePoles(shape: FilterShape, edges: number[]): [Complex, Complex | null][] {
  const pairs: [Complex, Complex | null][] = [];
  const toZ = (s: Complex): Complex => divide({ re: 1 + s.re, im: s.im }, { re: 1 - s.re, im: -s.im });
  const conjugate = (z: Complex): Complex => ({ re: z.re, im: -z.im });
  for (let k = 0; k < Math.ceil(shape.order / 2); k++) {
    const isReal = 2 * k + 1 === shape.order;
    const angle = (Math.PI * (2 * k + 1)) / (2 * shape.order);
    // The prototype's poles in the upper left quarter; the last of an odd order is -1.
    const p = isReal ? { re: -1, im: 0 } : { re: -Math.sin(angle), im: Math.cos(angle) };
    if (shape.kind !== 'bandpass') {
      const z = toZ(shape.kind === 'lowpass' ? scale(p, edges[0]) : divide({ re: edges[0], im: 0 }, p));
      pairs.push([z, isReal ? null : conjugate(z)]);
      continue;
    }
    // s -> (s^2 + low high) / (s (high - low)) splits a pole in two.
    const half = scale(p, (edges[1] - edges[0]) / 2);
    const root = squareRoot(add(multiply(half, half), { re: -edges[0] * edges[1], im: 0 }));
    const first = toZ(add(half, root));
    const second = toZ(add(half, scale(root, -1)));
    if (isReal) pairs.push([first, second]);
    else pairs.push([first, conjugate(first)], [second, conjugate(second)]);
  }
  return pairs;
}

function makeSection(kind: FilterShape['kind'], [p, q]: [Complex, Complex | null]): number[] {
  const sign = kind === 'lowpass' ? 1 : -1;
  if (q === null) return [1, sign, 0, -p.re, 0];
  const a1 = -(p.re + q.re);
  const a2 = p.re * q.re - p.im * q.im;
  return kind === 'bandpass' ? [1, 0, -1, a1, a2] : [1, 2 * sign, 1, a1, a2];
}

function referencePoint(kind: FilterShape['kind'], edges: number[]): Complex {
  if (kind === 'lowpass') return { re: 1, im: 0 };
  if (kind === 'highpass') return { re: -1, im: 0 };
  const centre = Math.sqrt(edges[0] * edges[1]);
  return divide({ re: 1, im: centre }, { re: 1, im: -centre });
}

/** (b0 z^2 + b1 z + b2) / (z^2 + a1 z + a2), first-order sections included. */
function responseOf([b0, b1, b2, a1, a2]: number[], z: Complex): Complex {
  const z2 = multiply(z, z);
  const top = add(add(scale(z2, b0), scale(z, b1)), { re: b2, im: 0 });
  const bottom = add(add(z2, scale(z, a1)), { re: a2, im: 0 });
  return divide(top, bottom);
}
