"""Peers of the kernels that live in Python: scipy and FFTW (single precision, by ctypes). One thread, float32.

Reads one JSON object per line, answers with one: {"op": "prepare", "case", "input", "output", ...} reads float32 or bytes from a file, writes its
result as float32 to another; {"op": "run", "reps"} repeats the prepared work and answers with seconds. Started by python-peer.mjs.
"""
import ctypes
import ctypes.util
import json
import sys
import time

import numpy as np
import scipy
import scipy.fft
import scipy.signal


def load_fftw():
    name = ctypes.util.find_library("fftw3f")
    if name is None:
        return None
    lib = ctypes.CDLL(name)
    lib.fftwf_plan_many_dft_r2c.restype = ctypes.c_void_p
    lib.fftwf_execute.argtypes = [ctypes.c_void_p]
    return lib


FFTW = load_fftw()


def aligned(count, dtype):
    """Array of `count` zeros that begins at a multiple of 64 bytes."""
    size = np.dtype(dtype).itemsize
    raw = np.zeros(count * size + 64, np.uint8)
    start = -raw.ctypes.data % 64
    return raw[start:start + count * size].view(dtype)


def prepare_scipy_fft(job):
    n = job["n"]
    x = np.fromfile(job["input"], np.float32).reshape(-1, n)
    return lambda: scipy.fft.rfft(x, axis=-1, workers=1)


def prepare_fftw(job):
    """Plan over all rows at once, FFTW_MEASURE; rows and spectra lie one behind the other."""
    n, bins = job["n"], job["n"] // 2 + 1
    data = np.fromfile(job["input"], np.float32)
    rows = data.size // n
    x, out = aligned(data.size, np.float32), aligned(rows * bins, np.complex64)
    size = (ctypes.c_int * 1)(n)
    measure, keep_input = 0, 1 << 4
    plan = FFTW.fftwf_plan_many_dft_r2c(
        1, size, rows, x.ctypes.data_as(ctypes.c_void_p), None, 1, n, out.ctypes.data_as(ctypes.c_void_p), None, 1, bins, measure | keep_input)
    x[:] = data

    def run(kept=x):
        # The plan knows addresses only: both arrays have to stay.
        FFTW.fftwf_execute(plan)
        return out
    return run


def prepare_first_pass(job):
    """Bytes to float32, both sections, mean square per hop, and the quantile over sparse spectra: as the survey does."""
    tracks, hop, slot_hops, n, every = job["tracks"], job["hop"], job["slotHops"], job["n"], job["every"]
    raw = np.fromfile(job["input"], np.int16).reshape(-1, tracks)
    h, l = job["filter"][:3], job["filter"][3:]
    sos = np.array([[h[0], -2 * h[0], h[0], 1, h[1], h[2]], [l[0], 2 * l[0], l[0], 1, l[1], l[2]]], np.float32)
    window = np.asarray(scipy.signal.get_window("hann", n), np.float32)
    scale = np.float32(1 / np.sum(window.astype(np.float64) ** 2))
    slot = slot_hops * hop
    lead = (slot - n) // 2

    def run():
        x = np.ascontiguousarray(raw.T).astype(np.float32)
        x *= np.float32(1 / 32768)
        y = scipy.signal.sosfilt(sos, x, axis=-1)
        energy = np.mean(np.square(y).reshape(tracks, -1, hop), axis=-1)[:, slot_hops:]
        rows = x.reshape(tracks, -1, slot)[:, 1::every, lead:lead + n] * window
        spectra = scipy.fft.rfft(rows, axis=-1, workers=1)
        power = (spectra.real ** 2 + spectra.imag ** 2) * scale
        rank = job["rank"]
        floor = np.partition(power, rank, axis=1)[:, rank]
        return energy, floor
    return run


def prepare_phase(job):
    """Windows, transforms, whitening, summed cross-spectra of all pairs, correlation over lags: as correlateRegion does."""
    tracks, n, size, hop, low, high, most = (job[key] for key in ("tracks", "n", "window", "hop", "low", "high", "most"))
    x = np.fromfile(job["input"], np.float32).reshape(tracks, -1)
    window = np.asarray(scipy.signal.get_window("hann", size), np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(x, size, axis=-1)[:, ::hop]
    i, j = np.triu_indices(tracks, 1)
    factor = np.full(high - low, 2, np.float32)

    def run():
        spectra = scipy.fft.rfft(frames * window, n, axis=-1, workers=1)[:, :, low:high]
        spectra /= np.abs(spectra)
        cross = np.sum(np.conj(spectra[i]) * spectra[j], axis=1)
        energy = np.sum(np.sum(spectra.real ** 2 + spectra.imag ** 2, axis=1) * factor, axis=-1)
        full = np.zeros((len(i), n // 2 + 1), np.complex64)
        full[:, low:high] = cross
        r = scipy.fft.irfft(full, n, axis=-1, workers=1)
        r *= (np.float32(n) / np.sqrt(energy[i] * energy[j]))[:, None]
        return np.concatenate([r[:, n - most:], r[:, :most + 1]], axis=-1)
    return run


def prepare_separation(job):
    """Short-time spectra of all tracks and back, overlapped and added with the window."""
    tracks, n, hop = job["tracks"], job["n"], job["hop"]
    x = np.fromfile(job["input"], np.float32).reshape(tracks, -1)
    window = np.asarray(scipy.signal.get_window("hann", n), np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(x, n, axis=-1)[:, ::hop]
    count, parts = frames.shape[1], n // hop
    weight = np.zeros(x.shape[1], np.float32)
    for s in range(count):
        weight[s * hop:s * hop + n] += window ** 2
    known = weight >= 1e-6 * weight.max()
    inverse = np.where(known, 1 / np.where(known, weight, 1), 0).astype(np.float32)

    def run():
        spectra = scipy.fft.rfft(frames * window, axis=-1, workers=1)
        back = scipy.fft.irfft(spectra, n, axis=-1, workers=1)
        back *= window
        out = np.zeros((tracks, count + parts - 1, hop), np.float32)
        for p in range(parts):
            out[:, p:p + count] += back[:, :, p * hop:(p + 1) * hop]
        return out.reshape(tracks, -1) * inverse[:out.shape[1] * hop]
    return run


CASES = {"scipy-fft": prepare_scipy_fft, "fftw": prepare_fftw, "first-pass": prepare_first_pass, "phase": prepare_phase, "separation": prepare_separation}


def main():
    prepared = {}
    for line in sys.stdin:
        job = json.loads(line)
        if job["op"] == "about":
            answer = {"python": sys.version.split()[0], "numpy": np.__version__, "scipy": scipy.__version__, "fftw": FFTW is not None}
        elif job["op"] == "prepare":
            work = prepared[job["case"]] = CASES[job["case"]](job)
            result = work()
            parts = result if isinstance(result, tuple) else (result,)
            np.concatenate([np.ascontiguousarray(p).view(np.float32).ravel() for p in parts]).tofile(job["output"])
            answer = {"values": sum(p.size for p in parts), "kinds": [str(p.dtype) for p in parts]}
        else:
            work = prepared[job["case"]]
            start = time.perf_counter()
            for _ in range(job["reps"]):
                work()
            answer = {"seconds": time.perf_counter() - start}
        print(json.dumps(answer), flush=True)


main()
