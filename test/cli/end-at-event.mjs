// Loaded before the program (node --import): ends it by SIGKILL at the n-th thing it does, END_AT=n, so that a test kills at the same moments on slow and
// fast machines. Counted are jobs handed to workers and every step of writing files; a write that is hit leaves half of its bytes.
// COUNT_FILE is told how much was counted. ROOM_FOR=n: instead, the disk has room for n files; the next one fails with ENOSPC, while it is written or, with
// LATE=1, when it is written through to the disk.
import fs from 'node:fs';
import { syncBuiltinESMExports } from 'node:module';
import { isMainThread, Worker } from 'node:worker_threads';

const endAt = Number(process.env.END_AT ?? Infinity);
let count = 0;
let room = Number(process.env.ROOM_FOR ?? Infinity);

function failFull() {
  throw Object.assign(new Error('ENOSPC: no space left on device, write'), { code: 'ENOSPC', errno: -28, syscall: 'write' });
}

function tell(atEnd) {
  if (++count !== endAt) return;
  atEnd?.();
  process.kill(process.pid, 'SIGKILL');
}

function wrapWrites(handle) {
  const { writeFile, sync } = handle;
  const isFull = room-- <= 0;
  handle.writeFile = async (data) => {
    if (isFull && !process.env.LATE) {
      fs.writeSync(handle.fd, Buffer.from(data).subarray(0, data.length >> 1));
      failFull();
    }
    tell(() => fs.writeSync(handle.fd, Buffer.from(data).subarray(0, data.length >> 1)));
    return writeFile.call(handle, data);
  };
  handle.sync = async () => {
    tell();
    if (isFull) failFull();
    return sync.call(handle);
  };
  return handle;
}

if (isMainThread) {
  const { open } = fs.promises;
  fs.promises.open = async (path, flags, mode) => {
    if (!/^[wa]/.test(String(flags))) return open(path, flags, mode);
    tell();
    return wrapWrites(await open(path, flags, mode));
  };
  for (const name of ['rename', 'unlink', 'mkdir', 'rm']) {
    const work = fs.promises[name];
    fs.promises[name] = async (...args) => {
      tell();
      const result = await work(...args);
      tell();
      return result;
    };
  }
  syncBuiltinESMExports();
  const { postMessage } = Worker.prototype;
  Worker.prototype.postMessage = function post(...args) { tell(); return postMessage.apply(this, args); };
  if (process.env.COUNT_FILE) process.on('exit', () => fs.writeFileSync(process.env.COUNT_FILE, String(count)));
}
