import { spawn } from 'node:child_process';
import { appendFileSync, closeSync, existsSync, openSync, readdirSync, readFileSync, rmSync, statSync, truncateSync, writeFileSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildWavFile, encodeFrames } from '../../src/audio/wav-writer.js';
import { drawRandomScene } from '../../src/simulate/random-scene.js';
import { simulateScene } from '../../src/simulate/simulate-scene.js';
import { MAIN, newFolder, runCli } from './run-cli.js';

const folder = newFolder();
afterAll(() => rmSync(folder, { recursive: true, force: true }));

let birds = '';
let rate = 0;
let raw: Uint8Array;
let wav: Uint8Array;
/** The table of an undisturbed run over the finished file. */
let wanted = '';
let frameBytes = 0;

beforeAll(() => {
  const scene = simulateScene({ ...drawRandomScene(6001, 'easy'), durationSec: 50 }, 6001);
  const signals = scene.tracks.map((t) => t.samples);
  birds = scene.tracks.map((t) => t.bird).join(',');
  rate = scene.sampleRateHz;
  frameBytes = 2 * signals.length;
  raw = encodeFrames(signals, 'pcm16');
  wav = buildWavFile({ sampleRateHz: rate, encoding: 'pcm16', labels: [{ startFrame: 10, endFrame: 110, text: 'a chunk behind the samples' }] }, signals);
  writeFileSync(join(folder, 'whole.wav'), wav);
  const run = runCli(['watch', '--birds', birds, '--input', 'whole.wav', '--warm-up', '15', '--out', 'whole', '--idle', '0.5'], { cwd: folder });
  expect(run.status).toBe(0);
  wanted = readFileSync(join(folder, 'whole/calls.csv'), 'utf8');
  expect(wanted.split('\n').length).toBeGreaterThan(12);
});

interface Run { status: number | null; out: string; err: string }

/** Starts `watch`; it is sent a signal once `when` says so of its output so far. */
function watch(args: string[], options: { input?: Uint8Array; signal?: NodeJS.Signals; when?: (out: string) => boolean; delayMs?: number } = {}): Promise<Run> {
  return new Promise((resolve) => {
    const child = spawn(process.execPath, [MAIN, 'watch', ...args], { cwd: folder, stdio: ['pipe', 'pipe', 'pipe'] });
    const run: Run = { status: null, out: '', err: '' };
    let isSent = false;
    child.stdout.on('data', (d: Buffer) => {
      run.out += String(d);
      if (isSent || !options.when?.(run.out)) return;
      isSent = true;
      setTimeout(() => child.kill(options.signal), options.delayMs ?? 0);
    });
    child.stderr.on('data', (d: Buffer) => { run.err += String(d); });
    child.stdin.on('error', () => undefined);
    if (options.input) child.stdin.end(options.input);
    child.on('close', (status) => resolve({ ...run, status }));
  });
}

const listRows = (text: string): string[] => text.split('\n').filter((l) => /^\d/.test(l));
/** Seconds of sound after which a further call of the wanted table has to be told, each beyond the last; the first when the warm-up has been over for a while. */
function listStops(fromSec: number): number[] {
  const stops = [fromSec];
  for (const [, , onset, offset] of listRows(wanted).map((row) => row.split(',').map(Number))) {
    if (onset > stops[stops.length - 1]) stops.push(offset + 2);
  }
  return stops;
}

const PIPE = (): string[] => ['--birds', birds, '--rate', String(rate), '--encoding', 'pcm16', '--warm-up', '15'];

