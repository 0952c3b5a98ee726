import { beforeAll, describe, expect, it } from 'vitest';
import type { Candidate } from '../../src/evidence/candidate.js';
import { VOICE_BINS } from '../../src/evidence/voice-pattern.js';
import { PatternProducts } from '../../src/kernels/pattern-products.js';
import { compareVoices, compareWithBird, readVoices } from '../../src/model/voices.js';
import { SHIPPED_MODELS } from '../../src/model/shipped-models.js';
import { loadKernelsFile } from '../../src/node/kernels-file.js';
import { decideByKernels } from '../../src/pipeline/decision-kernels.js';
import { Random } from '../../src/simulate/random.js';
import { makeCandidate } from '../model/make-candidate.js';
import { referenceProducts } from '../reference/pattern-products.js';
import { openKernels } from './support.js';

let module: WebAssembly.Module;
beforeAll(async () => { module = await loadKernelsFile(); });

const random = new Random(31);
const drawPatterns = (count: number): Int8Array => Int8Array.from({ length: count * VOICE_BINS }, () => random.whole(-127, 127));

describe('inner products of patterns', () => {
  it('are those of the plain loops, for any number of others', () => {
    const places = new PatternProducts(module, 80, 67), patterns = drawPatterns(80);
    places.patterns.set(patterns);
    for (let count = 0; count <= 67; count++) {
      const others = Array.from({ length: count }, () => random.whole(0, 79)), n = random.whole(0, 79);
      places.others.set(others);
      expect(Array.from(places.multiply(n, count).subarray(0, count))).toEqual(referenceProducts(patterns, VOICE_BINS, n, others));
    }
  });

  it('are exact at full scale and 0 of silence', () => {
    const places = new PatternProducts(module, 4, 4), patterns = new Int8Array(4 * VOICE_BINS);
    patterns.fill(-128, 0, VOICE_BINS).fill(127, VOICE_BINS, 2 * VOICE_BINS).fill(-1, 2 * VOICE_BINS, 3 * VOICE_BINS);
    places.patterns.set(patterns);
    places.others.set([0, 1, 2, 3]);
    for (let n = 0; n < 4; n++) expect([...places.multiply(n, 4)]).toEqual(referenceProducts(patterns, VOICE_BINS, n, [0, 1, 2, 3]));
  });

  it('write nothing beside what is theirs', async () => {
    const k = await openKernels(1 << 16), patterns = k.alloc(3 * VOICE_BINS), others = k.alloc(12), out = k.alloc(4 * 7, 4), around = k.i32(out, 7).fill(-12345);
    k.u8(patterns, 3 * VOICE_BINS).fill(1);
    k.i32(others, 3).set([0, 1, 2]);
    k.fn.patternProducts(patterns, 1, others, 3, out + 8);
    expect([...around]).toEqual([-12345, -12345, 96, 96, 96, -12345, -12345]);
  });
});

describe('voices compared by kernels', () => {
  const sing = (): Float64Array => Float64Array.from({ length: 16 }, () => Array.from({ length: 6 }, (_, i) => random.whole(1, 255) * 256 ** i).reduce((a, b) => a + b));
  const silent = Float64Array.from({ length: 16 }, () => Array.from({ length: 6 }, (_, i) => 128 * 256 ** i).reduce((a, b) => a + b));
  const candidates: Candidate[] = Array.from({ length: 300 }, (_, n) => makeCandidate(3, { track: n % 3, onsetSec: n * 0.7, offsetSec: n * 0.7 + (n % 5 === 0 ? 1 : 0.2), voice: n % 11 === 0 ? silent : sing() }));
  const templates = [0, 1, 2].map((track) => candidates.flatMap((c, n) => (c.track === track ? [{ candidate: n, tSec: c.onsetSec, lagMs: new Float64Array(3), leadDb: new Float64Array(3) }] : [])));

  it('are as alike as by the plain loops, to the bit, also where more come than before', () => {
    const { placeVoices } = decideByKernels(SHIPPED_MODELS, module);
    for (const count of [5, 300, 40]) {
      const some = candidates.slice(0, count), plain = readVoices(some), placed = readVoices(some, placeVoices), lists = templates.map((list) => list.filter((t) => t.candidate < count));
      for (let n = 0; n < count; n++) {
        expect(compareVoices(placed, n, (7 * n) % count)).toBe(compareVoices(plain, n, (7 * n) % count));
        for (const list of lists) expect(compareWithBird(placed, some, n, list)).toBe(compareWithBird(plain, some, n, list));
      }
    }
  });
});
