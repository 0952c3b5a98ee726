// Bundles the review page: dist/page/index.html, page.js, page.css. Workers and kernels stand inside page.js, because a page opened from a folder
// may load neither modules nor workers nor WebAssembly from beside it.
import { copyFileSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { build } from 'esbuild';
import { withoutDecoderWorkers } from './bundle.mjs';

export async function bundlePage(root) {
  const out = join(root, 'dist', 'page');
  const source = join(root, 'src', 'review', 'page');
  const shared = {
    absWorkingDir: root, bundle: true, format: 'iife', platform: 'browser', target: ['es2022', 'chrome110', 'firefox115', 'safari16.4'],
    minify: true, legalComments: 'none', logLevel: 'warning', plugins: [withoutDecoderWorkers],
    // A classic script has no address of its own; nothing here is looked up relative to it.
    define: { 'import.meta.url': '""' },
  };
  const bundleWorker = async (entry) => (await build({ ...shared, entryPoints: [entry], write: false })).outputFiles[0].text;
  const viewWorker = await bundleWorker(join(source, 'view-worker.ts'));
  const cellWorker = await bundleWorker(join(root, 'src', 'browser', 'cell-worker.ts'));
  rmSync(out, { recursive: true, force: true });
  mkdirSync(out, { recursive: true });
  await build({
    ...shared, entryPoints: [join(source, 'main.ts')], outfile: join(out, 'page.js'),
    define: {
      ...shared.define, EMBEDDED_VIEW_WORKER: JSON.stringify(viewWorker), EMBEDDED_CELL_WORKER: JSON.stringify(cellWorker),
      EMBEDDED_KERNELS: JSON.stringify(readFileSync(join(root, 'dist', 'kernels.wasm')).toString('base64')),
    },
  });
  copyFileSync(join(source, 'page.css'), join(out, 'page.css'));
  const { buildShell } = await import(pathToFileURL(join(root, 'dist', 'review', 'shell.js')).href);
  writeFileSync(join(out, 'index.html'), buildShell('files'));
}
