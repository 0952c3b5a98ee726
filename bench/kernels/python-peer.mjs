// A Python process with scipy and FFTW, driven line by line (peers.py). Absent where Python or scipy is.
import { spawn } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';

// Libraries that start threads of their own are held to one. Large arrays stay with the process: having them mapped anew each time makes numpy up to
// three times slower, which says nothing about its transforms.
const SETTINGS = {
  OMP_NUM_THREADS: '1', OPENBLAS_NUM_THREADS: '1', MKL_NUM_THREADS: '1', NUMEXPR_NUM_THREADS: '1',
  MALLOC_MMAP_THRESHOLD_: '1073741824', MALLOC_TRIM_THRESHOLD_: '1073741824', MALLOC_TOP_PAD_: '67108864',
};

/** @returns the peer, or undefined with a reason told to `tell` */
export async function startPython(tell) {
  for (const command of process.platform === 'win32' ? ['python', 'py'] : ['python3', 'python']) {
    const peer = new PythonPeer(command);
    try {
      peer.about = await peer.ask({ op: 'about' });
      return peer;
    } catch (error) {
      peer.close();
      tell(`${command}: ${error.message}`);
    }
  }
  return undefined;
}

class PythonPeer {
  constructor(command) {
    this.folder = mkdtempSync(join(tmpdir(), 'kernels-'));
    this.waiting = [];
    this.errors = '';
    this.child = spawn(command, [join(dirname(fileURLToPath(import.meta.url)), 'peers.py')], { env: { ...process.env, ...SETTINGS } });
    this.child.stderr.on('data', (text) => { this.errors += text; });
    this.child.stdin.on('error', () => {});
    this.child.on('error', (error) => this.fail(error));
    createInterface({ input: this.child.stdout }).on('line', (line) => this.waiting.shift()?.resolve(JSON.parse(line))).on('close', () => this.fail(new Error(this.errors.trim().split('\n').pop() || 'ended')));
  }

  fail(error) {
    this.ended = error;
    for (const { reject } of this.waiting.splice(0)) reject(error);
  }

  ask(job) {
    if (this.ended) return Promise.reject(this.ended);
    return new Promise((resolve, reject) => {
      this.waiting.push({ resolve, reject });
      this.child.stdin.write(`${JSON.stringify(job)}\n`);
    });
  }

  /** Prepares one case on `input` (a typed array); returns what it gave for it, as one Float32Array. */
  async prepare(name, input, settings) {
    const paths = { input: join(this.folder, 'input'), output: join(this.folder, 'output') };
    writeFileSync(paths.input, input);
    await this.ask({ op: 'prepare', case: name, ...paths, ...settings });
    const bytes = readFileSync(paths.output);
    return new Float32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length));
  }

  /** A prepared case as a contender. */
  contender(name) {
    return { name, run: async (reps) => (await this.ask({ op: 'run', case: name, reps })).seconds };
  }

  close() {
    this.child.stdin.end();
    this.child.kill();
    rmSync(this.folder, { recursive: true, force: true });
  }
}
