import { randomBytes } from 'node:crypto';
import { spawn, spawnSync, type ChildProcess } from 'node:child_process';
import { chmodSync, mkdirSync, readdirSync, readFileSync, realpathSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:net';
import { cpus, hostname } from 'node:os';
import { delimiter, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { setTimeout as wait } from 'node:timers/promises';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { MAIN, newFolder } from './run-cli.js';
import { attributeUntil, readResult, writeShortStudy } from './stopped-study.js';

const script = fileURLToPath(new URL('../../docs/cluster/volary-array.sh', import.meta.url));
const folder = realpathSync(newFolder());
const config = join(folder, 'slurm.conf');
// Debian keeps daemons where not every user's path leads.
const env = { ...process.env, PATH: `${process.env.PATH}${delimiter}/usr/sbin${delimiter}/sbin`, SLURM_CONF: config };
const daemons: ChildProcess[] = [];

const missing = ['munged', 'slurmctld', 'slurmd', 'sbatch', 'squeue'].filter((name) => spawnSync(name, ['--version'], { env }).error);
const reason = process.platform !== 'linux' || process.getuid?.() !== 0 ? 'a controller and a node ask for root on Linux' : missing.length > 0 ? `not installed: ${missing.join(', ')}` : '';

/** Two ports that nobody listens at now. */
async function findPorts(): Promise<number[]> {
  const servers = [createServer(), createServer()];
  const ports = await Promise.all(servers.map((s) => new Promise<number>((resolve) => { s.listen(0, '127.0.0.1', () => resolve((s.address() as { port: number }).port)); })));
  for (const s of servers) s.close();
  return ports;
}

/** One machine as controller and node: loopback only, all state in the test's folder, no control groups. */
async function writeConfig(): Promise<void> {
  const [controlPort, nodePort] = await findPorts();
  const node = hostname().split('.')[0];
  for (const name of ['state', 'spool']) mkdirSync(join(folder, name));
  // The socket must be open to all.
  chmodSync(folder, 0o755);
  writeFileSync(join(folder, 'munge.key'), randomBytes(128), { mode: 0o600 });
  writeFileSync(config, [
    'ClusterName=trial', `SlurmctldHost=${node}(127.0.0.1)`, 'SlurmUser=root', 'SlurmdUser=root', 'AuthType=auth/munge', `AuthInfo=socket=${join(folder, 'munge.socket')}`,
    'MpiDefault=none', 'ProctrackType=proctrack/linuxproc', 'TaskPlugin=task/none', 'SwitchType=switch/none', 'CommunicationParameters=NoCtldInAddrAny,NoInAddrAny',
    `StateSaveLocation=${join(folder, 'state')}`, `SlurmdSpoolDir=${join(folder, 'spool')}`, `SlurmctldPidFile=${join(folder, 'control.pid')}`, `SlurmdPidFile=${join(folder, 'node.pid')}`,
    `SlurmctldPort=${controlPort}`, `SlurmdPort=${nodePort}`, 'SelectType=select/cons_tres', 'SelectTypeParameters=CR_Core', 'SchedulerParameters=sched_interval=2,bf_interval=2',
    'ReturnToService=2', 'JobAcctGatherType=jobacct_gather/none', 'AccountingStorageType=accounting_storage/none', 'SlurmdParameters=config_overrides',
    `NodeName=${node} NodeAddr=127.0.0.1 CPUs=${cpus().length} RealMemory=8000 State=UNKNOWN`, 'PartitionName=main Nodes=ALL Default=YES MaxTime=INFINITE State=UP', '',
  ].join('\n'));
}

function start(name: string, args: string[]): ChildProcess {
  const child = spawn(name, args, { env, stdio: 'ignore' });
  daemons.push(child);
  return child;
}

const ask = (name: string, ...args: string[]): string => spawnSync(name, args, { env, encoding: 'utf8' }).stdout.trim();

async function until(isSo: () => boolean, mostSec: number, what: () => string): Promise<void> {
  const end = Date.now() + 1000 * mostSec;
  while (!isSo()) {
    if (Date.now() > end) throw new Error(`waited ${mostSec} s: ${what()}`);
    await wait(250);
  }
}

beforeAll(async () => {
  if (reason) return;
  await writeConfig();
  start('munged', ['--foreground', ...['key', 'pid', 'log', 'seed'].map((n) => `--${n}-file=${join(folder, `munge.${n}`)}`), `--socket=${join(folder, 'munge.socket')}`]);
  await until(() => readdirSync(folder).includes('munge.socket'), 60, () => 'munged opened no socket');
  start('slurmctld', ['-D', '-f', config, '-L', join(folder, 'control.log')]);
  start('slurmd', ['-D', '-f', config, '-L', join(folder, 'node.log')]);
  await until(() => ask('sinfo', '-h', '-o', '%T') === 'idle', 100, () => `the node is not idle: ${ask('sinfo', '-h', '-o', '%T %E')}`);
});

afterAll(async () => {
  for (const daemon of daemons.reverse()) {
    if (daemon.exitCode !== null || daemon.signalCode !== null) continue;
    const ended = new Promise((resolve) => { daemon.on('exit', resolve); });
    daemon.kill('SIGTERM');
    await ended;
  }
  rmSync(folder, { recursive: true, force: true, maxRetries: 5 });
});

describe('the job script for Slurm, with a controller and a node on this machine', () => {
  it('runs plan, a real array of parts and the merge to the bytes of an undivided run', async (context) => {
    if (reason) return context.skip(`no Slurm here: ${reason}`);
    const study = writeShortStudy(folder);
    const whole = join(folder, 'whole'), out = join(folder, 'divided');
    expect((await attributeUntil(study, whole, ['--workers', '1'])).status).toBe(0);
    const submitted = spawnSync('bash', [script, study, out, '3'], { env: { ...env, VOLARY: `${process.execPath} ${MAIN}`, CPUS: '1' }, encoding: 'utf8' });
    expect(submitted.stderr).toBe('');
    const jobs = /^plan (\d+), parts (\d+), merge (\d+)\n$/.exec(submitted.stdout)!;
    const logs = (): string => readdirSync(out).filter((n) => n.endsWith('.log')).map((n) => `${n}: ${readFileSync(join(out, n), 'utf8')}`).join('\n');
    const queue = (): string => ask('squeue', '-h', '-o', '%i %T %r');
    await until(() => queue() === '' || /DependencyNeverSatisfied/.test(queue()), 240, () => `${queue()}\n${logs()}`);
    expect(queue(), logs()).toBe('');
    const names = readdirSync(out);
    for (const k of [1, 2, 3]) expect(readFileSync(join(out, `volary-part-${jobs[2]}_${k}.log`), 'utf8')).toContain(`part ${k} of 3 is done`);
    const isLog = (name: string): boolean => /^volary-(plan|part|merge)-[\d_]+\.log$/.test(name);
    expect(names.filter(isLog)).toHaveLength(5);
    expect(Object.fromEntries(Object.entries(readResult(out)).filter(([name]) => !isLog(name)))).toEqual(readResult(whole));
  }, 400_000);
});
