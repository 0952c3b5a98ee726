// Entry of the package scripts on a fresh checkout: installs (once), builds (when stale), then runs the task.
import { existsSync, readFileSync, writeFileSync, mkdirSync } from 'node:fs';
import { createHash } from 'node:crypto';
import { join, dirname } from 'node:path';
import { fileURLToPath } from 'node:url';
import { spawnSync } from 'node:child_process';

const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
const [task = '', ...rest] = process.argv.slice(2);

function run(command, args, options = {}) {
  const r = spawnSync(command, args, { cwd: root, stdio: 'inherit', ...options });
  if (r.error) { process.stderr.write(`${task}: cannot start ${command}: ${r.error.message}\n`); process.exit(1); }
  if (r.status !== 0) process.exit(r.status ?? 1);
}

function install() {
  const lock = createHash('sha256').update(readFileSync(join(root, 'package-lock.json'))).digest('hex');
  const stamp = join(root, 'node_modules', '.volary-lock');
  if (existsSync(stamp) && readFileSync(stamp, 'utf8') === lock) return;
  process.stderr.write('installing packages (once)\n');
  const npm = process.env.npm_execpath;
  if (npm) run(process.execPath, [npm, 'ci', '--ignore-scripts', '--no-audit', '--no-fund', '--loglevel=error']);
  else run(process.platform === 'win32' ? 'npm.cmd' : 'npm', ['ci', '--ignore-scripts', '--no-audit', '--no-fund', '--loglevel=error'], { shell: process.platform === 'win32' });
  mkdirSync(join(root, 'node_modules'), { recursive: true });
  writeFileSync(stamp, lock);
}

if (!['test', 'demo', 'bench'].includes(task)) { process.stderr.write(`unknown task '${task}': expected test, demo or bench\n`); process.exit(2); }
install();
run(process.execPath, [join(root, 'src', 'build', 'build.mjs')]);
if (task === 'test') run(process.execPath, [join(root, 'node_modules', 'vitest', 'vitest.mjs'), 'run', ...rest]);
else if (task === 'demo') run(process.execPath, [join(root, 'dist', 'cli', 'demo.js'), ...rest]);
else run(process.execPath, [join(root, 'bench', 'run.mjs'), ...rest]);
