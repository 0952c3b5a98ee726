"""The kernels alone, from Python with the package wasmtime: python3 host.py kernels.wasm

Prints the strongest frequency of two tracks and its power; host.mjs does the same, and README.md describes the contract.
"""
import math
import struct
import sys

from wasmtime import Engine, Func, FuncType, Instance, Limits, Memory, MemoryType, Module, Store, ValType

RATE, FFT, HOP, FRAMES, TRACKS, SPECTRA = 32000, 512, 128, 4096, 2, 20
BINS = FFT // 2 + 1

# 1. The memory belongs to the host, and does not grow here. `abort` is only called by a build with assertions.
engine = Engine()
store = Store(engine)
memory = Memory(store, MemoryType(Limits(64, 64)))


def abort(*_):
    raise RuntimeError("a kernel stopped")


module = Module.from_file(engine, sys.argv[1])
known = {"memory": memory, "abort": Func(store, FuncType([ValType.i32()] * 4, []), abort)}
exports = Instance(store, module, [known[i.name] for i in module.imports]).exports(store)


def call(name, *values):
    return exports[name](store, *values)


if call("abiVersion") != 8:
    sys.exit("this host is for kernels of version 8")

# 2. All bytes from heapStart() on are the host's to give out; 16-aligned, as the heads in assembly/ ask.
top = call("heapStart")


def alloc(size):
    global top
    ptr = (top + 15) // 16 * 16
    top = ptr + size
    return ptr


# 3. Sound lies in lanes: four tracks side by side in a vector per frame, lanes without a track are zero. A tone of 3 kHz, 20 dB softer on the second track.
tone = [0.5 * math.sin(2 * math.pi * 3000 * i / RATE) for i in range(FRAMES)]
lanes = alloc(16 * FRAMES)
memory.write(store, struct.pack(f"<{4 * FRAMES}f", *(v for x in tone for v in (x, 0.1 * x, 0, 0))), lanes)

# 4. A window and the tables of the transform are made once.
window = alloc(4 * FFT)
call("hannWindow", window, FFT, 0, 1.0)
table = alloc(call("fftTableBytes", FFT))
call("fftPrepare", FFT, table)

# 5. Spectra and powers, |X|^2 over the window's energy: power[track][spectrum][bin]. The last four pointers are for sums over bands; 0 leaves these out.
scratch = alloc(call("stftPowerScratchBytes", FFT, TRACKS))
spectra = alloc(SPECTRA * BINS * -(-TRACKS // 4) * 32)
power = alloc(4 * TRACKS * SPECTRA * BINS)
scale = 1 / call("sumWindowSquares", window, FFT)
call("stftPower", lanes, 16 * FRAMES, TRACKS, HOP, SPECTRA, FFT, window, table, scratch, BINS, spectra, scale, BINS, power, 0, 0, 0, 0)

for track in range(TRACKS):
    start = power + 4 * (track * SPECTRA + 10) * BINS
    row = struct.unpack(f"<{BINS}f", memory.read(store, start, start + 4 * BINS))
    best = max(range(BINS), key=row.__getitem__)
    print(f"track {track + 1}: {best * RATE / FFT:.1f} Hz, {10 * math.log10(row[best]):.2f} dB")
