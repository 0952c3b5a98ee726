import type { Theme } from './theme.js';
import type { CallEvidence } from './worker-messages.js';

const RANGE_DB = 50;

/** Mean spectra of a call on its own track (filled) and on a rival's (line), same scale, gains taken out. */
export function drawSpectra(canvas: HTMLCanvasElement, evidence: CallEvidence, rival: number | undefined, theme: Theme): void {
  const [width, height, foot] = [284, 96, 16];
  const ratio = Math.min(2, devicePixelRatio || 1);
  canvas.width = width * ratio;
  canvas.height = height * ratio;
  const context = canvas.getContext('2d')!;
  context.scale(ratio, ratio);
  const own = evidence.tracks[evidence.own].spectrumDb;
  if (!own.length) return;
  const top = Math.max(...own) + 3;
  const binCount = own.length;
  const lastHz = evidence.firstHz + binCount * evidence.binHz;
  const toX = (hz: number): number => (hz / lastHz) * width;
  const toY = (db: number): number => Math.min(height - foot, ((top - db) / RANGE_DB) * (height - foot));
  context.font = '10px system-ui, sans-serif';
  for (let khz = 2; khz * 1000 < lastHz; khz += 2) {
    context.fillStyle = theme.rule;
    context.fillRect(toX(khz * 1000), 0, 1, height - foot);
    context.fillStyle = theme.soft;
    context.fillText(`${khz} kHz`, toX(khz * 1000) - 12, height - 4);
  }
  const trace = (spectrum: Float32Array): void => {
    context.beginPath();
    spectrum.forEach((db, b) => context.lineTo(toX(evidence.firstHz + b * evidence.binHz), toY(db)));
  };
  trace(own);
  context.lineTo(width, height - foot);
  context.lineTo(toX(evidence.firstHz), height - foot);
  context.globalAlpha = 0.3;
  context.fillStyle = theme.call;
  context.fill();
  context.globalAlpha = 1;
  trace(own);
  context.strokeStyle = theme.call;
  context.lineWidth = 1.2;
  context.stroke();
  if (rival === undefined || !evidence.tracks[rival].spectrumDb.length) return;
  trace(evidence.tracks[rival].spectrumDb);
  context.strokeStyle = theme.noTag;
  context.stroke();
}