describe('watch, from a pipe', () => {
  it('prints the rows of the call table, and as JSON lines when they were known', async () => {
    const run = await watch(PIPE(), { input: raw });
    expect(run.status).toBe(0);
    expect(listRows(run.out)).toEqual(listRows(wanted));
    expect(run.out.split('\n')[0]).toBe(wanted.split('\n')[0]);
    expect(run.err).toMatch(/warm-up over/);
    const json = await watch([...PIPE(), '--json'], { input: raw });
    const lines = json.out.trim().split('\n').map((l) => JSON.parse(l) as Record<string, number>);
    expect(lines.length).toBe(listRows(wanted).length);
    const late = lines.filter((l) => l.heard_s > 16).map((l) => l.heard_s - l.offset_s);
    expect(late.length).toBeGreaterThan(3);
    expect(Math.max(...late)).toBeLessThanOrEqual(2);
  });

  it('goes on with what it learned, says what it cannot know, and takes --start for where the stream lies', async () => {
    const cut = 30 * rate * frameBytes;
    const first = await watch([...PIPE(), '--out', 'pipe', '--start', '2031-05-01T06:00:00Z'], { input: raw.slice(0, cut) });
    expect(first.status).toBe(0);
    const before = listRows(readFileSync(join(folder, 'pipe/calls.csv'), 'utf8'));
    expect(before).toEqual(listRows(first.out));
    expect(before[0]).toContain('2031-05-01T06:00:');
    const early = await watch([...PIPE(), '--out', 'pipe', '--start', '2031-05-01T06:00:10Z'], { input: raw.slice(cut) });
    expect([early.status, early.err]).toEqual([2, expect.stringMatching(/--start: lies before the end of what was heard/)]);
    const second = await watch([...PIPE(), '--out', 'pipe', '--start', '2031-05-01T06:10:00Z'], { input: raw.slice(cut) });
    expect(second.status).toBe(0);
    expect(second.err).toMatch(/samples that arrived between (29|30)\.\d s and 600\.0 s are missing/);
    expect(second.err).not.toMatch(/learning from/);
    const rows = listRows(readFileSync(join(folder, 'pipe/calls.csv'), 'utf8'));
    expect(rows.slice(0, before.length)).toEqual(before);
    expect(rows.slice(before.length)).toEqual(listRows(second.out));
    expect(rows.length).toBeGreaterThan(before.length);
    expect(rows.map((r) => Number(r.split(',')[0]))).toEqual(rows.map((_, n) => n + 1));
    expect(Number(rows[before.length].split(',')[2])).toBeGreaterThan(600);
    const third = await watch([...PIPE(), '--out', 'pipe'], { input: raw.slice(cut) });
    expect(third.err).toMatch(/how many is not known/);
  });
});

/** What is kept of a pipe: the place after its last byte. */
function findKeptEnd(out: string): number {
  const names = existsSync(join(folder, out)) ? readdirSync(join(folder, out)).filter((n) => /^watch-sound-\d+\.raw$/.test(n)) : [];
  return Math.max(0, ...names.map((n) => Number(/\d+/.exec(n)![0]) + statSync(join(folder, out, n)).size));
}

/** Sends bytes and leaves the pipe open; killed as soon as all of them were read. */
function killOnceRead(args: string[], out: string, input: Uint8Array): Promise<Run> {
  return new Promise((resolve) => {
    const child = spawn(process.execPath, [MAIN, 'watch', ...args, '--out', out], { cwd: folder, stdio: ['pipe', 'pipe', 'pipe'] });
    const run: Run = { status: null, out: '', err: '' };
    child.stdout.on('data', (d: Buffer) => { run.out += String(d); });
    child.stderr.on('data', (d: Buffer) => { run.err += String(d); });
    child.stdin.on('error', () => undefined);
    child.stdin.write(input);
    const look = setInterval(() => { if (findKeptEnd(out) === input.length) child.kill('SIGKILL'); }, 5);
    child.on('close', (status) => { clearInterval(look); resolve({ ...run, status }); });
  });
}

describe('watch, from a pipe and killed', () => {
  // In the warm-up, soon after it, and later; in the middle of a frame.
  it.each([[9, 'soon'], [17, 'early'], [37, 'late']] as const)('after %i s, loses nothing that it had read', async (cutSec, name) => {
    const cut = Math.round(cutSec * rate) * frameBytes + 1;
    const closed = await watch([...PIPE(), '--out', `closed-${name}`], { input: raw.slice(0, cut) });
    expect(closed.status).toBe(0);
    const first = listRows(readFileSync(join(folder, `closed-${name}/calls.csv`), 'utf8'));
    expect(first.length).toBeGreaterThan(0);
    const killed = await killOnceRead(PIPE(), name, raw.slice(0, cut));
    expect(killed.status).toBe(null);
    const again = await watch([...PIPE(), '--out', name], { input: raw.slice(cut - 1) });
    expect(again.status).toBe(0);
    expect(again.err).toMatch(/working on the \d+\.\d s of sound that it had read and kept/);
    const rows = listRows(readFileSync(join(folder, name, 'calls.csv'), 'utf8'));
    expect(rows.slice(0, first.length)).toEqual(first);
    expect(rows.length).toBeGreaterThan(first.length);
    expect(rows.map((r) => Number(r.split(',')[0]))).toEqual(rows.map((_, n) => n + 1));
    // Each row once, on the screen too.
    const printed = [...listRows(killed.out), ...listRows(again.out)];
    expect(new Set(printed).size).toBe(printed.length);
    expect(rows).toEqual(expect.arrayContaining(printed));
    // Nothing is kept once all is done.
    expect(findKeptEnd(name)).toBe(0);
  });

  it('leaves no kept sound behind', async () => {
    const run = await watch([...PIPE(), '--out', 'kept'], { input: raw });
    expect(run.status).toBe(0);
    expect(readdirSync(join(folder, 'kept')).sort()).toEqual(['calls.csv', 'warnings.csv', 'watch-state.bin']);
  });
});

