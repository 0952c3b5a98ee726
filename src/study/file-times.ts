import type { AudioInfo } from '../audio/types.js';

/** A moment as a name or a header tells it. */
export interface FileTime {
  /** Milliseconds since 1970, read as UTC where no zone is given. */
  timeMs: number;
  /** How finely the moment is told: 1 for whole seconds, 60 for whole minutes, less for fractions. */
  stepSec: number;
  /** True where the text names its zone. */
  hasZone: boolean;
}

export interface NamedTime extends FileTime {
  /** The name without the time, '' where the name is nothing but a time. */
  stem: string;
}

const DATE = String.raw`(?<year>(?:19|20)\d{2})(?<d>[-_.]?)(?<month>\d{2})\k<d>(?<day>\d{2})`;
const SHORT_DATE = String.raw`(?<year>\d{2})(?<month>\d{2})(?<day>\d{2})`;
const TIME = String.raw`(?<hour>\d{2})(?<t>[-_.:h]?)(?<minute>\d{2})(?:\k<t>(?<second>\d{2})(?<fraction>[.,]\d{1,6})?)?s?`;
const ZONE = String.raw`(?<zone>Z|[+-]\d{2}:?\d{2})?`;
const BREAK = String.raw`(?:[-_. ]*T|[-_. ]+)`;
const PATTERNS = [
  new RegExp(`(?<!\\d)${DATE}${BREAK}${TIME}${ZONE}(?!\\d)`),
  new RegExp(String.raw`(?<!\d)(?<year>(?:19|20)\d{2})(?<month>\d{2})(?<day>\d{2})(?<hour>\d{2})(?<minute>\d{2})(?<second>\d{2})(?!\d)`),
  new RegExp(`(?<!\\d)${SHORT_DATE}[-_T]${TIME}${ZONE}(?!\\d)`),
];
const FOLDER_DATE = new RegExp(`^${DATE}$`);
const TIME_ALONE = new RegExp(`(?<!\\d)${TIME}(?!\\d)`);

/**
 * Finds the time of a recording in the name of its file (without extension): 20240501_060000, 2024-05-01_06-00-00, 20240501T060000Z,
 * 240501_060000 and the like; the fields must be a real date and time.
 * @param folder name of the folder, used where it is a date and the name holds only a time of day
 */
export function parseNamedTime(name: string, folder = ''): NamedTime | undefined {
  for (const pattern of PATTERNS) {
    const found = readTime(pattern.exec(name), name);
    if (found) return found;
  }
  const date = FOLDER_DATE.exec(folder)?.groups;
  const time = TIME_ALONE.exec(name);
  // A bare '0600' may be anything; six digits beside a date in the folder's name are a time.
  if (!date || !time?.groups?.second) return undefined;
  time.groups = { ...time.groups, year: date.year, month: date.month, day: date.day };
  return readTime(time, name);
}

/** True where a folder is named by a date alone: it holds a day, not a recorder. */
export function isDateName(folder: string): boolean {
  const g = FOLDER_DATE.exec(folder)?.groups;
  return g !== undefined && toTimeMs(Number(g.year), Number(g.month), Number(g.day), 0, 0, 0) !== undefined;
}

/**
 * The time in a broadcast header: its date and its samples since midnight; the time of day in words where they disagree by more
 * than a second, for some recorders never fill in the samples.
 */
export function readBroadcastTime(info: AudioInfo): FileTime | undefined {
  const b = info.broadcastTime;
  const date = /^(\d{4})[-_: .](\d{2})[-_: .](\d{2})$/.exec(b?.originationDate ?? '');
  if (!b || !date) return undefined;
  const midnight = toTimeMs(Number(date[1]), Number(date[2]), Number(date[3]), 0, 0, 0);
  const clock = /^(\d{2})[-_: .](\d{2})[-_: .](\d{2})$/.exec(b.originationTime);
  if (midnight === undefined) return undefined;
  const countedSec = b.timeReference / info.sampleRateHz;
  const spokenSec = clock ? Number(clock[1]) * 3600 + Number(clock[2]) * 60 + Number(clock[3]) : undefined;
  if (spokenSec !== undefined && Math.abs(spokenSec - countedSec) > 1) return { timeMs: midnight + spokenSec * 1000, stepSec: 1, hasZone: false };
  if (spokenSec === undefined && b.timeReference === 0) return undefined;
  return { timeMs: midnight + countedSec * 1000, stepSec: Number.isInteger(countedSec) ? 1 : 1 / info.sampleRateHz, hasZone: false };
}

function readTime(match: RegExpExecArray | null, name: string): NamedTime | undefined {
  const g = match?.groups;
  if (!match || !g) return undefined;
  const year = Number(g.year) + (g.year.length === 2 ? 2000 : 0);
  const fraction = g.fraction ? Number(`0.${g.fraction.slice(1)}`) : 0;
  const timeMs = toTimeMs(year, Number(g.month), Number(g.day), Number(g.hour), Number(g.minute), Number(g.second ?? 0) + fraction);
  if (timeMs === undefined) return undefined;
  const shiftMin = g.zone && g.zone !== 'Z' ? (Number(g.zone.slice(1, 3)) * 60 + Number(g.zone.slice(-2))) * (g.zone[0] === '-' ? -1 : 1) : 0;
  const before = name.slice(0, match.index).replace(/[-_. ]+$/, '');
  const after = name.slice(match.index + match[0].length).replace(/^[-_. ]+/, '');
  // What counts up after the time numbers the files of a series, not the birds.
  const rest = /^\d{3,}$/.test(after) ? '' : after;
  const stepSec = g.fraction ? 10 ** -(g.fraction.length - 1) : g.second ? 1 : 60;
  return { timeMs: timeMs - shiftMin * 60000, stepSec, hasZone: Boolean(g.zone), stem: [before, rest].filter((s) => s !== '').join('_') };
}

function toTimeMs(year: number, month: number, day: number, hour: number, minute: number, second: number): number | undefined {
  if (month < 1 || month > 12 || day < 1 || hour > 23 || minute > 59 || second >= 60) return undefined;
  const midnight = Date.UTC(year, month - 1, day);
  if (new Date(midnight).getUTCDate() !== day) return undefined;
  return midnight + hour * 3600000 + minute * 60000 + second * 1000;
}
