/** The library in a page: `import { ... } from 'volary'`. */
export * from '../api/public.js';
export { attributeFiles, attributeTracks } from './attribute-files.js';
export type { AttributeFilesOptions, AttributeFilesResult, BrowserOptions } from './attribute-files.js';
export { createBlobSource } from './blob-source.js';
export { loadKernels } from './load-kernels.js';
export type { KernelSource } from './load-kernels.js';
export { draftFiles, openAudioBlob } from './open-files.js';
export type { BirdFile, DraftFilesOptions, FilesDraft } from './open-files.js';
