const SOUND_ENDS = /\.(wav|wave|bwf|rf64|bw64|w64|flac|mp3|m4a|aac|ogg|opus|aif|aiff|aifc|caf|wma|wv|ape|au|snd|raw|pcm)$/i;

/** Bytes that `startsLikeSound` looks at. */
export const HEAD_BYTES = 16;

/** Whether the extension of a file name promises sound, of a format that can be read or not. */
export function promisesSound(path: string): boolean {
  return SOUND_ENDS.test(path);
}

/** Whether the first bytes are those of a sound file that can be read, whatever its name. */
export function startsLikeSound(head: Uint8Array): boolean {
  const text = String.fromCharCode(...head.subarray(0, HEAD_BYTES));
  return /^(RIFF|RF64|BW64)[^]{4}WAVE/.test(text) || text.startsWith('fLaC') || text.startsWith('riff\x2e\x91\xcf\x11');
}
