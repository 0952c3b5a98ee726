/** RIFF/WAVE bytes, 16-bit PCM, from planar samples in [-1, 1); with a 'bext' of that date, time and count where asked. */
export function makeWav(channels: ArrayLike<number>[], sampleRateHz: number, bext?: { date: string; time: string; samples: number }): Uint8Array {
  const frames = channels[0].length;
  const align = 2 * channels.length;
  const extra = bext ? 8 + 602 : 0;
  const bytes = new Uint8Array(44 + extra + frames * align);
  const view = new DataView(bytes.buffer);
  const text = (at: number, t: string): void => { for (let i = 0; i < t.length; i++) bytes[at + i] = t.charCodeAt(i); };
  text(0, 'RIFF');
  view.setUint32(4, bytes.length - 8, true);
  text(8, 'WAVEfmt ');
  view.setUint32(16, 16, true);
  view.setUint16(20, 1, true);
  view.setUint16(22, channels.length, true);
  view.setUint32(24, sampleRateHz, true);
  view.setUint32(28, sampleRateHz * align, true);
  view.setUint16(32, align, true);
  view.setUint16(34, 16, true);
  if (bext) {
    text(36, 'bext');
    view.setUint32(40, 602, true);
    text(44 + 320, bext.date);
    text(44 + 330, bext.time);
    view.setBigUint64(44 + 338, BigInt(bext.samples), true);
  }
  text(36 + extra, 'data');
  view.setUint32(40 + extra, frames * align, true);
  for (let i = 0, at = 44 + extra; i < frames; i++) {
    for (const c of channels) {
      view.setInt16(at, Math.max(-32768, Math.min(32767, Math.round(c[i] * 32768))), true);
      at += 2;
    }
  }
  return bytes;
}

/** Reproducible noise in [-size, size): a linear congruential generator with the constants of Numerical Recipes, 2nd ed., p. 284. */
export function makeNoise(frames: number, seed: number, size = 0.01): Float32Array {
  let state = seed >>> 0;
  return Float32Array.from({ length: frames }, () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return (state / 2 ** 31 - 1) * size;
  });
}
