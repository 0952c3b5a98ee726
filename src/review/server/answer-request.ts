import { existsSync } from 'node:fs';
import type { IncomingMessage, ServerResponse } from 'node:http';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { VolaryError } from '../../schema/errors.js';
import { MOST_BODY_BYTES, parseChanges } from '../labels.js';
import { buildClockModel, readSlices } from '../read-slices.js';
import { buildShell } from '../shell.js';
import { MOST_SAMPLES } from '../study-info.js';
import type { SliceRequest } from '../study-info.js';
import type { LabelStore } from './label-store.js';
import { listTables } from './open-result.js';
import type { OpenedResult } from './open-result.js';
import { sendFile } from './send-file.js';

interface Context { result: OpenedResult; labels: LabelStore }

const TEXT = 'text/csv; charset=utf-8';
const ASSETS: Record<string, string> = { 'page.js': 'text/javascript; charset=utf-8', 'page.css': 'text/css; charset=utf-8' };

/** Answers what comes after the token. Paths are looked up in lists, never joined to a folder. */
export async function answerRequest(context: Context, request: IncomingMessage, response: ServerResponse, path: string): Promise<void> {
  const { result, labels } = context;
  const isRead = request.method === 'GET' || request.method === 'HEAD';
  const sendJson = (value: unknown): void => void response.writeHead(200, { 'content-type': 'application/json' }).end(JSON.stringify(value));
  const numbered = /^recordings\/(\d{1,6})$/.exec(path);
  const named = /^tables\/([\w-]+\.csv)$/.exec(path);
  if (path === 'labels' && request.method === 'POST') return sendJson(await takeLabels(labels, request));
  if (!isRead) return void response.writeHead(405, { allow: 'GET, HEAD' }).end();
  if (path === '') return void response.writeHead(200, { 'content-type': 'text/html; charset=utf-8' }).end(buildShell('server'));
  if (Object.hasOwn(ASSETS, path)) return sendFile(request, response, join(findPage(), path), ASSETS[path]);
  if (path === 'study') return sendJson(result.info);
  if (path === 'tables') return sendJson(await listTables(result.folder));
  if (path === 'labels') return sendJson({ entries: labels.entries, sample: labels.sample });
  if (path === 'events') return streamEntries(labels, request, response);
  if (path === 'samples') return sendSamples(result, request, response);
  if (named && (await listTables(result.folder)).some((t) => t.name === named[1])) return sendFile(request, response, join(result.folder, named[1]), TEXT);
  if (numbered && result.recordings[Number(numbered[1])]) return sendFile(request, response, result.recordings[Number(numbered[1])], 'application/octet-stream');
  response.writeHead(404).end();
}

async function takeLabels(labels: LabelStore, request: IncomingMessage): Promise<unknown> {
  if (!/^application\/json\b/.test(request.headers['content-type'] ?? '')) throw new VolaryError('bad-labels', { what: 'not JSON', expected: 'content-type application/json' });
  const chunks: Uint8Array[] = [];
  let bytes = 0;
  for await (const chunk of request as AsyncIterable<Uint8Array>) {
    bytes += chunk.length;
    if (bytes > MOST_BODY_BYTES) throw new VolaryError('bad-labels', { what: 'too many changes at once', got: `${bytes} bytes`, expected: `at most ${MOST_BODY_BYTES}` });
    chunks.push(chunk);
  }
  const text = await new Blob(chunks as BlobPart[]).text();
  const { window, serial, changes } = parseBody(text);
  if (typeof window !== 'string' || !/^[\w-]{1,40}$/.test(window)) throw new VolaryError('bad-labels', { where: 'window', what: 'wrong value', expected: 'the name of a window' });
  if (serial !== undefined && !(Number.isSafeInteger(serial) && Number(serial) >= 1)) throw new VolaryError('bad-labels', { where: 'serial', what: 'wrong value', expected: 'a whole number from 1 on' });
  const { n, utc } = await labels.append(window, parseChanges(changes), serial as number | undefined);
  return { n, utc };
}

