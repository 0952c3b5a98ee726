// Bundles the library for pages: dist/browser/index.js and cell-worker.js, each one file without imports. The types stay those that tsc wrote.
import { readdirSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { build } from 'esbuild';

/** The FLAC decoder offers to run in a worker of its own and asks for `Worker` as it loads. Ours runs where it is called, also where there is no `Worker`. */
export const withoutDecoderWorkers = {
  name: 'without-decoder-workers',
  setup(b) {
    b.onLoad({ filter: /[\\/]@eshaz[\\/]web-worker[\\/]/ }, () => ({ contents: 'module.exports = class {};', loader: 'js' }));
  },
};

export async function bundleBrowser(root) {
  await build({
    absWorkingDir: root,
    entryPoints: [join(root, 'src', 'browser', 'index.ts'), join(root, 'src', 'browser', 'cell-worker.ts')],
    outdir: join(root, 'dist', 'browser'),
    bundle: true,
    format: 'esm',
    platform: 'browser',
    target: ['es2022', 'chrome110', 'firefox115', 'safari16.4'],
    minifySyntax: true,
    minifyWhitespace: true,
    legalComments: 'linked',
    sourcemap: true,
    logLevel: 'warning',
    plugins: [withoutDecoderWorkers],
  });
  // What tsc wrote beside the two bundles is inside them.
  const folder = join(root, 'dist', 'browser');
  for (const name of readdirSync(folder)) if (/\.js(\.map)?$/.test(name) && !/^(index|cell-worker)\./.test(name)) rmSync(join(folder, name));
}
