// Evidence of one scene as bytes: a head of JSON text, padded to eight bytes, then the candidates as rows of numbers, which survive exactly. A cache of the machine that wrote it.
import { packCandidates, unpackCandidates } from '../../dist/evidence/candidate-rows.js';

/** @param scene { seed, preset, birds, truth, candidates, gains } @returns Uint8Array */
export function packEvidence({ candidates, ...head }) {
  const text = JSON.stringify(head, (_, v) => (ArrayBuffer.isView(v) ? Array.from(v) : v));
  const bytes = new TextEncoder().encode(text.padEnd(text.length + 8)), length = bytes.length - (bytes.length % 8);
  const rows = new Uint8Array(packCandidates(candidates, head.birds.length).buffer), out = new Uint8Array(8 + length + rows.length);
  new DataView(out.buffer).setUint32(0, length, true);
  out.set(bytes.subarray(0, length), 8);
  out.set(rows, 8 + length);
  return out;
}

/** @param bytes as `packEvidence` made them */
export function unpackEvidence(bytes) {
  const length = new DataView(bytes.buffer, bytes.byteOffset).getUint32(0, true);
  const scene = JSON.parse(new TextDecoder().decode(bytes.subarray(8, 8 + length)));
  scene.candidates = unpackCandidates(new Float64Array(Uint8Array.from(bytes.subarray(8 + length)).buffer), scene.birds.length);
  scene.gains.gainDb = Float64Array.from(scene.gains.gainDb);
  scene.gains.leadCurveDb = Float64Array.from(scene.gains.leadCurveDb);
  return scene;
}
