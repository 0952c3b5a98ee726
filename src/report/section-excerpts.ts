import { drawExcerpt, writeExcerptLegend } from './draw-excerpt.js';
import { figure, paragraph } from './page.js';
import type { Section } from './page.js';
import type { ReportInput } from './report-input.js';
import { joinNames, showCount, showNumber } from './text.js';

/** Spectrograms of all tracks with the calls over them. */
export function writeExcerpts(input: ReportInput): Section {
  const { excerpts, calls, sounds, labels } = input;
  if (!excerpts.length) {
    const why = input.withoutSound ?? 'No excerpt was chosen.';
    return { id: 'excerpts', title: 'What was heard', body: paragraph(`${why} This report therefore shows no spectrograms and no levels and lags; everything else comes from the tables.`, 'note') };
  }
  const hasLabels = Boolean(labels?.length);
  const intro = paragraph('The busiest stretches of the study. Every track is drawn with its wearer\'s name; all share one time axis and one grey scale, with the receivers\' gains taken out: '
    + 'equal grey is equal sound at the tags. The same call appears on many tracks as crosstalk; it is outlined only on the track of the bird that made it.');
  const drawn = excerpts.map((excerpt, i) => {
    const inside = calls.filter((c) => c.offsetSec > excerpt.startSec && c.onsetSec < excerpt.endSec);
    const birds = [...new Set(inside.filter((c) => c.bird !== 'none').map((c) => c.bird))];
    const caption = `${showNumber(excerpt.startSec, 1)} to ${showNumber(excerpt.endSec, 1)} s: ${showCount(inside.length, 'call')}`
      + `${birds.length ? ` by ${joinNames(birds)}` : ''}. Grey from ${showNumber(excerpt.whiteDb, 0)}\u00a0dB (white) to ${showNumber(excerpt.blackDb, 0)}\u00a0dB (black) relative to full scale, reversed on a dark page.`;
    return figure(drawExcerpt({ excerpt, calls, sounds, labels }), `Excerpt ${i + 1}.`, caption);
  });
  return { id: 'excerpts', title: 'What was heard', body: intro + writeExcerptLegend(hasLabels) + drawn.join('') };
}
