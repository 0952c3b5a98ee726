/** Host side of the kernels: memory, a bump allocator, typed views and the exported functions as plain pointer calls. */
import { VolaryError } from '../schema/errors.js';
import type { KernelExports } from './kernel-exports.js';

/** The contract between host and kernels that this host was written for. */
const ABI_VERSION = 8;
const PAGE_BYTES = 65536;
const MAX_PAGES = 65536;

/**
 * One instance of the kernels with a memory of its own. The memory never grows, so views stay valid for the instance's life; `release`
 * gives their bytes to the next `alloc`.
 */
export interface Kernels {
  /** Exported functions; pointers are byte addresses, see each kernel's head for shapes. */
  readonly fn: KernelExports;
  readonly memory: WebAssembly.Memory;
  /** Bytes that `alloc` can still give, before alignment. */
  freeBytes(): number;
  /** Takes `bytes` from the memory, at a multiple of `align` (a power of two), uninitialised. Throws `internal` when the plan was too small. */
  alloc(bytes: number, align?: number): number;
  /** Takes `count` f32, 16-aligned. */
  allocF32(count: number): number;
  /** Remembers how much is taken; `release(mark)` gives back all that was taken since. */
  mark(): number;
  release(mark: number): void;
  f32(ptr: number, count: number): Float32Array;
  f64(ptr: number, count: number): Float64Array;
  i32(ptr: number, count: number): Int32Array;
  u32(ptr: number, count: number): Uint32Array;
  i16(ptr: number, count: number): Int16Array;
  u8(ptr: number, count: number): Uint8Array;
  /** Where a view of this memory begins; undefined for an array elsewhere. */
  find(view: ArrayBufferView): number | undefined;
}

/** Compiles the bytes of kernels.wasm once; the module can be sent to workers. */
export async function compileKernels(bytes: BufferSource): Promise<WebAssembly.Module> {
  try {
    return await WebAssembly.compile(bytes);
  } catch (cause) {
    throw new VolaryError('internal', { what: 'the kernels are not a WebAssembly module this engine can run', expected: 'WebAssembly with 128-bit SIMD' }, { cause });
  }
}

/**
 * Instantiates the kernels over a new memory of at least `bytes` usable bytes (initial = maximum: it never grows).
 * @example const k = createKernels(module, 64 << 20); const p = k.allocF32(1024); k.fn.hannWindow(p, 1024, 0, 1);
 */
export function createKernels(wasm: WebAssembly.Module, bytes: number): Kernels {
  const pages = Math.ceil(bytes / PAGE_BYTES) + 1;
  if (!Number.isFinite(bytes) || bytes < 0 || pages > MAX_PAGES) {
    throw new VolaryError('internal', { what: 'kernel memory cannot be had', got: `${bytes} bytes`, expected: `0 to ${(MAX_PAGES - 1) * PAGE_BYTES}` });
  }
  const memory = new WebAssembly.Memory({ initial: pages, maximum: pages });
  const abort = (): never => {
    throw new VolaryError('internal', { what: 'a kernel stopped' });
  };
  const instance = new WebAssembly.Instance(wasm, { env: { memory, abort } });
  const fn = instance.exports as unknown as KernelExports;
  const version = fn.abiVersion();
  if (version !== ABI_VERSION) {
    throw new VolaryError('stale', { what: 'the kernels do not fit this host', got: `version ${version}`, expected: `version ${ABI_VERSION}`, mend: 'build again' });
  }
  return wrapMemory(fn, memory);
}

function wrapMemory(fn: KernelExports, memory: WebAssembly.Memory): Kernels {
  const { buffer } = memory;
  const endByte = buffer.byteLength;
  const firstByte = Math.ceil(fn.heapStart() / 64) * 64;
  let top = firstByte;
  const alloc = (bytes: number, align = 16): number => {
    const ptr = Math.ceil(top / align) * align;
    if (!(bytes >= 0) || ptr + bytes > endByte) {
      throw new VolaryError('internal', { what: 'kernel memory is used up', got: `${bytes} bytes wanted, ${endByte - ptr} left` });
    }
    top = ptr + bytes;
    return ptr;
  };
  return {
    fn,
    memory,
    alloc,
    allocF32: (count) => alloc(count * 4),
    freeBytes: () => endByte - top,
    mark: () => top,
    release: (mark) => {
      if (!(mark >= firstByte && mark <= top)) throw new VolaryError('internal', { what: 'a wrong mark was released', got: String(mark) });
      top = mark;
    },
    f32: (ptr, count) => new Float32Array(buffer, ptr, count),
    f64: (ptr, count) => new Float64Array(buffer, ptr, count),
    i32: (ptr, count) => new Int32Array(buffer, ptr, count),
    u32: (ptr, count) => new Uint32Array(buffer, ptr, count),
    i16: (ptr, count) => new Int16Array(buffer, ptr, count),
    u8: (ptr, count) => new Uint8Array(buffer, ptr, count),
    find: (view) => (view.buffer === buffer ? view.byteOffset : undefined),
  };
}
