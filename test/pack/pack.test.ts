import { spawnSync } from 'node:child_process';
import { existsSync, readFileSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { join, posix } from 'node:path';
import ts from 'typescript';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { newFolder } from '../cli/run-cli.js';
import { findNpm, installPacked, packLibrary, root, runNpm } from './install-packed.js';

const npm = findNpm();
if (!npm) console.warn('test/pack: SKIPPED, for npm-cli.js was found neither beside Node nor in npm_execpath');

describe.skipIf(!npm)('the packed library', () => {
  const folder = newFolder();
  const project = join(folder, 'project');
  const installed = join(project, 'node_modules', 'volary');
  let files: string[] = [];

  beforeAll(() => {
    const packed = packLibrary(npm!, folder);
    files = packed.files;
    const r = installPacked(npm!, packed.tarball, project);
    expect([r.status, r.err]).toEqual([0, '']);
    // npm copies some twenty packages; a busy machine takes minutes.
  }, 400_000);

  afterAll(() => rmSync(folder, { recursive: true, force: true }));

  it('holds the program, its types and its documents, and nothing that only its developers need', () => {
    expect(files).toEqual(expect.arrayContaining(['package.json', 'README.md', 'LICENSE', 'CHANGELOG.md', 'docs/api.md', 'dist/cli/main.js', 'dist/kernels.wasm', 'dist/node/index.d.ts', 'dist/browser/index.js', 'dist/page/index.html']));
    const isWanted = (path: string): boolean => /^(package\.json|README\.md|LICENSE|CHANGELOG\.md|DEVELOPERS\.md|docs\/.+|fixtures\/(plans|days)\/.+|dist\/.+\.(js|d\.ts|json|wasm|html|css|txt))$/.test(path);
    expect(files.filter((path) => !isWanted(path))).toEqual([]);
  });

  it('holds whatever its documents link to, but for notes on benches', () => {
    const missing = files.filter((path) => path.endsWith('.md')).flatMap((path) => {
      const links = [...readFileSync(join(installed, path), 'utf8').matchAll(/\]\(([^)#:\s]+)(#[^)]*)?\)/g)].map((m) => posix.join(posix.dirname(path), m[1]));
      return links.filter((link) => !link.startsWith('bench/') && !existsSync(join(installed, link))).map((link) => `${path}: ${link}`);
    });
    expect(missing).toEqual([]);
  });

  it('holds what package.json points to', () => {
    const { exports, bin, types } = JSON.parse(readFileSync(join(installed, 'package.json'), 'utf8')) as { exports: object; bin: Record<string, string>; types: string };
    const targets = [types, ...Object.values(bin)];
    JSON.stringify(exports, (_key, value: unknown) => { if (typeof value === 'string') targets.push(value); return value; });
    expect(targets.length).toBeGreaterThan(8);
    expect(targets.filter((t) => !existsSync(join(installed, t)))).toEqual([]);
  });

  it('brings the packages that it imports', () => {
    const wanted = Object.keys((JSON.parse(readFileSync(join(root, 'package.json'), 'utf8')) as { dependencies: object }).dependencies);
    const there = readdirSync(join(project, 'node_modules'), { recursive: true, encoding: 'utf8' }).map((p) => p.replaceAll('\\', '/'));
    expect(wanted.filter((name) => !there.includes(`${name}/package.json`))).toEqual([]);
    expect(there.filter((p) => /^(vitest|typescript|assemblyscript|esbuild)\//.test(p))).toEqual([]);
  });

  it('runs as `npx volary`', () => {
    const { version } = JSON.parse(readFileSync(join(root, 'package.json'), 'utf8')) as { version: string };
    expect(runNpm(npm!, ['exec', '--', 'volary', '--version'], project)).toEqual({ status: 0, out: `${version}\n`, err: '' });
  });

  const options: ts.CompilerOptions = {
    strict: true, noEmit: true, skipLibCheck: false, target: ts.ScriptTarget.ES2022, module: ts.ModuleKind.NodeNext, moduleResolution: ts.ModuleResolutionKind.NodeNext,
    lib: ['lib.es2023.d.ts', 'lib.dom.d.ts', 'lib.dom.iterable.d.ts'], types: ['node'], typeRoots: [join(root, 'node_modules', '@types')],
  };

  it('has types that a strict program accepts', () => {
    const program = join(project, 'consumer.ts');
    writeFileSync(program, readFileSync(join(root, 'test', 'pack', 'consumer.ts')));
    const found = ts.getPreEmitDiagnostics(ts.createProgram([program], options));
    expect(found.map((d) => `${d.file?.fileName ?? ''}: ${ts.flattenDiagnosticMessageText(d.messageText, '\n')}`)).toEqual([]);
  }, 300_000);

  it.each([['volary', [], 'node'], ['volary', ['browser'], 'browser'], ['volary/browser', [], 'browser']] as const)('leads %s to the types of its build (%j)', (name, conditions, build) => {
    const { resolvedModule } = ts.resolveModuleName(name, join(project, 'consumer.mts'), { ...options, customConditions: [...conditions] }, ts.sys, undefined, undefined, ts.ModuleKind.ESNext);
    expect(resolvedModule?.resolvedFileName.replaceAll('\\', '/')).toMatch(new RegExp(`/volary/dist/${build}/index\\.d\\.ts$`));
  });

  it('attributes a simulated scene from a program of its own', () => {
    const text = ts.transpileModule(readFileSync(join(root, 'test', 'pack', 'consumer.ts'), 'utf8'), { compilerOptions: { target: ts.ScriptTarget.ES2022, module: ts.ModuleKind.ESNext } }).outputText;
    writeFileSync(join(project, 'consumer.js'), text);
    const run = spawnSync(process.execPath, ['consumer.js'], { cwd: project, encoding: 'utf8' });
    expect([run.status, run.stderr]).toEqual([0, '']);
    const told = JSON.parse(run.stdout);
    expect(told.truth).toBeGreaterThan(12);
    // An easy scene; the value itself is the accuracy bench's business.
    expect(told.f1).toBeGreaterThan(0.8);
    expect(['red', 'blue', 'green']).toContain(told.first);
    expect(told).toMatchObject({ code: 'not-fit', header: expect.stringMatching(/^call_id,bird,onset_s,/) });
    expect(told.kernels).toBeGreaterThan(20);
  });
});
