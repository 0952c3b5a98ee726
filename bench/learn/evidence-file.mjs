// Evidence of one scene as JSON text; numbers survive exactly.
const ARRAYS = ['levelDb', 'floorDb', 'lagSec', 'agreement', 'agreementZ', 'zeroLag', 'tiltDb', 'lostShare', 'bands', 'voice'];

export function packEvidence(scene) {
  return JSON.stringify(scene, (_, v) => (ArrayBuffer.isView(v) ? Array.from(v) : v));
}

export function unpackEvidence(text) {
  const scene = JSON.parse(text);
  for (const c of scene.candidates) for (const k of ARRAYS) c[k] = Float64Array.from(c[k]);
  scene.gains.gainDb = Float64Array.from(scene.gains.gainDb);
  scene.gains.leadCurveDb = Float64Array.from(scene.gains.leadCurveDb);
  return scene;
}
