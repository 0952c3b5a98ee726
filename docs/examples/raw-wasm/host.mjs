// The kernels alone, from a host that knows nothing but WebAssembly: node host.mjs kernels.wasm
// Prints the strongest frequency of two tracks and its power; host.py does the same in Python. README.md describes the contract.
import { readFile } from 'node:fs/promises';

const RATE = 32000;
const FFT = 512;
const HOP = 128;
const FRAMES = 4096;
const TRACKS = 2;
const SPECTRA = 20;
const BINS = FFT / 2 + 1;

// 1. The memory belongs to the host, and does not grow here. `abort` is only called by a build with assertions.
const memory = new WebAssembly.Memory({ initial: 64, maximum: 64 });
const wasm = await WebAssembly.compile(await readFile(process.argv[2]));
const { exports: kernels } = new WebAssembly.Instance(wasm, { env: { memory, abort: () => { throw new Error('a kernel stopped'); } } });
if (kernels.abiVersion() !== 8) throw new Error(`kernels of version ${kernels.abiVersion()}, this host is for 8`);

// 2. All bytes from heapStart() on are the host's to give out; 16-aligned, as the heads in assembly/ ask.
let top = kernels.heapStart();
const alloc = (bytes) => {
  const ptr = Math.ceil(top / 16) * 16;
  top = ptr + bytes;
  return ptr;
};

// 3. Sound lies in lanes: four tracks side by side in a vector per frame, lanes without a track are zero. A tone of 3 kHz, 20 dB softer on the second track.
const lanes = alloc(16 * FRAMES);
const samples = new Float32Array(memory.buffer, lanes, 4 * FRAMES);
for (let i = 0; i < FRAMES; i++) {
  samples[4 * i] = 0.5 * Math.sin((2 * Math.PI * 3000 * i) / RATE);
  samples[4 * i + 1] = 0.1 * samples[4 * i];
}

// 4. A window and the tables of the transform are made once.
const window = alloc(4 * FFT);
kernels.hannWindow(window, FFT, 0, 1);
const table = alloc(kernels.fftTableBytes(FFT));
kernels.fftPrepare(FFT, table);

// 5. Spectra and powers, |X|^2 over the window's energy: power[track][spectrum][bin]. The last four pointers are for sums over bands; 0 leaves these out.
const scratch = alloc(kernels.stftPowerScratchBytes(FFT, TRACKS));
const spectra = alloc(SPECTRA * BINS * Math.ceil(TRACKS / 4) * 32);
const power = alloc(4 * TRACKS * SPECTRA * BINS);
kernels.stftPower(lanes, 16 * FRAMES, TRACKS, HOP, SPECTRA, FFT, window, table, scratch, BINS, spectra, 1 / kernels.sumWindowSquares(window, FFT), BINS, power, 0, 0, 0, 0);

for (let track = 0; track < TRACKS; track++) {
  const row = new Float32Array(memory.buffer, power + 4 * (track * SPECTRA + 10) * BINS, BINS);
  const best = row.indexOf(Math.max(...row));
  console.log(`track ${track + 1}: ${(best * RATE / FFT).toFixed(1)} Hz, ${(10 * Math.log10(row[best])).toFixed(2)} dB`);
}
