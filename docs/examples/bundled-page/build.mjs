// node build.mjs OUT: bundles the page with esbuild. Other bundlers do as well: they have to take the export `browser` of the package,
// and kernels.wasm and cell-worker.js have to be copied beside what they make.
import { copyFile, mkdir } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';

const out = process.argv[2];
if (!out) {
  process.stderr.write('usage: node build.mjs OUT\n');
  process.exit(2);
}
const here = dirname(fileURLToPath(import.meta.url));
await mkdir(out, { recursive: true });
await build({ entryPoints: [join(here, 'main.js')], outfile: join(out, 'main.js'), bundle: true, format: 'esm', platform: 'browser', target: 'es2022', logLevel: 'warning' });
for (const name of ['kernels.wasm', 'cell-worker.js']) await copyFile(fileURLToPath(import.meta.resolve(`volary/${name}`)), join(out, name));
await copyFile(join(here, 'index.html'), join(out, 'index.html'));
