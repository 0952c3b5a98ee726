import { readFile } from 'node:fs/promises';
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { extname, join, normalize, sep } from 'node:path';

const TYPES: Record<string, string> = { '.html': 'text/html; charset=utf-8', '.js': 'text/javascript; charset=utf-8', '.wasm': 'application/wasm', '.json': 'application/json' };

/** A page with nothing in it but the library, a way to choose files and one to choose a folder. */
const PAGE = '<!doctype html><html lang="en"><title>test</title><script type="module" src="/page.js"></script>'
  + '<input type="file" id="files" multiple><input type="file" id="folder" webkitdirectory></html>';
const SCRIPT = "import * as volary from '/dist/browser/index.js'; globalThis.volary = volary;";

/** As strict as a page can be that runs WebAssembly: no inline script, no eval, nothing from elsewhere. */
const POLICY = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; worker-src 'self'; connect-src 'self'";

/** Serves a folder on a free port of 127.0.0.1, with an empty page at '/'. */
export async function serveFolder(root: string): Promise<{ address: string; close(): Promise<void> }> {
  const server = createServer((request, response) => {
    const path = decodeURIComponent(new URL(request.url ?? '/', 'http://x').pathname);
    const send = (status: number, type: string, body: string | Uint8Array): void => {
      response.writeHead(status, { 'content-type': type, 'content-security-policy': POLICY }).end(body);
    };
    if (path === '/page.js') return send(200, TYPES['.js'], SCRIPT);
    if (path === '/') return send(200, TYPES['.html'], PAGE);
    const file = normalize(join(root, path));
    if (!file.startsWith(root + sep)) return send(403, 'text/plain', '');
    readFile(file).then((body) => send(200, TYPES[extname(file)] ?? 'application/octet-stream', body), () => send(404, 'text/plain', ''));
  });
  await new Promise<void>((resolve) => { server.listen(0, '127.0.0.1', resolve); });
  return {
    address: `http://127.0.0.1:${(server.address() as AddressInfo).port}`,
    close: () => new Promise((resolve) => { server.closeAllConnections(); server.close(() => resolve()); }),
  };
}
