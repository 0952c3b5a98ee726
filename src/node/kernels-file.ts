/** Finds and compiles dist/kernels.wasm, whether this module runs from dist/ or from the sources. */
import { existsSync, readFileSync } from 'node:fs';
import { compileKernels } from '../kernels/kernels.js';
import { VolaryError } from '../schema/errors.js';

/** Where the built kernels are. Throws `missing` when they were not built. */
export function findKernelsFile(): URL {
  const places = [new URL('../kernels.wasm', import.meta.url), new URL('../../dist/kernels.wasm', import.meta.url)];
  const found = places.find((url) => existsSync(url));
  if (!found) throw new VolaryError('missing', { what: 'kernels.wasm was not built', mend: 'run npm run build' });
  return found;
}

/** The bytes of the built kernels, for compiling or for a fingerprint. */
export function readKernelsFile(): Uint8Array<ArrayBuffer> {
  return new Uint8Array(readFileSync(findKernelsFile()));
}

let compiled: Promise<WebAssembly.Module> | undefined;

/** Compiles the built kernels, once per process. */
export function loadKernelsFile(): Promise<WebAssembly.Module> {
  compiled ??= compileKernels(readKernelsFile());
  return compiled;
}
