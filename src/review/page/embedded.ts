/** What the build puts into the page, so that it also works from a folder without any server. */
declare const EMBEDDED_VIEW_WORKER: string;
declare const EMBEDDED_CELL_WORKER: string;
declare const EMBEDDED_KERNELS: string;

export const viewWorkerSource: string = EMBEDDED_VIEW_WORKER;
export const cellWorkerSource: string = EMBEDDED_CELL_WORKER;

/** The bytes of kernels.wasm. */
export function decodeKernels(): Uint8Array<ArrayBuffer> {
  return Uint8Array.from(atob(EMBEDDED_KERNELS), (c) => c.charCodeAt(0));
}
