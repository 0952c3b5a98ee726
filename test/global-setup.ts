import { spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';

/** Tests that run the built program get a fresh one; a run of other folders alone does not wait for it. */
export function setup(): void {
  const filters = process.argv.slice(2).filter((a) => /^(\.\/)?test\b/.test(a));
  if (filters.length > 0 && !filters.some((f) => /test\/?$|cli|browser|api|invariance|review|pack|embedding/.test(f))) return;
  const build = fileURLToPath(new URL('../src/build/build.mjs', import.meta.url));
  const result = spawnSync(process.execPath, [build], { stdio: ['ignore', 'inherit', 'inherit'] });
  if (result.status !== 0) throw new Error('the build failed: the tests of the built program cannot run');
}
