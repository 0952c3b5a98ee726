import { quoteName } from '../schema/errors.js';
import { formatFew, formatPercent } from './format-share.js';
import type { Hum } from './measure-hum.js';
import type { SteadySound } from './measure-steady.js';
import type { Problem, ProblemKind } from './timeline.js';
import type { TrackMeasures } from './track-meter.js';

/** From which on a finding is worth a line. Common practice, no source. */
export const CHECK_LIMITS = {
  deadShare: 0.95,
  silentShare: 0.001,
  dropoutShare: 0.0005,
  clippedPerMinute: 1,
  dcOffset: 0.01,
  humProminenceDb: 20,
  humBelowFloorDb: 10,
  quietPeakDb: -50,
  loudFloorDb: -25,
  beyondDb: 20,
} as const;

/** One line about samples that are no numbers, as files of floats may hold them. */
export function describeNonFinite(count: number): string {
  return `${count} ${count === 1 ? 'sample is no number and was' : 'samples are no numbers and were'} read as 0`;
}

/** What the measures of a track mean for its use: one line each. */
export function judgeTrack(bird: string, m: TrackMeasures, hum: Hum | undefined, steady: SteadySound | undefined, nonFiniteCount: number): Problem[] {
  const problems: Problem[] = [];
  const name = quoteName(bird);
  const add = (severity: Problem['severity'], kind: ProblemKind, text: string): void => { problems.push({ severity, kind, bird, text: `${name}: ${text}` }); };
  if (!(m.readSec > 0)) {
    if (m.lostSec > 0) add('error', 'lost', `nothing could be read of ${m.lostSec.toFixed(1)} s`);
    return problems;
  }
  const share = (sec: number): string => `${formatPercent(sec / m.readSec)} of what was read`;
  if (nonFiniteCount > 0) add('warning', 'not-finite', describeNonFinite(nonFiniteCount));
  if (m.silentSec >= CHECK_LIMITS.deadShare * m.readSec) {
    add('error', 'silence', `digital silence in ${share(m.silentSec)}: the track holds no sound`);
    return problems;
  }
  if (m.silentSec > CHECK_LIMITS.silentShare * m.readSec) add('warning', 'silence', `digital silence in ${share(m.silentSec)}, longest ${m.longestSilenceSec.toFixed(2)} s`);
  if (m.lostSec > 0) add('warning', 'lost', `${m.lostSec.toFixed(2)} s are damaged and were read as silence`);
  if (m.dropoutSec > CHECK_LIMITS.dropoutShare * m.readSec) add('warning', 'dropout', `the link was lost ${m.dropouts.length} times, ${m.dropoutSec.toFixed(1)} s in all (${share(m.dropoutSec)})`);
  const perMinute = (60 * m.clippedRuns) / m.readSec;
  if (perMinute >= CHECK_LIMITS.clippedPerMinute) add('warning', 'clipping', `clipped ${m.clippedRuns} times (${formatFew(perMinute)} a minute) at ${m.peakDb.toFixed(1)} dB`);
  if (m.peakDb > CHECK_LIMITS.beyondDb) add('warning', 'level', `samples reach ${m.peakDb.toFixed(0)} dB above full scale: floats should lie within -1 and 1`);
  if (Math.abs(m.dcOffset) > CHECK_LIMITS.dcOffset) add('warning', 'dc', `the mean of all samples is ${describeOffset(m.dcOffset)} of full scale and should be 0`);
  if (hum && hum.prominenceDb >= CHECK_LIMITS.humProminenceDb && hum.levelDb >= m.noiseFloorDb - CHECK_LIMITS.humBelowFloorDb) {
    // The floor holds the hum itself: where they are about equal, hum is the floor. Hum below the noise is out of the way of calls.
    add(hum.levelDb >= m.noiseFloorDb - 3 ? 'warning' : 'note', 'hum', `hum at ${hum.mainsHz} Hz or its multiples, ${hum.levelDb.toFixed(0)} dB, ${hum.prominenceDb.toFixed(0)} dB above its surroundings`);
  }
  if (steady) add('warning', 'steady', describeSteady(steady));
  if (m.peakDb < CHECK_LIMITS.quietPeakDb) add('warning', 'level', `very quiet: no sample above ${m.peakDb.toFixed(0)} dB`);
  if (m.noiseFloorDb > CHECK_LIMITS.loudFloorDb) add('warning', 'noise', `noise floor at ${m.noiseFloorDb.toFixed(0)} dB: hardly any call can stand out`);
  return problems;
}

function describeSteady({ fromHz, toHz, aboveDb, otherCount, noiseShare }: SteadySound): string {
  const others = otherCount > 0 ? ` and ${otherCount} other ${otherCount === 1 ? 'stretch' : 'stretches'}` : '';
  return `steady sound at ${Math.round(fromHz)} to ${Math.round(toHz)} Hz${others}, up to ${aboveDb.toFixed(0)} dB above the noise beside it, is ${formatPercent(noiseShare)} of the noise: calls there are harder to hear; find its source if you can`;
}

/** A mean beyond full scale is no offset of a recorder any more; how far beyond does not matter. */
function describeOffset(dcOffset: number): string {
  return Math.abs(dcOffset) > 1 ? 'more than 100 %' : `${(100 * dcOffset).toFixed(1)} %`;
}
