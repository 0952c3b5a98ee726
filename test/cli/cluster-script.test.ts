import { spawnSync } from 'node:child_process';
import { chmodSync, existsSync, mkdirSync, readFileSync, realpathSync, rmSync, writeFileSync } from 'node:fs';
import { delimiter, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { newFolder } from './run-cli.js';

const script = fileURLToPath(new URL('../../docs/cluster/volary-array.sh', import.meta.url));
const folder = realpathSync(newFolder());
/** A name that must be quoted to survive. */
const study = join(folder, 'my $study;1.json');
const read = (name: string): string[] => readFileSync(join(folder, name), 'utf8').trim().split('\n');

function writeProgram(name: string, text: string): void {
  writeFileSync(join(folder, 'bin', name), text);
  chmodSync(join(folder, 'bin', name), 0o755);
}

function submit(args: string[], env: Record<string, string> = {}) {
  for (const name of ['submitted', 'ran']) rmSync(join(folder, name), { force: true });
  return spawnSync('bash', [script, ...args], { encoding: 'utf8', env: { ...process.env, PATH: `${join(folder, 'bin')}${delimiter}${process.env.PATH}`, FOLDER: folder, VOLARY: 'volary-stand-in', ...env } });
}

beforeAll(() => {
  mkdirSync(join(folder, 'bin'));
  writeFileSync(study, '{}');
  // Stands in for the scheduler: notes what it was given and runs it at once, each task of an array, with the variables that Slurm sets.
  writeProgram('sbatch', `#!/bin/bash
printf '%s\\n' "$*" >> "$FOLDER/submitted"
tasks=1
for a in "$@"; do
  case "$a" in
    --array=*) tasks=$(seq -s ' ' "$(echo "\${a#--array=}" | cut -d- -f1)" "$(echo "\${a#--array=}" | cut -d- -f2)");;
    --cpus-per-task=*) export SLURM_CPUS_PER_TASK="\${a#*=}";;
    --wrap=*) wrap="\${a#--wrap=}";;
  esac
done
for t in $tasks; do SLURM_ARRAY_TASK_ID=$t /bin/sh -c "$wrap" >/dev/null || exit 1; done
echo "$((100 + $(wc -l < "$FOLDER/submitted")));cluster"
`);
  writeProgram('volary-stand-in', '#!/bin/bash\nprintf "%s|" "$@" >> "$FOLDER/ran"; echo >> "$FOLDER/ran"\n');
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe.skipIf(process.platform === 'win32' || !existsSync('/bin/bash'))('the job script for Slurm, with a stand-in for sbatch (skipped without bash)', () => {
  it('submits plan, array and merge, each after the one before', () => {
    const r = submit([study, join(folder, 'out'), '3'], { CPUS: '2', SBATCH_PART: '--time=1:00:00 --partition=short' });
    expect(r.stderr).toBe('');
    expect(r.stdout).toBe('plan 101, parts 102, merge 103\n');
    const common = `attribute|${study}|--out|${join(folder, 'out')}|`;
    expect(read('ran')).toEqual([
      `${common}--workers|2|--plan|3|`, ...['1', '2', '3'].map((k) => `${common}--workers|2|--part|${k}|`), `${common}--merge|`,
    ]);
    const [plan, part, merge] = read('submitted');
    expect(plan).not.toContain('--dependency');
    expect(part).toMatch(/--dependency=afterok:101 --array=1-3 .*--time=1:00:00 --partition=short/);
    expect(merge).toContain('--dependency=afterok:102');
  });

  it('does single parts again when told, and says how it is used', () => {
    expect(submit([study, join(folder, 'out'), '9'], { ARRAY: '4-5' }).status).toBe(0);
    expect(read('ran').filter((l) => l.includes('--part'))).toHaveLength(2);
    const wrong = submit([study]);
    expect(wrong.status).toBe(2);
    expect(wrong.stderr).toMatch(/^usage: /);
  });
});
