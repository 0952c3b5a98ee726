/** The library in Node: `import { ... } from 'volary'`. */
export * from '../api/public.js';
export { attributeStudyFile } from './attribute-study-file.js';
export type { AttributeStudyOptions } from './attribute-study-file.js';
export { attributeToFolder } from './attribute-to-folder.js';
export type { AttributeOutcome, AttributeToFolderOptions } from './attribute-to-folder.js';
export { attributeTracks } from './attribute-tracks.js';
export { clipsToFolder } from './clips-to-folder.js';
export type { ClipsOutcome, ClipsToFolderOptions } from './clips-to-folder.js';
export { draftFolder } from './draft-folder.js';
export type { FolderDraft } from './draft-folder.js';
export { loadStudy, openAudioFile } from './study-files.js';
export type { StudyOnDisk } from './study-files.js';
