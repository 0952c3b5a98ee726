/** A running progress line. */
export interface Progress {
  update(done: number): void;
  /** Removes the line from the screen for a moment, so that another line can be written. */
  clear(): void;
  end(): void;
}

const SHOW_AFTER_MS = 2000;
const SCREEN_EVERY_MS = 200;
const LOG_EVERY_MS = 5000;

/** Starts a progress line on standard error; nothing is shown in the first 2 s, nor more often than a person can read. */
export function startProgress(label: string, total: number, unit: string): Progress {
  const stream = process.stderr;
  const isScreen = stream.isTTY === true;
  const startMs = performance.now();
  let lastMs = -Infinity;
  let isShown = false;
  let isEnded = false;
  const clear = (): void => {
    if (isShown && isScreen) stream.write('\r\u001b[K');
    isShown = false;
  };
  return {
    update(done) {
      const nowMs = performance.now();
      if (isEnded || nowMs - startMs < SHOW_AFTER_MS || nowMs - lastMs < (isScreen ? SCREEN_EVERY_MS : LOG_EVERY_MS)) return;
      lastMs = nowMs;
      const line = formatProgress(label, done, total, (nowMs - startMs) / 1000, unit);
      stream.write(isScreen ? `\r${line.slice(0, Math.max(20, (stream.columns ?? 80) - 1))}\u001b[K` : `${line}\n`);
      isShown = true;
    },
    clear,
    end() { clear(); isEnded = true; },
  };
}

/** One line: label, share, speed, time left. */
export function formatProgress(label: string, done: number, total: number, elapsedSec: number, unit: string): string {
  const share = total > 0 ? Math.min(1, Math.max(0, done / total)) : 0;
  const rate = elapsedSec > 0 ? done / elapsedSec : 0;
  const speed = unit === 'audio_s' ? `${formatRate(rate)}x real time` : `${formatRate(rate)}${unit ? ` ${unit}` : ''}/s`;
  const left = rate > 0 && total > 0 ? `${formatDuration(Math.max(0, total - done) / rate)} left` : 'time left unknown';
  return `${label} ${Math.floor(share * 100)} %, ${speed}, ${left}`;
}

/** '3 s', '2 min 5 s', '1 h 3 min', '2 d 4 h'. */
export function formatDuration(durationSec: number): string {
  const s = Math.ceil(durationSec);
  if (s < 60) return `${s} s`;
  if (s < 3600) return `${Math.floor(s / 60)} min ${s % 60} s`;
  if (s < 86400) return `${Math.floor(s / 3600)} h ${Math.floor((s % 3600) / 60)} min`;
  return `${Math.floor(s / 86400)} d ${Math.floor((s % 86400) / 3600)} h`;
}

function formatRate(rate: number): string {
  return rate >= 100 ? String(Math.round(rate)) : rate.toPrecision(2);
}
