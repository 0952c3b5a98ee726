import { compileKernels } from '../kernels/kernels.js';
import { VolaryError } from '../schema/errors.js';

/** Where the kernels come from: nothing (kernels.wasm beside the package), an address, their bytes, or the compiled module. */
export type KernelSource = URL | string | BufferSource | WebAssembly.Module;

let own: Promise<WebAssembly.Module> | undefined;

/**
 * Loads and compiles the kernels. Those of the package are loaded once and found relative to this module, so that bundlers that know
 * `new URL(..., import.meta.url)` take them along; the page's policy must allow WebAssembly ('wasm-unsafe-eval').
 * @throws VolaryError 'missing' where they cannot be loaded, 'internal' where they are no kernels
 */
export async function loadKernels(source?: KernelSource): Promise<WebAssembly.Module> {
  if (source instanceof WebAssembly.Module) return source;
  if (source instanceof URL || typeof source === 'string') return compileKernels(await fetchBytes(String(source)));
  if (source !== undefined) return compileKernels(source);
  own ??= fetchBytes(new URL('../kernels.wasm', import.meta.url).href).then(compileKernels);
  // A failure is not kept: the network may come back.
  own.catch(() => { own = undefined; });
  return own;
}

async function fetchBytes(address: string): Promise<ArrayBuffer> {
  const refuse = (got: string, cause?: unknown): VolaryError => new VolaryError('missing', {
    where: address, what: 'the kernels cannot be loaded', got, mend: 'serve kernels.wasm there, or pass its address or bytes as `kernels`',
  }, { cause });
  let response: Response;
  try {
    response = await fetch(address);
  } catch (error) {
    throw refuse(error instanceof Error ? error.message : String(error), error);
  }
  if (!response.ok) throw refuse(`status ${response.status}`);
  return response.arrayBuffer();
}
