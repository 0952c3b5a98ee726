// Bundles the library for pages: dist/browser/index.js and cell-worker.js, each one file without imports. The types stay those that tsc wrote.
import { readdirSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { build } from 'esbuild';

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
  });
  // What tsc wrote beside the two bundles is inside them.
  const folder = join(root, 'dist', 'browser');
  for (const name of readdirSync(folder)) if (/\.js(\.map)?$/.test(name) && !/^(index|cell-worker)\./.test(name)) rmSync(join(folder, name));
}
