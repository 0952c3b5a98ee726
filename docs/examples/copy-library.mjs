// node copy-library.mjs FOLDER OUT: puts the page of a folder here and the three files of the library that it needs into OUT, to be served as it is.
import { cp, mkdir } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const [page, out] = process.argv.slice(2);
if (!['plain-page', 'worker'].includes(page) || !out) {
  process.stderr.write('usage: node copy-library.mjs plain-page|worker OUT\n');
  process.exit(2);
}
// The kernels lie in the folder above the module that loads them, and the worker beside it.
const FILES = { 'volary/browser': 'volary/browser', 'volary/cell-worker.js': 'volary/browser', 'volary/kernels.wasm': 'volary' };
for (const [name, folder] of Object.entries(FILES)) {
  const path = fileURLToPath(import.meta.resolve(name));
  await mkdir(join(out, folder), { recursive: true });
  await cp(path, join(out, folder, basename(path)));
}
await cp(join(dirname(fileURLToPath(import.meta.url)), page), out, { recursive: true });
