/** The report: pure functions from tables to one HTML text, and what measures its pictures from sound. */
export { buildReport } from './build-report.js';
export type { ReportAnalyses, ReportDecision, ReportHabituation, ReportNetwork, ReportRates } from './analysis-input.js';
export { chooseExcerpts } from './choose-excerpts.js';
export type { ExcerptChoice } from './choose-excerpts.js';
export { drawStandaloneExcerpt } from './draw-standalone.js';
export { measureEvidence } from './measure-evidence.js';
export type { EvidenceOptions } from './measure-evidence.js';
export { renderExcerpts } from './render-excerpts.js';
export type { RenderOptions } from './render-excerpts.js';
export type { EvidencePoint, Excerpt, ExcerptPicture, ReportInput, ReportStudy, RefitRecord, RunRecord, TrackPicture } from './report-input.js';
