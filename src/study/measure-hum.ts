/** Mains hum of a track. */
export interface Hum {
  /** 50 or 60. */
  mainsHz: number;
  /** Power of the mains line and its next two multiples, dB relative to full scale. */
  levelDb: number;
  /** How far the strongest of these lines stands above its surroundings. */
  prominenceDb: number;
}

const MULTIPLES = [1, 2, 3];
/** Surroundings of a line, in Hz from it: outside the main lobe of a Hann window of 1 s, inside the distance to other lines. */
const AROUND_HZ = [-8, -6, -4, 4, 6, 8];

/** Collects seconds of sound and compares the power at the mains frequency and its multiples with that around them. */
export class HumMeter {
  private readonly lines = new Map<number, { line: number; around: number[] }>();
  private count = 0;

  constructor(private readonly sampleRateHz: number) {
    for (const mains of [50, 60]) {
      for (const m of MULTIPLES) if (mains * m + 8 < sampleRateHz / 2) this.lines.set(mains * m, { line: 0, around: AROUND_HZ.map(() => 0) });
    }
  }

  /** Adds one second of sound (the first `sampleRateHz` samples). */
  add(samples: Float32Array): void {
    const n = Math.round(this.sampleRateHz);
    if (samples.length < n) return;
    const windowed = new Float32Array(n);
    let mean = 0;
    for (let i = 0; i < n; i++) mean += samples[i] / n;
    for (let i = 0; i < n; i++) windowed[i] = (samples[i] - mean) * (0.5 - 0.5 * Math.cos((2 * Math.PI * i) / n));
    this.count++;
    for (const [freqHz, sums] of this.lines) {
      sums.line += measureLine(windowed, freqHz / this.sampleRateHz);
      AROUND_HZ.forEach((d, k) => { sums.around[k] += measureLine(windowed, (freqHz + d) / this.sampleRateHz); });
    }
  }

  /** The stronger of 50 and 60 Hz; undefined where nothing was added. */
  finish(): Hum | undefined {
    if (this.count === 0) return undefined;
    const hums = [50, 60].map((mainsHz): Hum => {
      let power = 0;
      let best = 0;
      for (const m of MULTIPLES) {
        const sums = this.lines.get(mainsHz * m);
        if (!sums) continue;
        power += sums.line / this.count;
        const sorted = [...sums.around].sort((a, b) => a - b);
        best = Math.max(best, sums.line / Math.max(1e-20, (sorted[2] + sorted[3]) / 2));
      }
      return { mainsHz, levelDb: 10 * Math.log10(Math.max(1e-20, power)), prominenceDb: 10 * Math.log10(Math.max(1e-20, best)) };
    });
    return hums[0].prominenceDb >= hums[1].prominenceDb ? hums[0] : hums[1];
  }
}

/**
 * Power of a sine of that frequency (cycles per sample) in Hann-windowed sound, mean square: Goertzel's recursion
 * (Goertzel 1958, Am. Math. Monthly 65, 34-35), scaled by the window's mean of 1/2.
 */
function measureLine(windowed: Float32Array, cyclesPerSample: number): number {
  const turn = 2 * Math.cos(2 * Math.PI * cyclesPerSample);
  let a = 0;
  let b = 0;
  for (let i = 0; i < windowed.length; i++) {
    const next = windowed[i] + turn * a - b;
    b = a;
    a = next;
  }
  const magnitude = Math.max(0, a * a + b * b - turn * a * b);
  const amplitude = (2 * Math.sqrt(magnitude)) / (windowed.length * 0.5);
  return (amplitude * amplitude) / 2;
}
