// Builds dist/: kernels (AssemblyScript -> kernels.wasm, and kernels-relaxed.wasm with fused multiply-add) and the host (TypeScript -> ESM with types).
// Skips what is newer than its sources unless --force is given. Plain Node, no shell.
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, readdirSync, statSync, writeFileSync, chmodSync } from 'node:fs';
import { join, dirname } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { spawnSync } from 'node:child_process';

const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
const dist = join(root, 'dist');

function listFiles(dir, ends) {
  if (!existsSync(dir)) return [];
  return readdirSync(dir, { withFileTypes: true }).flatMap((e) => {
    const p = join(dir, e.name);
    if (e.isDirectory()) return listFiles(p, ends);
    return ends.some((x) => e.name.endsWith(x)) ? [p] : [];
  }).sort();
}

function hashFiles(files) {
  const h = createHash('sha256');
  for (const f of files) h.update(f.slice(root.length).replaceAll('\\', '/')).update('\0').update(readFileSync(f)).update('\0');
  return h.digest('hex');
}

function runNode(script, args) {
  const r = spawnSync(process.execPath, [script, ...args], { cwd: root, stdio: ['ignore', 'inherit', 'inherit'] });
  if (r.status !== 0) {
    process.stderr.write(`build: ${args[0] ?? script} failed\n`);
    process.exit(1);
  }
}

function isFresh(stampFile, hash, product) {
  return existsSync(product) && existsSync(stampFile) && readFileSync(stampFile, 'utf8') === hash;
}

const force = process.argv.includes('--force');
mkdirSync(dist, { recursive: true });

const kernelSources = [...listFiles(join(root, 'assembly'), ['.ts']), join(root, 'asconfig.json')];
const kernelHash = hashFiles(kernelSources);
const kernelStamp = join(dist, '.kernels.stamp');
if (force || !existsSync(join(dist, 'kernels-relaxed.wasm')) || !isFresh(kernelStamp, kernelHash, join(dist, 'kernels.wasm'))) {
  process.stderr.write('build: kernels\n');
  for (const target of ['release', 'relaxed']) runNode(join(root, 'node_modules', 'assemblyscript', 'bin', 'asc.js'), ['assembly/index.ts', '--config', 'asconfig.json', '--target', target]);
  writeFileSync(kernelStamp, kernelHash);
}

const hostSources = [...listFiles(join(root, 'src'), ['.ts', '.json', '.css']), join(root, 'tsconfig.json'), join(root, 'package.json')];
const hostHash = hashFiles([...hostSources, ...kernelSources]);
const hostStamp = join(dist, '.host.stamp');
if (force || !isFresh(hostStamp, hostHash, join(dist, 'cli', 'main.js'))) {
  process.stderr.write('build: host\n');
  runNode(join(root, 'node_modules', 'typescript', 'bin', 'tsc'), ['-p', 'tsconfig.json']);
  const bundle = join(root, 'src', 'build', 'bundle.mjs');
  if (existsSync(bundle)) await (await import(pathToFileURL(bundle).href)).bundleBrowser(root);
  const page = join(root, 'src', 'build', 'bundle-page.mjs');
  if (existsSync(page)) await (await import(pathToFileURL(page).href)).bundlePage(root);
  const main = join(dist, 'cli', 'main.js');
  if (existsSync(main) && process.platform !== 'win32') chmodSync(main, 0o755);
  writeFileSync(hostStamp, hostHash);
}
if (process.argv.includes('--page')) process.stdout.write(`${join(dist, 'page', 'index.html')}\n`);
if (process.argv.includes('--sizes')) process.stdout.write(`${statSync(join(dist, 'kernels.wasm')).size}\n`);
