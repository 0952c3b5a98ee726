/** The stretch of time that is on the screen, in CSS pixels. */
export class Viewport {
  startSec = 0;
  secPerPx = 1;
  widthPx = 1;
  private target?: { startSec: number; secPerPx: number };

  constructor(private readonly durationSec: number, private readonly leastSpanSec: number) {}

  get endSec(): number {
    return this.startSec + this.widthPx * this.secPerPx;
  }

  get spanSec(): number {
    return this.widthPx * this.secPerPx;
  }

  toPx(sec: number): number {
    return (sec - this.startSec) / this.secPerPx;
  }

  toSec(px: number): number {
    return this.startSec + px * this.secPerPx;
  }

  resize(widthPx: number): void {
    const span = this.spanSec;
    this.widthPx = Math.max(1, widthPx);
    this.set(this.startSec, span / this.widthPx);
  }

  /** Shows a stretch at once. */
  show(startSec: number, spanSec: number): void {
    this.target = undefined;
    this.set(startSec, spanSec / this.widthPx);
  }

  panBy(px: number): void {
    this.target = undefined;
    this.set(this.startSec + px * this.secPerPx, this.secPerPx);
  }

  zoomAt(px: number, factor: number): void {
    const sec = this.toSec(px);
    const secPerPx = this.limit(this.secPerPx * factor);
    this.target = undefined;
    this.set(sec - px * secPerPx, secPerPx);
  }

  /** Glides to a stretch, or jumps where the person wants no motion. */
  glideTo(startSec: number, spanSec = this.spanSec): void {
    const secPerPx = this.limit(spanSec / this.widthPx);
    const target = { startSec: this.clamp(startSec, secPerPx), secPerPx };
    if (matchMedia('(prefers-reduced-motion: reduce)').matches) this.set(target.startSec, target.secPerPx);
    else this.target = target;
  }

  /** Where the view is going. */
  get goal(): { startSec: number; secPerPx: number } {
    return this.target ?? this;
  }

  /** Moves on a frame; true while there is still way to go. */
  step(): boolean {
    const { target } = this;
    if (!target) return false;
    const ratio = target.secPerPx / this.secPerPx;
    const shift = target.startSec - this.startSec;
    if (Math.abs(Math.log(ratio)) < 0.004 && Math.abs(shift) < 0.6 * this.secPerPx) {
      this.target = undefined;
      this.set(target.startSec, target.secPerPx);
      return true;
    }
    this.set(this.startSec + shift * 0.28, this.secPerPx * ratio ** 0.28);
    this.target = target;
    return true;
  }

  private set(startSec: number, secPerPx: number): void {
    this.secPerPx = this.limit(secPerPx);
    this.startSec = this.clamp(startSec, this.secPerPx);
  }

  private limit(secPerPx: number): number {
    return Math.max(this.leastSpanSec / this.widthPx, Math.min(this.durationSec / this.widthPx, secPerPx));
  }

  private clamp(startSec: number, secPerPx: number): number {
    return Math.max(0, Math.min(this.durationSec - this.widthPx * secPerPx, startSec));
  }
}
