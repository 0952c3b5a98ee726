/** The review server: loopback only, everything under a random token, nothing of the disk but the study's own files. */
import { randomBytes, timingSafeEqual } from 'node:crypto';
import { createServer } from 'node:http';
import type { IncomingMessage, ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';
import { quoteName, VolaryError } from '../../schema/errors.js';
import type { ErrorCode } from '../../schema/errors.js';
import { describePolicy } from '../shell.js';
import { answerRequest } from './answer-request.js';
import { openLabelStore } from './label-store.js';
import { openResult } from './open-result.js';

export interface ReviewOptions {
  /** TCP port; 0 or none = a free one. */
  port?: number;
  /** Study manifest, where not the one that run.json names. */
  studyPath?: string;
  /** Told of what went wrong behind a request, one line each. */
  onNote?: (text: string) => void;
}

export interface ReviewServer {
  /** Address of the page, with its token. */
  url: string;
  close(): Promise<void>;
}

const HOST = '127.0.0.1';

/**
 * Serves a result folder for review until it is closed.
 * @throws VolaryError 'missing', 'bad-table', 'bad-study', 'exists' where the port or the folder is in use
 */
export async function startReview(folder: string, options: ReviewOptions = {}): Promise<ReviewServer> {
  const result = await openResult(folder, options.studyPath);
  const labels = await openLabelStore(result).catch(async (error: unknown) => {
    await result.close();
    throw error;
  });
  const token = randomBytes(24).toString('base64url');
  const server = createServer((request, response) => {
    setHeaders(response);
    const rest = admit(request, token);
    if (rest === undefined) return void response.writeHead(404).end();
    answerRequest({ result, labels }, request, response, rest).catch((error: unknown) => {
      const text = error instanceof VolaryError ? error.message : `internal error ${String(error)}`;
      if (!(error instanceof VolaryError)) options.onNote?.(text);
      if (response.headersSent) return void response.destroy();
      response.writeHead(statusOf(error), { 'content-type': 'text/plain; charset=utf-8' }).end(text);
    });
  });
  const close = async (): Promise<void> => {
    server.closeAllConnections();
    await new Promise<void>((resolve) => { server.close(() => resolve()); });
    await labels.close();
    await result.close();
  };
  await listen(server, options.port ?? 0).catch(async (error: unknown) => {
    await close();
    throw error;
  });
  return { url: `http://${HOST}:${(server.address() as AddressInfo).port}/${token}/`, close };
}

const WRONG_REQUESTS: ErrorCode[] = ['bad-labels', 'bad-option', 'missing'];

/** 400 only where the request is to blame: the page takes such an answer back, and holds one that only the disk did not take. */
function statusOf(error: unknown): number {
  return error instanceof VolaryError && WRONG_REQUESTS.includes(error.code) ? 400 : 500;
}

function listen(server: ReturnType<typeof createServer>, port: number): Promise<void> {
  return new Promise((resolve, reject) => {
    server.once('error', (error: NodeJS.ErrnoException) => {
      reject(new VolaryError('exists', { where: `port ${port}`, what: 'cannot be used', got: error.code ?? error.message, mend: 'choose another with --port, or leave it out' }, { cause: error }));
    });
    server.listen(port, HOST, resolve);
  });
}

function setHeaders(response: ServerResponse): void {
  const headers = {
    'content-security-policy': describePolicy('server'), 'x-content-type-options': 'nosniff', 'referrer-policy': 'no-referrer', 'cache-control': 'no-store',
    'cross-origin-resource-policy': 'same-origin', 'cross-origin-opener-policy': 'same-origin', 'x-frame-options': 'DENY',
  };
  for (const [name, value] of Object.entries(headers)) response.setHeader(name, value);
}

/** The part of the address after the token; undefined for whoever does not know it, or comes by another name than this machine's. */
function admit(request: IncomingMessage, token: string): string | undefined {
  const host = request.headers.host ?? '';
  // A foreign page whose name was made to point here still sends that name.
  if (!/^(127\.0\.0\.1|localhost)(:\d+)?$/.test(host)) return undefined;
  const { origin } = request.headers;
  if (origin !== undefined && origin !== `http://${host}`) return undefined;
  const found = /^\/([^/?]+)\/([^?]*)/.exec(request.url ?? '');
  if (!found) return undefined;
  const given = new TextEncoder().encode(found[1]);
  const wanted = new TextEncoder().encode(token);
  return given.length === wanted.length && timingSafeEqual(given, wanted) ? found[2] : undefined;
}

/** One line for the person who started it. */
export function describeServer(folder: string, url: string): string {
  return `reviewing ${quoteName(folder)}; open ${url} in a browser on this computer; end with Ctrl-C`;
}
