import { spawnSync } from 'node:child_process';
import { existsSync, readFileSync, readdirSync } from 'node:fs';
import { basename, dirname, join, posix } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';

const root = join(dirname(fileURLToPath(import.meta.url)), '..');
const LEFT_OUT = new Set(['node_modules', 'dist', 'out', '.git']);

function listFiles(folder: string): string[] {
  if (!existsSync(join(root, folder))) return [];
  return readdirSync(join(root, folder), { withFileTypes: true }).flatMap((e) => {
    const path = posix.join(folder, e.name);
    if (e.isDirectory()) return LEFT_OUT.has(e.name) ? [] : listFiles(path);
    return e.isFile() ? [path] : [];
  });
}

const read = (path: string): string => readFileSync(join(root, path), 'utf8');
const source = listFiles('src').filter((p) => /\.(ts|mts|mjs|js)$/.test(p));
const kernels = listFiles('assembly').filter((p) => p.endsWith('.ts'));
const typescript = source.filter((p) => p.endsWith('.ts'));

interface Import { file: string; from: string; target: string }

/** Every import, re-export and dynamic import of a file; relative ones as a path from the root. */
function listImports(file: string): Import[] {
  const text = read(file);
  const found = [...text.matchAll(/(?:^|[\s;}])(?:import|export)\s(?:[^'";]*?\sfrom\s)?['"]([^'"]+)['"]/g), ...text.matchAll(/\bimport\(\s*['"]([^'"]+)['"]\s*\)/g)];
  return found.map((m) => ({ file, from: m[1], target: m[1].startsWith('.') ? posix.join(posix.dirname(file), m[1]) : m[1] }));
}

const imports = source.flatMap(listImports);
const layerOf = (path: string): string => (path.startsWith('src/') ? path.split('/')[1] : '');

/** Imports of files in these layers that a rule forbids, as lines to read. */
function offences(layers: (layer: string) => boolean, isForbidden: (i: Import) => boolean): string[] {
  return imports.filter((i) => layers(layerOf(i.file)) && isForbidden(i)).map((i) => `${i.file} imports ${i.from}`);
}

const among = (...names: string[]) => (layer: string): boolean => names.includes(layer);
const notAmong = (...names: string[]) => (layer: string): boolean => !names.includes(layer);
const intoLayer = (...names: string[]) => (i: Import): boolean => names.includes(layerOf(i.target));

describe('layers', () => {
  it('finds the imports it is to judge', () => {
    expect(imports.length).toBeGreaterThan(100);
    expect(imports.some((i) => i.from === 'commander' && layerOf(i.file) === 'cli')).toBe(true);
    expect(imports.some((i) => i.target === 'src/schema/errors.js')).toBe(true);
  });

  it('schema imports nothing above it', () => {
    expect(offences(among('schema'), (i) => layerOf(i.target) !== 'schema')).toEqual([]);
  });

  it('model, attribute, analysis, score and refit see tables, never audio or kernels', () => {
    expect(offences(among('model', 'attribute', 'analysis', 'score', 'refit'), intoLayer('audio', 'kernels'))).toEqual([]);
  });

  it('analysis, score and separate do not import each other', () => {
    for (const layer of ['analysis', 'score', 'separate']) {
      expect(offences(among(layer), intoLayer(...['analysis', 'score', 'separate'].filter((l) => l !== layer)))).toEqual([]);
    }
  });

  it('no stage imports a front', () => {
    expect(offences(notAmong('node', 'browser', 'cli', 'review', 'build'), intoLayer('node', 'browser', 'cli', 'review'))).toEqual([]);
  });

  it('only cli knows commander', () => {
    expect(offences(notAmong('cli'), (i) => i.from === 'commander')).toEqual([]);
  });

  it('only node, cli, the review server and the build scripts know Node', () => {
    const knowsNode = (path: string): boolean => ['node', 'cli', 'build'].includes(layerOf(path)) || path.startsWith('src/review/server/');
    const builtIn = /^(node:|(fs|path|os|crypto|child_process|worker_threads|url|util|stream|buffer|zlib|process)(\/|$))/;
    expect(imports.filter((i) => !knowsNode(i.file) && builtIn.test(i.from)).map((i) => `${i.file} imports ${i.from}`)).toEqual([]);
    const uses = typescript.filter((p) => !knowsNode(p) && /\b(Buffer\.|process\.(env|argv|cwd|exit|stdout|stderr)|__dirname|require\()/.test(withoutText(read(p))));
    expect(uses).toEqual([]);
  });

  it('only browser and the review page touch the page', () => {
    const page = /\b(document\.(create|query|get|body|add)|HTMLElement|localStorage|window\.(document|location|addEventListener))\b/;
    expect(typescript.filter((p) => layerOf(p) !== 'browser' && !p.startsWith('src/review/page/') && page.test(withoutText(read(p))))).toEqual([]);
  });

  it('the review page runs in a browser alone, and its server without a page', () => {
    const within = (part: string) => (path: string): boolean => path.startsWith(`src/review/${part}/`);
    const crossing = imports.filter((i) => (within('page')(i.file) && (within('server')(i.target) || ['node', 'cli'].includes(layerOf(i.target)))) || (!within('page')(i.file) && within('page')(i.target)));
    expect(crossing.map((i) => `${i.file} imports ${i.from}`)).toEqual([]);
    expect(imports.some((i) => within('page')(i.file) && i.target === 'src/review/labels.js')).toBe(true);
  });

  it('relative imports name a file that is there', () => {
    const missing = imports.filter((i) => i.from.startsWith('.') && !/\.(js|mjs|json)$/.test(i.from));
    expect(missing.map((i) => `${i.file} imports ${i.from}`)).toEqual([]);
  });
});

/** Source without comments and quoted text, so that words in them do not count as code. */
function withoutText(text: string): string {
  return text.replace(/\/\*[^]*?\*\//g, '').replace(/\/\/.*$/gm, '').replace(/'(?:[^'\\\n]|\\.)*'|"(?:[^"\\\n]|\\.)*"|`(?:[^`\\]|\\.)*`/g, "''");
}

/** Forests as bench/learn writes them: data, whose length is nobody's to keep in mind. */
const isLearned = (p: string): boolean => /^learned-[a-z-]+\.ts$/.test(basename(p));

describe('files', () => {
  // 'About 300' and 'about 150' lines, with some air for the last import.
  it('are of a length that one can keep in mind', () => {
    const long = [...typescript.filter((p) => !isLearned(p)).map((p) => [p, 320] as const), ...kernels.map((p) => [p, 180] as const)].filter(([p, most]) => read(p).split('\n').length > most);
    expect(long.map(([p]) => `${p}: ${read(p).split('\n').length}`)).toEqual([]);
  });

  it('that are learned hold data and nothing else', () => {
    const learned = typescript.filter(isLearned);
    expect(learned.length).toBe(6);
    for (const p of learned) expect(read(p).replace(/`\{[^`$\\]*\}`/, 'DATA')).toMatch(/^import \{ unpackForest \} from '\.\/pack-forest\.js';\n\n\/\*\* [^*]* not to be edited by hand\. \*\/\nexport const \w+Forest = unpackForest\(JSON\.parse\(DATA\)\);\n$/);
  });

  it('have kebab-case names that say what is inside', () => {
    const names = [...source, ...kernels, ...listFiles('test').filter((p) => p.endsWith('.ts'))];
    expect(names.filter((p) => !/^[a-z0-9]+(-[a-z0-9]+)*(\.test|\.d|\.worker)?\.(ts|mjs|js)$/.test(basename(p)))).toEqual([]);
    expect(names.filter((p) => /^(utils?|helpers?|misc|common)\b/.test(basename(p)))).toEqual([]);
  });

  it('have no default exports', () => {
    expect([...source, ...kernels, ...listFiles('test')].filter((p) => /\.(ts|mjs)$/.test(p) && /^export default\b/m.test(read(p)))).toEqual([]);
  });
});

describe('repository', () => {
  const listed = spawnSync('git', ['ls-files', '-z'], { cwd: root, encoding: 'utf8' });
  const tracked = (listed.status === 0 ? listed.stdout.split('\0').filter((p) => p !== '' && existsSync(join(root, p))) : listFiles('.')).filter((p) => !/\.(png|jpg|wav|flac|wasm|parquet|gz|woff2?)$/i.test(p));
  // Written in pieces, so that this file does not find itself.
  const forbidden: [string, RegExp][] = [
    ['a path of a machine', new RegExp(['/wo' + 'rk/', '/ho' + 'me/[a-z]', '/ro' + 'ot/', '/Us' + 'ers/', '[A-Z]:\\\\\\\\?Us' + 'ers', 'file' + ':///'].map((p) => `(?<![\\w.])${p}`).join('|'))],
    ['the host of a registry', new RegExp(['registry\\.' + 'npmjs', 'registry\\.' + 'yarnpkg', 'npm\\.' + 'pkg\\.github', 'pypi\\.' + 'org', '"resol' + 'ved": "http'].join('|'))],
  ];

  it('looks at all tracked files', () => {
    expect(tracked).toEqual(expect.arrayContaining(['package.json', 'package-lock.json', 'src/cli/main.ts']));
  });

  it.each(forbidden)('holds no %s', (_, pattern) => {
    expect(tracked.filter((p) => pattern.test(read(p))).map((p) => `${p}: ${pattern.exec(read(p))![0]}`)).toEqual([]);
  });
});