describe('watch, from a pipe of recorders that never hear the same', () => {
  const FS = 8000, SEC = 150;
  const ARGS = ['apart.json', '--rate', String(FS), '--encoding', 'pcm16', '--warm-up', '5', '--max-offset', '1', '--out', 'apart'];
  const measureKept = (): number => readdirSync(join(folder, 'apart')).filter((n) => n.startsWith('watch-sound-')).reduce((sum, n) => sum + statSync(join(folder, 'apart', n)).size, 0) / (4 * FS);

  it('keeps no more than what its next try looks at, warns once, and goes on there when killed', async () => {
    const track = (bird: string, channel: number) => ({ bird, recorder: bird, files: [{ path: '-', channel }] });
    writeFileSync(join(folder, 'apart.json'), JSON.stringify({ volary: 1, name: 'apart', recorders: [{ name: 'red' }, { name: 'blue' }], tracks: [track('red', 1), track('blue', 2)] }));
    const sound = new Int16Array(2 * FS * SEC);
    for (let n = 0, x = 1; n < sound.length; n++) { x = (Math.imul(x, 1664525) + 1013904223) >>> 0; sound[n] = (x >>> 16) / 65.536 - 500; }
    const bytes = new Uint8Array(sound.buffer);
    const child = spawn(process.execPath, [MAIN, 'watch', ...ARGS], { cwd: folder, stdio: ['pipe', 'ignore', 'pipe'] });
    let told = '';
    child.stderr.on('data', (d: Buffer) => { told += String(d); });
    child.stdin.on('error', () => undefined);
    child.stdin.write(bytes);
    // Of what arrives 20 s may wait, and a try looks at 5 s and the offset; what was kept together is given up together.
    const keptSec = await new Promise<number>((resolve) => {
      const look = setInterval(() => {
        if (findKeptEnd('apart') < bytes.length || measureKept() > 45) return;
        clearInterval(look);
        resolve(measureKept());
      }, 50);
    });
    child.kill('SIGKILL');
    await new Promise((resolve) => { child.on('close', resolve); });
    expect(keptSec).toBeLessThan(45);
    expect(told.match(/without clocks no call is given/g)).toHaveLength(1);
    const again = await watch(ARGS, { input: bytes.slice(0, 4 * FS) });
    expect(again.status).toBe(0);
    expect(Number(/working on the (\d+\.\d) s of sound/.exec(again.err)![1])).toBeLessThan(45);
    expect(again.err).not.toMatch(/internal error/);
    expect(findKeptEnd('apart')).toBe(0);
  }, 200_000);
});

