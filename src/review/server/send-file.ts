import { createReadStream } from 'node:fs';
import { open } from 'node:fs/promises';
import type { IncomingMessage, ServerResponse } from 'node:http';

/** Sends a file, whole or the one range that was asked for (RFC 9110 section 14); resolves when it is under way. */
export async function sendFile(request: IncomingMessage, response: ServerResponse, path: string, type: string): Promise<void> {
  const handle = await open(path, 'r');
  const { size } = await handle.stat();
  await handle.close();
  const range = parseRange(request.headers.range, size);
  if (range === 'none') {
    response.writeHead(416, { 'content-range': `bytes */${size}` }).end();
    return;
  }
  const [from, to] = range ?? [0, size];
  response.writeHead(range ? 206 : 200, {
    'content-type': type, 'accept-ranges': 'bytes', 'content-length': to - from, ...(range ? { 'content-range': `bytes ${from}-${to - 1}/${size}` } : {}),
  });
  if (request.method === 'HEAD' || to === from) {
    response.end();
    return;
  }
  createReadStream(path, { start: from, end: to - 1 }).on('error', () => response.destroy()).pipe(response);
}

/** The one range of a header as [from, to); undefined where all is to be sent, 'none' where nothing of it is in the file. */
export function parseRange(header: string | undefined, size: number): [number, number] | 'none' | undefined {
  const found = /^bytes=(\d*)-(\d*)$/.exec(header?.trim() ?? '');
  if (!found || (found[1] === '' && found[2] === '')) return undefined;
  if (found[1] === '') return size === 0 || Number(found[2]) === 0 ? 'none' : [Math.max(0, size - Number(found[2])), size];
  const from = Number(found[1]);
  const to = found[2] === '' ? size : Math.min(size, Number(found[2]) + 1);
  if (found[2] !== '' && Number(found[2]) < from) return undefined;
  return from >= size ? 'none' : [from, to];
}
