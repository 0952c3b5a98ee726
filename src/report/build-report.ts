import { escapeHtml } from './text.js';
import { buildPage } from './page.js';
import type { Section } from './page.js';
import type { ReportInput } from './report-input.js';
import { writeAccuracy } from './section-accuracy.js';
import { writeCalls } from './section-calls.js';
import { writeClocks } from './section-clocks.js';
import { writeExcluded } from './section-excluded.js';
import { writeHabituation } from './section-habituation.js';
import { writeNetwork } from './section-network.js';
import { writeRates } from './section-rates.js';
import { writeEvidence } from './section-evidence.js';
import { writeExcerpts } from './section-excerpts.js';
import { writeLinks } from './section-links.js';
import { writeMethods, writeSettings } from './section-methods.js';
import { writeCautions, writeReading } from './section-notes.js';
import { writeProbability } from './section-probability.js';
import { writeHeader } from './section-summary.js';

/**
 * The report of a study as one HTML file that needs no network: pictures as SVG and data: URIs, no script. The same input gives the same text.
 * @example const html = buildReport({ study, run, calls, sounds, clock, hours, excerpts: [], evidence: [], version: '0.1.0' })
 */
export function buildReport(input: ReportInput): string {
  const sections: (Section | undefined)[] = [
    writeExcerpts(input), writeCalls(input), writeLinks(input), writeEvidence(input), writeProbability(input), writeAccuracy(input), writeClocks(input),
    writeExcluded(input), writeHabituation(input), writeRates(input), writeNetwork(input), writeMethods(input), writeCautions(), writeReading(), writeSettings(input),
  ];
  return buildPage(
    `${input.study.name}: who called when`, writeHeader(input), sections.filter((s): s is Section => s !== undefined),
    `<p>Made by Volary ${escapeHtml(input.version)} from the tables of this study. Times in seconds since the study's start on the clock of the first recorder.</p>`,
  );
}