describe('watch, from a file that grows', () => {
  it('killed while it works and started again, ends with the same table and repeats no line', async () => {
    const path = join(folder, 'grow.wav');
    // A recorder fills the sizes in when it ends.
    const head = wav.slice(0, 4096);
    const dataAt = Buffer.from(head).indexOf('data') + 4;
    new DataView(head.buffer).setUint32(dataAt, 0, true);
    writeFileSync(path, head.slice(0, 30));
    let at = 30;
    let end = 30;
    const grow = setInterval(() => {
      const source = at < 4096 ? head : wav;
      const to = Math.min(source.length, at + 65536, end);
      if (to > at) appendFileSync(path, source.subarray(at, to));
      at = Math.max(at, to);
      if (at >= wav.length) {
        clearInterval(grow);
        // The length, written in its place as a recorder does: a file written anew is short for a moment.
        const file = openSync(path, 'r+');
        writeSync(file, wav.subarray(dataAt, dataAt + 4), 0, 4, dataAt);
        closeSync(file);
      }
    }, 20);
    const args = ['--birds', birds, '--input', 'grow.wav', '--warm-up', '15', '--out', 'grown'];
    let out = '';
    let kills = 0;
    // The recorder stops each time two seconds after a call that begins later than all that was there before: there is a line to come in every run, however fast it is.
    for (const endSec of listStops(17.5)) {
      end = dataAt + 4 + Math.round(endSec * rate) * frameBytes;
      const seen = out;
      const run = await watch(args, { signal: 'SIGKILL', when: (text) => listRows(text).some((row) => !seen.includes(row)) });
      expect(run.status).toBe(null);
      kills++;
      out += run.out;
    }
    end = Infinity;
    const last = await watch([...args, '--idle', '3']);
    expect(last.status).toBe(0);
    out += last.out;
    expect(kills).toBeGreaterThanOrEqual(4);
    expect(at).toBe(wav.length);
    expect(readFileSync(join(folder, 'grown/calls.csv'), 'utf8')).toBe(wanted);
    // Lines that were in the table but not yet printed when the kill came are in the table alone.
    const printed = listRows(out);
    expect(new Set(printed).size).toBe(printed.length);
    expect(listRows(wanted)).toEqual(expect.arrayContaining(printed));
  });

  it('ends cleanly when interrupted in the middle of a call, and gives that call once', async () => {
    const path = join(folder, 'cut.raw');
    const calls = listRows(wanted).map((r) => r.split(','));
    const inside = calls[calls.length - 3];
    const cutSec = (Number(inside[2]) + Number(inside[3])) / 2;
    const cut = Math.round(cutSec * rate) * frameBytes + 1;
    writeFileSync(path, raw.subarray(0, cut));
    const args = ['--birds', birds, '--input', 'cut.raw', '--rate', String(rate), '--encoding', 'pcm16', '--warm-up', '15', '--out', 'cut'];
    // What ended 1.8 s before is printed; then there is a moment to read the rest.
    const ready = calls.filter((c) => Number(c[3]) < cutSec - 1.8).length;
    expect(ready).toBeGreaterThan(3);
    const first = await watch(args, { signal: 'SIGINT', delayMs: 500, when: (out) => listRows(out).length >= ready });
    expect(first.status).toBe(0);
    expect(first.err).toMatch(/ended; \d+ calls, rows in cut/);
    appendFileSync(path, raw.subarray(cut));
    const second = await watch([...args, '--idle', '0.5']);
    expect(second.err).toMatch(/going on at \d+\.\d s/);
    const keyOf = (r: string[]): string => `${r[1]} ${Number(r[2]).toFixed(2)} ${Number(r[3]).toFixed(2)}`;
    expect(listRows(readFileSync(join(folder, 'cut/calls.csv'), 'utf8')).map((r) => keyOf(r.split(',')))).toEqual(calls.map(keyOf));
  });
});

