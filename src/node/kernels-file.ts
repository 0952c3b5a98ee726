/** Finds and compiles dist/kernels.wasm or kernels-relaxed.wasm, whether this module runs from dist/ or from the sources. */
import { existsSync, readFileSync } from 'node:fs';
import { compileKernels } from '../kernels/kernels.js';
import { VolaryError } from '../schema/errors.js';

/**
 * Which build of the kernels: `plain` gives the same bytes on every machine; `relaxed` fuses multiplications with additions where the processor can,
 * so that results of two kinds of machines may differ in the last digits.
 */
export type KernelKind = 'plain' | 'relaxed';

/** A function that multiplies and adds with a relaxed vector instruction: an engine without them refuses it. */
const RELAXED_PROBE = Uint8Array.of(
  0, 97, 115, 109, 1, 0, 0, 0, 1, 8, 1, 96, 3, 123, 123, 123, 1, 123, 3, 2, 1, 0, 10, 13, 1, 11, 0, 32, 0, 32, 1, 32, 2, 253, 133, 2, 11,
);

/** Where the built kernels are. Throws `missing` when they were not built. */
export function findKernelsFile(kind: KernelKind = 'plain'): URL {
  const name = kind === 'plain' ? 'kernels.wasm' : `kernels-${kind}.wasm`;
  const places = [new URL(`../${name}`, import.meta.url), new URL(`../../dist/${name}`, import.meta.url)];
  const found = places.find((url) => existsSync(url));
  if (!found) throw new VolaryError('missing', { what: `${name} was not built`, mend: 'run npm run build' });
  return found;
}

/** The bytes of the built kernels, for compiling or for a fingerprint. */
export function readKernelsFile(kind: KernelKind = 'plain'): Uint8Array<ArrayBuffer> {
  return new Uint8Array(readFileSync(findKernelsFile(kind)));
}

/** Whether this engine knows relaxed vector instructions. */
export function canRunRelaxed(): boolean {
  return WebAssembly.validate(RELAXED_PROBE);
}

/** Throws `bad-option` where this engine cannot run the kernels. */
export function requireKernels(kind: KernelKind): void {
  if (kind === 'plain' || canRunRelaxed()) return;
  throw new VolaryError('bad-option', {
    where: '--kernels relaxed', what: 'this Node does not know the relaxed vector instructions of WebAssembly', got: process.version, expected: 'Node 21 or later',
    mend: 'leave the option out, or start node with --experimental-wasm-relaxed-simd',
  });
}

const compiled: { [kind in KernelKind]?: Promise<WebAssembly.Module> } = {};

/** Compiles the built kernels, once per process. Throws `bad-option` where this engine cannot run them. */
export function loadKernelsFile(kind: KernelKind = 'plain'): Promise<WebAssembly.Module> {
  requireKernels(kind);
  compiled[kind] ??= compileKernels(readKernelsFile(kind));
  return compiled[kind];
}
