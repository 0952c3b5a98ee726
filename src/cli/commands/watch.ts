import { InvalidArgumentError, Option, type Command } from 'commander';
import type { LiveCoding } from '../../live/frame-ring.js';
import type { WarningRow } from '../../live/warnings.js';
import { VolaryError } from '../../schema/errors.js';
import type { CallRow } from '../../schema/rows.js';
import type { StudyManifest } from '../../study/manifest.js';
import { EXIT, runCommand, type CommandIo } from '../io.js';
import { addExamples, parseNumber, parseWhole } from '../options.js';
import { parseDateTime } from '../../numeric/date-time.js';

interface WatchFlags {
  birds?: string[]; input?: string; rate?: number; encoding?: string; out?: string; start?: string; warmUp: number; maxOffset: number; idle?: number; force?: boolean;
}

const CODINGS: Record<string, LiveCoding> = { pcm16: 's16', pcm24: 's24', pcm32: 's32', float32: 'f32' };

/** `volary watch`: calls and warnings while the recorder runs. */
export function addWatchCommand(program: Command): void {
  const command = program.command('watch')
    .description('print attributed calls within 2 s, and warnings, while a recording is being made: from standard input or from files that grow')
    .argument('[study]', "study manifest whose files are being written; '-' as a file's path is standard input")
    .option('--birds <names>', 'without a study: the bird of every channel, in order, divided by commas', parseNames)
    .option('--input <file>', "the one stream that holds all channels: a file that grows, or '-' for standard input (default with --birds)")
    .option('--rate <hz>', 'sample rate of raw samples', parseWhole(1, 10_000_000))
    .addOption(new Option('--encoding <name>', 'encoding of raw samples, interleaved and little-endian').choices(Object.keys(CODINGS)))
    .option('-o, --out <dir>', 'folder for the rows and the state: the same command again goes on there')
    .option('--start <time>', 'when the stream began, such as 2031-05-01T06:00:00Z', parseTime)
    .option('--warm-up <s>', 'sound that is learned from before the first call is printed, seconds', parseNumber(5, 3600), 60)
    .option('--max-offset <s>', 'with several recorders: largest offset between them, seconds', parseNumber(0.1, 600), 60)
    .option('--idle <s>', 'end when no file has grown for so long, seconds (default: only Ctrl-C ends)', parseNumber(0.1))
    .option('--force', 'start anew in a folder that is in use')
    .action((study: string | undefined, flags: WatchFlags) => runCommand('watch', (io) => watch(study, flags, io)));
  command.option('--json', 'print calls as JSON lines, with heard_s: the seconds of the stream that had been heard by then');
  addExamples(command, [
    'volary watch study.json --out live                                          files named by a study, while they are written',
    'recorder | volary watch --birds red,blue,grey --rate 48000 --encoding pcm16  raw samples from a pipe',
    'volary watch --birds red,blue,grey --input aviary.wav --out live',
  ]);
}

async function watch(study: string | undefined, flags: WatchFlags, io: CommandIo): Promise<number> {
  const { watchStream } = await import('../../node/live/watch-stream.js');
  const { callTable } = await import('../../table/table-specs.js');
  const { formatCsv, roundToColumn } = await import('../../table/csv-table.js');
  const { formatUtc } = await import('../../table/utc-time.js');
  const { manifest, folder } = await chooseManifest(study, flags);
  const startUtc = flags.start ?? manifest.start;
  const stop = new AbortController();
  io.endGently(() => stop.abort());
  // Nobody reads any more and nothing is kept: there is no reason to go on.
  process.stdout.on('error', () => { if (flags.out === undefined) stop.abort(); });
  const header = formatCsv(callTable, []).trimEnd();
  const printCall = (row: CallRow, heardSec: number): void => {
    if (!io.json) return io.out(formatCsv(callTable, [row]).slice(header.length + 1).trimEnd());
    const fields = callTable.columns.map((c) => [c.name, typeof row[c.key] === 'number' ? roundToColumn(c, Number(row[c.key])) : row[c.key]]);
    io.out(JSON.stringify({ ...Object.fromEntries(fields), heard_s: Number(heardSec.toFixed(6)) }));
  };
  const printWarning = (w: WarningRow): void => {
    const utc = formatUtc(startUtc, w.timeSec);
    io.note(`warning: ${w.timeSec.toFixed(1)} s${utc ? ` (${utc.slice(0, 19)}Z)` : ''}, ${w.track}: ${w.text}`);
  };
  const count = await watchStream({
    manifest, folder, raw: { sampleRateHz: flags.rate, coding: flags.encoding === undefined ? undefined : CODINGS[flags.encoding] },
    out: flags.out, overwrite: flags.force, warmUpSec: flags.warmUp, maxOffsetSec: flags.maxOffset, idleSec: flags.idle, startUtc: flags.start, stop: stop.signal,
    onStart: () => { if (!io.json) io.out(header); }, onCall: printCall, onWarning: printWarning, onNote: (text) => io.note(`volary watch: ${text}`),
  });
  io.note(`volary watch: ended; ${count} calls${flags.out === undefined ? '' : `, rows in ${flags.out}`}`);
  return EXIT.done;
}

/** The study named, or one made of the birds named; `--input` takes the place of its files. */
async function chooseManifest(study: string | undefined, flags: WatchFlags): Promise<{ manifest: StudyManifest; folder: string }> {
  if ((study === undefined) === (flags.birds === undefined)) {
    throw new VolaryError('bad-option', { what: 'which channel is which bird?', got: study === undefined ? 'neither a study nor --birds' : 'a study and --birds', expected: 'one of the two' });
  }
  if (study === undefined) {
    const { requireSense } = await import('../../study/manifest.js');
    const path = flags.input ?? '-';
    const tracks = flags.birds!.map((bird, k) => ({ bird, recorder: '1', files: [{ path, channel: k + 1 }] }));
    return { folder: '.', manifest: requireSense({ volary: 1, name: 'watch', recorders: [{ name: '1' }], tracks }, '--birds') };
  }
  const { readManifest } = await import('../../node/study-files.js');
  const { dirname } = await import('node:path');
  const manifest = await readManifest(study);
  if (flags.input === undefined) return { manifest, folder: dirname(study) };
  if (new Set(manifest.tracks.flatMap((t) => t.files.map((f) => f.path))).size > 1) {
    throw new VolaryError('bad-option', { where: '--input', what: 'one stream cannot take the place of several files', mend: 'name the files in the study' });
  }
  const path = flags.input;
  return { folder: '.', manifest: { ...manifest, tracks: manifest.tracks.map((t) => ({ ...t, files: t.files.map((f) => ({ ...f, path })) })) } };
}

function parseNames(text: string): string[] {
  const names = text.split(',').map((n) => n.trim());
  if (names.some((n) => n === '')) throw new InvalidArgumentError('expected names divided by commas');
  return names;
}

function parseTime(text: string): string {
  if (/^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?Z$/.test(text) && Number.isFinite(parseDateTime(text))) return text;
  throw new InvalidArgumentError('expected a time in UTC such as 2031-05-01T06:00:00Z');
}