function parseBody(text: string): { window?: unknown; serial?: unknown; changes?: unknown } {
  try {
    return (JSON.parse(text) ?? {}) as { window?: unknown; serial?: unknown; changes?: unknown };
  } catch (cause) {
    throw new VolaryError('bad-labels', { what: 'not JSON', got: (cause as Error).message }, { cause });
  }
}

/** Server-sent events: every entry of the journal after the one that the window knows last. */
function streamEntries(labels: LabelStore, request: IncomingMessage, response: ServerResponse): void {
  const query = new URL(request.url ?? '/', 'http://x').searchParams;
  const last = Number(request.headers['last-event-id'] ?? query.get('after') ?? labels.entries.length);
  response.writeHead(200, { 'content-type': 'text/event-stream' });
  const send = (entry: { n: number }): void => void response.write(`id: ${entry.n}\ndata: ${JSON.stringify(entry)}\n\n`);
  response.write(': open\n\n');
  for (const entry of labels.entries.slice(Number.isInteger(last) && last >= 0 ? last : 0)) send(entry);
  const stop = labels.listen(send);
  response.on('close', stop);
}

async function sendSamples(result: OpenedResult, request: IncomingMessage, response: ServerResponse): Promise<void> {
  const query = new URL(request.url ?? '/', 'http://x').searchParams;
  const slices = parseSlices(query, result);
  const audio = slices.voices ? result.voices : result.audio;
  if (!audio) throw new VolaryError('missing', { what: 'no separated voices', mend: "write them with 'volary separate STUDY --calls DIR --out DIR/voices'" });
  const samples = await readSlices(audio, buildClockModel(result.info.recorders, result.clock), slices);
  const bytes = query.get('as') === 'f32' ? samples : toInt16(samples);
  response.writeHead(200, { 'content-type': 'application/octet-stream', 'content-length': bytes.byteLength }).end(new Uint8Array(bytes.buffer));
}

function parseSlices(query: URLSearchParams, { info }: OpenedResult): SliceRequest {
  const read = (name: string, isGood: (v: number) => boolean, expected: string, otherwise?: number): number => {
    const text = query.get(name);
    const value = text === null && otherwise !== undefined ? otherwise : Number(text || NaN);
    if (isGood(value)) return value;
    throw new VolaryError('bad-option', { where: name, what: 'wrong value', got: String(text), expected });
  };
  const isCount = (v: number): boolean => Number.isInteger(v) && v >= 1;
  const tracks = (query.get('tracks') ?? '').split(',').filter((t) => t !== '').map(Number);
  if (!tracks.length || new Set(tracks).size < tracks.length || !tracks.every((t) => Number.isInteger(t) && t >= 0 && t < info.tracks.length)) {
    throw new VolaryError('bad-option', { where: 'tracks', what: 'no such tracks', got: query.get('tracks') ?? 'nothing', expected: `numbers from 0 to ${info.tracks.length - 1}, each once` });
  }
  const request: SliceRequest = {
    tracks, voices: query.get('voices') === '1',
    startSec: read('start', (v) => Number.isFinite(v) && Math.abs(v) <= 1e9, 'seconds'), sliceFrames: read('frames', isCount, 'a whole number of frames'),
    stepSec: read('step', (v) => Number.isFinite(v) && v >= 0, 'seconds', 0), sliceCount: read('slices', isCount, 'a whole number of slices', 1),
  };
  const total = request.sliceFrames * request.sliceCount * tracks.length;
  if (total > MOST_SAMPLES) throw new VolaryError('bad-option', { where: 'frames', what: 'too many samples', got: String(total), expected: `at most ${MOST_SAMPLES}` });
  return request;
}

function toInt16(samples: Float32Array): Int16Array {
  const out = new Int16Array(samples.length);
  for (let i = 0; i < out.length; i++) out[i] = Math.max(-32768, Math.min(32767, Math.round(samples[i] * 32768)));
  return out;
}

/** The page lies beside the built program, also when this module runs from the sources. */
function findPage(): string {
  const places = ['../../page', '../../../dist/page'].map((p) => fileURLToPath(new URL(p, import.meta.url)));
  const found = places.find((p) => existsSync(join(p, 'page.js')));
  if (!found) throw new VolaryError('missing', { what: 'the page was not built', mend: 'run npm run build' });
  return found;
}
