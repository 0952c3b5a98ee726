import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

export const root = fileURLToPath(new URL('../../', import.meta.url));

export interface NpmResult { status: number | null; out: string; err: string }

/** npm without a shell: the program that came with Node, or the one that runs these tests; undefined where there is none. */
export function findNpm(): string | undefined {
  const bin = dirname(process.execPath);
  const usual = [join(bin, 'node_modules'), join(bin, '..', 'lib', 'node_modules'), join(bin, '..', 'share', 'nodejs'), '/usr/share/nodejs'].map((p) => join(p, 'npm', 'bin', 'npm-cli.js'));
  return [process.env.npm_execpath ?? '', ...usual].find((p) => /npm-cli\.js$/.test(p) && existsSync(p));
}

export function runNpm(npm: string, args: string[], cwd: string): NpmResult {
  const r = spawnSync(process.execPath, [npm, ...args, '--offline', '--no-audit', '--no-fund', '--no-update-notifier', '--loglevel=error'], { cwd, encoding: 'utf8', timeout: 380_000 });
  if (r.error) throw r.error;
  return { status: r.status, out: r.stdout, err: r.stderr };
}

/** Packs the built tree; returns the tarball's path and the paths of the files in it. */
export function packLibrary(npm: string, folder: string): { tarball: string; files: string[] } {
  const r = runNpm(npm, ['pack', '--ignore-scripts', '--json', '--pack-destination', folder], root);
  if (r.status !== 0) throw new Error(`npm pack: ${r.err}`);
  const [packed] = JSON.parse(r.out) as { filename: string; files: { path: string }[] }[];
  const name = readdirSync(folder).find((n) => n.endsWith('.tgz')) ?? packed.filename;
  return { tarball: join(folder, name), files: packed.files.map((f) => f.path) };
}

/**
 * Installs the tarball into an empty project. No registry is asked: the packages it runs on are those of this checkout, which npm copies and
 * checks against the ranges that the tarball asks for.
 */
export function installPacked(npm: string, tarball: string, project: string): NpmResult {
  mkdirSync(project, { recursive: true });
  writeFileSync(join(project, 'package.json'), '{ "name": "empty-project", "private": true, "type": "module" }\n');
  const { packages } = JSON.parse(readFileSync(join(root, 'package-lock.json'), 'utf8')) as { packages: Record<string, { dev?: boolean }> };
  const needed = Object.entries(packages).filter(([path, { dev }]) => path.startsWith('node_modules/') && !dev).map(([path]) => join(root, path));
  return runNpm(npm, ['install', '--ignore-scripts', '--install-links', ...needed, tarball], project);
}