describe('watch, from a file that is not what it was', () => {
  it('does not go on with another recording of the same name', async () => {
    const path = join(folder, 'same.raw'), args = ['--birds', birds, '--input', 'same.raw', '--rate', String(rate), '--encoding', 'pcm16', '--warm-up', '15', '--out', 'same', '--idle', '0.5'];
    const cut = 25 * rate * frameBytes;
    writeFileSync(path, raw.subarray(0, cut));
    expect((await watch(args)).status).toBe(0);
    const before = readFileSync(join(folder, 'same/calls.csv'), 'utf8');
    const other = raw.slice();
    for (let i = 0; i < cut; i += 2) other[i] ^= 1;
    writeFileSync(path, other);
    const refused = await watch(args);
    expect([refused.status, refused.out]).toEqual([1, '']);
    expect(refused.err).toMatch(/^volary watch: "same.raw": is another recording than the one that was heard before; got .*--force\n$/);
    expect(readFileSync(join(folder, 'same/calls.csv'), 'utf8')).toBe(before);
    writeFileSync(path, raw);
    const right = await watch(args);
    expect([right.status, right.err]).toEqual([0, expect.stringMatching(/going on at \d+\.\d s/)]);
    expect(readFileSync(join(folder, 'same/calls.csv'), 'utf8')).toBe(wanted);
  });

  it('ends with status 1 where the file is cut short', async () => {
    const path = join(folder, 'short.raw');
    writeFileSync(path, raw);
    let isCut = false;
    // A row is the sign that the file was opened, and with it that all of it was seen.
    const cut = await watch(['--birds', birds, '--input', 'short.raw', '--rate', String(rate), '--encoding', 'pcm16', '--warm-up', '15', '--idle', '20'], {
      when: (out) => {
        if (!isCut && listRows(out).length > 0) truncateSync(path, 40 * rate * frameBytes);
        isCut ||= listRows(out).length > 0;
        return false;
      },
    });
    expect([cut.status, cut.err]).toEqual([1, expect.stringMatching(/"short.raw": has become shorter while it was being read/)]);
  });

  it('says that a pipe ended in the middle of a frame, and says nothing where it did not', async () => {
    const whole = 20 * rate * frameBytes;
    const cut = await watch(PIPE(), { input: raw.slice(0, whole + 3) });
    expect(cut.status).toBe(0);
    expect(cut.err.match(/^volary watch: warning: .*left over.*$/gm)).toEqual([expect.stringContaining(`in the middle of a frame: 3 of its ${frameBytes} bytes were left over`)]);
    expect((await watch(PIPE(), { input: raw.slice(0, whole) })).err).not.toMatch(/left over/);
  });
});

describe('watch, used wrongly', () => {
  it.each([[['--encoding', 'pcm24'], /--encoding: contradicts the head of "whole.wav", a WAVE file; got pcm24; expected pcm16; leave --encoding away/], [['--rate', '12345'], /--rate: contradicts the head of "whole.wav", a WAVE file; got 12345; expected \d+; leave --rate away/]] as const)('of a WAVE file: %j', (more, message) => {
    const run = runCli(['watch', '--birds', birds, '--input', 'whole.wav', '--warm-up', '15', '--idle', '0.5', ...more], { cwd: folder });
    expect([run.status, run.out, run.err]).toEqual([2, '', expect.stringMatching(message)]);
    expect(run.err.trim().split('\n').length).toBe(1);
  });

  it('takes options that say the same as the WAVE file', () => {
    const run = runCli(['watch', '--birds', birds, '--input', 'whole.wav', '--warm-up', '15', '--idle', '0.5', '--rate', String(rate), '--encoding', 'pcm16'], { cwd: folder });
    expect([run.status, listRows(run.out)]).toEqual([0, listRows(wanted)]);
  });

  it.each([
    [[], 2, /which channel is which bird/],
    [['--birds', 'red,blue'], 2, /sample rate of raw samples is not known; give it with --rate/],
    [['--birds', 'red,blue', '--input', 'none.wav'], 1, /"none.wav": no such file; start the recorder first/],
    [['--birds', 'red,,blue'], 2, /expected names divided by commas/],
    [['--birds', 'red,blue', '--encoding', 'mp9'], 2, /Allowed choices are pcm16/],
    [['--birds', 'red', '--rate', '48000', '--encoding', 'pcm16'], 1, /attribution compares tracks; got 1; expected at least two/],
  ] as const)('%j', (args, status, message) => {
    const run = runCli(['watch', ...args], { cwd: folder });
    expect(run.err).toMatch(message);
    expect(run.err.trim().split('\n').length).toBe(1);
    expect([run.status, run.out]).toEqual([status, '']);
  });

  it('leaves tables of other runs alone', () => {
    expect(existsSync(join(folder, 'whole/watch-state.bin'))).toBe(true);
    const other = runCli(['watch', '--birds', birds, '--input', 'whole.wav', '--warm-up', '20', '--out', 'whole', '--idle', '0.5'], { cwd: folder });
    expect([other.status, other.err]).toEqual([1, expect.stringMatching(/warmUpSec differs .* got 15; expected 20; use --force/)]);
    rmSync(join(folder, 'whole/watch-state.bin'));
    const again = runCli(['watch', '--birds', birds, '--input', 'whole.wav', '--warm-up', '15', '--out', 'whole', '--idle', '0.5'], { cwd: folder });
    expect([again.status, again.err]).toEqual([1, expect.stringMatching(/calls.csv": is there already/)]);
  });
});
