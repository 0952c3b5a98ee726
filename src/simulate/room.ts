import { computeAirAbsorption, computeSoundSpeed } from './air.js';
import { DelayKernels } from './delay-kernels.js';
import { applyBiquad, designHighPass, designLowPass, designLowShelf, dbToGain, powerToDb } from './filters.js';
import { hashLabel, mixBits, Random } from './random.js';
import type { FullRoom } from './scene.js';
import { dot, unit, subtract } from './vector.js';
import type { Vec3 } from './vector.js';

/** Samples before time zero of an impulse response: room for the first half of a delay kernel. */
export const RESPONSE_LEAD_FRAMES = 32;
const IMAGE_BUDGET = 600;
const TAIL_BANK = 40;
/** Impulse responses end where the energy still to come lies this far below that of the direct sound of a source at 3 cm. */
const TAIL_RANGE_DB = 72;
const NEAREST_M = 0.015;

/** A mouth, or anything that radiates: where it is, which way it points. */
export interface Emitter {
  positionM: Vec3;
  /** Unit vector of the beak. */
  heading: Vec3;
  /** Loss at 8 kHz straight behind relative to straight ahead, in dB; a tenth of it at all frequencies. */
  directivityDb: number;
}

/** A microphone on a back. */
export interface Receiver {
  positionM: Vec3;
  /** Unit vector out of the back. */
  up: Vec3;
  /** Loss at 8 kHz for sound that arrives through the body. */
  shadowDb: number;
  /** Extra delay of this receiver's chain. */
  delaySec: number;
}

export interface PathOptions {
  /** Body conduction: low shelf on the direct path. */
  liftDb?: number;
  liftHz?: number;
  /** The wearer itself: no body shadow, no obstacle. */
  own?: boolean;
  /** Loss on the direct path by something in the way, in dB (1/3 at low frequencies). */
  obstacleDb?: number;
}

interface ImageSource { cell: [number, number, number]; order: number; gain: number; jitter: Vec3; parity: [number, number, number] }

/** A shoebox room: image sources to a radius, then a diffuse tail whose power follows from volume and reverberation time. */
export class Room {
  readonly soundSpeed: number;
  readonly rt60Sec: number;
  readonly responseFrames: number;
  readonly leadFrames = RESPONSE_LEAD_FRAMES;
  private readonly kernels: DelayKernels;
  private readonly images: ImageSource[] = [];
  private readonly radiusM: number;
  private readonly lossPerReflectionDb: number;
  private readonly tails: Float64Array[] = [];
  private readonly tailSeed: number;

  constructor(readonly room: FullRoom, readonly sampleRateHz: number, random: Random) {
    const [x, y, z] = room.sizeM;
    const volume = x * y * z, surface = 2 * (x * y + y * z + z * x);
    this.soundSpeed = computeSoundSpeed(room.temperatureC);
    const reflections = resolveReflections(room, volume, surface, this.soundSpeed);
    this.rt60Sec = reflections.rt60Sec;
    const reflectionsPerSec = (this.soundSpeed * surface) / (4 * volume);
    this.lossPerReflectionDb = (60 / (this.rt60Sec * room.highRatio) - 60 / this.rt60Sec) / reflectionsPerSec;
    this.kernels = new DelayKernels(sampleRateHz, (f) => computeAirAbsorption(f, room.temperatureC, room.humidityPct, room.pressureKpa));
    this.radiusM = Math.min(14, Math.cbrt((IMAGE_BUDGET * 3 * volume) / (4 * Math.PI)));
    this.tailSeed = hashLabel(random.seed, 'tail');
    this.placeImages(reflections.walls, random.fork('images'));
    // Energy of the whole tail: power at time zero times RT60 / ln(10^6).
    const tailEnergy = (this.tailPower(0) * sampleRateHz * this.rt60Sec) / (6 * Math.LN10);
    const tailStartDb = powerToDb(tailEnergy) - 20 * Math.log10(1 / 0.03);
    const tailSec = Math.max(0.01, ((tailStartDb + TAIL_RANGE_DB) / 60) * this.rt60Sec);
    const earlySec = this.radiusM / this.soundSpeed;
    this.responseFrames = RESPONSE_LEAD_FRAMES + 64 + Math.ceil(sampleRateHz * Math.max(earlySec, tailSec));
    this.makeTails(random.fork('tails'));
  }

  /** Diffuse power per sample at a time after emission, for a source of unit pressure at 1 m: 4 pi c / (V fs) 10^(-6 t / RT60). */
  private tailPower(timeSec: number): number {
    const [x, y, z] = this.room.sizeM;
    return ((4 * Math.PI * this.soundSpeed) / (x * y * z * this.sampleRateHz)) * Math.pow(10, (-6 * timeSec) / this.rt60Sec);
  }

  private placeImages(walls: number[], random: Random): void {
    const size = this.room.sizeM;
    const reach = size.map((s) => Math.ceil(this.radiusM / (2 * s)) + 1);
    for (let nx = -2 * reach[0]; nx <= 2 * reach[0]; nx++) for (let ny = -2 * reach[1]; ny <= 2 * reach[1]; ny++) for (let nz = -2 * reach[2]; nz <= 2 * reach[2]; nz++) {
      const cell: [number, number, number] = [nx, ny, nz];
      // Closest that an image in this cell can come to any receiver.
      const near = Math.hypot(...cell.map((n, i) => Math.max(0, Math.abs(n) - 1) * size[i]));
      if (near > this.radiusM) continue;
      let gain = 1;
      for (let i = 0; i < 3; i++) {
        const n = Math.abs(cell[i]);
        // Walls alternate; the one on the side of the image is met first.
        const first = cell[i] > 0 ? walls[2 * i + 1] : walls[2 * i], second = cell[i] > 0 ? walls[2 * i] : walls[2 * i + 1];
        gain *= Math.pow(first, Math.ceil(n / 2)) * Math.pow(second, Math.floor(n / 2));
      }
      const order = Math.abs(nx) + Math.abs(ny) + Math.abs(nz);
      if (order > 0 && gain < dbToGain(-50)) continue;
      const spread = order === 0 ? 0 : this.room.scatter * 0.15;
      const jitter: Vec3 = [spread * random.gauss(), spread * random.gauss(), spread * random.gauss()];
      const scale = order === 0 ? 1 : dbToGain(2 * this.room.scatter * random.gauss());
      this.images.push({ cell, order, gain: gain * scale, jitter, parity: [nx & 1, ny & 1, nz & 1] });
    }
  }

  private makeTails(random: Random): void {
    const { sampleRateHz, responseFrames, rt60Sec, room } = this;
    for (let b = 0; b < TAIL_BANK; b++) {
      const tail = new Float64Array(responseFrames);
      const bands: [number, number, number][] = [[0, 900, rt60Sec * 1.15], [900, 5000, rt60Sec], [5000, sampleRateHz / 2, rt60Sec * Math.min(1, room.highRatio + 0.1)]];
      const noise = new Float64Array(responseFrames), part = new Float64Array(responseFrames);
      random.fillNoise(noise);
      for (const [low, high, decaySec] of bands) {
        if (low >= sampleRateHz / 2) continue;
        part.set(noise);
        if (low > 0) applyBiquad(part, designHighPass(low, Math.SQRT1_2, sampleRateHz));
        if (high < sampleRateHz / 2) applyBiquad(part, designLowPass(high, Math.SQRT1_2, sampleRateHz));
        const step = Math.pow(10, -3 / (decaySec * sampleRateHz));
        let gain = Math.sqrt(this.tailPower(0));
        for (let i = 0; i < responseFrames; i++) { if (i >= RESPONSE_LEAD_FRAMES) { tail[i] += part[i] * gain; gain *= step; } }
      }
      this.tails.push(tail);
    }
  }

  /**
   * Impulse response from emitter to receiver, unit pressure at 1 m; time zero stands at RESPONSE_LEAD_FRAMES.
   * @param receiverIndex microphones of one emitter must differ in it: each gets its own diffuse tail
   */
  fillResponse(out: Float64Array, emitter: Emitter, receiver: Receiver, receiverIndex: number, options: PathOptions = {}): void {
    out.fill(0);
    this.addDirect(out, emitter, receiver, options);
    for (const image of this.images) if (image.order > 0) this.addImage(out, image, emitter, receiver);
    this.addTail(out, emitter, receiverIndex);
  }

  private addDirect(out: Float64Array, emitter: Emitter, receiver: Receiver, options: PathOptions): void {
    const path = subtract(receiver.positionM, emitter.positionM);
    const r = Math.max(NEAREST_M, Math.hypot(...path));
    const delay = this.toFrames(r, receiver);
    const aim = directivityLoss(emitter, unit(path));
    const shadow = options.own ? 0 : shadowLoss(receiver, unit(path));
    const obstacle = options.own ? 0 : options.obstacleDb ?? 0;
    const gain = dbToGain(-aim.flatDb - obstacle / 3) / r;
    const high = aim.highDb + shadow + (obstacle * 2) / 3;
    if (!options.liftDb) { this.kernels.addPulse(out, delay, gain, high, r); return; }
    const direct = new Float64Array(Math.min(out.length, RESPONSE_LEAD_FRAMES + Math.ceil(delay) + 512));
    this.kernels.addPulse(direct, delay, gain, high, r);
    applyBiquad(direct, designLowShelf(options.liftHz ?? 1200, options.liftDb, this.sampleRateHz));
    for (let i = 0; i < direct.length; i++) out[i] += direct[i];
  }

  private addImage(out: Float64Array, image: ImageSource, emitter: Emitter, receiver: Receiver): void {
    const { sizeM } = this.room;
    const p = emitter.positionM, d: [number, number, number] = [0, 0, 0];
    for (let i = 0; i < 3; i++) {
      const inCell = image.parity[i] ? sizeM[i] - p[i] : p[i];
      d[i] = image.cell[i] * sizeM[i] + inCell + image.jitter[i] - receiver.positionM[i];
    }
    const r = Math.hypot(d[0], d[1], d[2]);
    if (r > this.radiusM) return;
    const safe = Math.max(0.05, r);
    // Power crossfade with the diffuse tail over the outer fifth of the radius.
    const fade = r < 0.8 * this.radiusM ? 1 : Math.sqrt(Math.max(0, (this.radiusM - r) / (0.2 * this.radiusM)));
    const arrival: Vec3 = [d[0] / safe, d[1] / safe, d[2] / safe];
    // The departure of an image ray is the arrival mirrored in every axis of odd parity.
    const departure: Vec3 = [0, 1, 2].map((i) => -arrival[i] * (image.parity[i] ? -1 : 1)) as unknown as Vec3;
    const aim = directivityLoss(emitter, departure);
    const shadow = (receiver.shadowDb * (1 - dot(arrival, receiver.up))) / 2;
    const high = aim.highDb + shadow + image.order * this.lossPerReflectionDb;
    this.kernels.addPulse(out, this.toFrames(safe, receiver), (image.gain * fade * dbToGain(-aim.flatDb)) / safe, high, safe);
  }

  private addTail(out: Float64Array, emitter: Emitter, receiverIndex: number): void {
    const p = emitter.positionM;
    const place = mixBits(this.tailSeed ^ (Math.round(p[0] * 1000) * 73856093) ^ (Math.round(p[1] * 1000) * 19349663) ^ (Math.round(p[2] * 1000) * 83492791));
    const tail = this.tails[(place + receiverIndex) % TAIL_BANK];
    const start = (0.8 * this.radiusM * this.sampleRateHz) / this.soundSpeed, full = start / 0.8;
    const n = Math.min(out.length, tail.length);
    for (let i = RESPONSE_LEAD_FRAMES + Math.ceil(start); i < n; i++) {
      const x = (i - RESPONSE_LEAD_FRAMES - start) / (full - start);
      out[i] += x >= 1 ? tail[i] : Math.sqrt(Math.max(0, x)) * tail[i];
    }
  }

  private toFrames(pathM: number, receiver: Receiver): number {
    return RESPONSE_LEAD_FRAMES + (pathM / this.soundSpeed + receiver.delaySec) * this.sampleRateHz;
  }
}

/** Beak forward: 0 dB ahead, directivityDb at 8 kHz behind and a tenth of it at all frequencies. */
function directivityLoss(emitter: Emitter, direction: Vec3): { flatDb: number; highDb: number } {
  const away = (1 - dot(emitter.heading, direction)) / 2;
  return { flatDb: 0.1 * emitter.directivityDb * away, highDb: 0.9 * emitter.directivityDb * away };
}

function shadowLoss(receiver: Receiver, travel: Vec3): number {
  // travel points from source to microphone: sound from above travels against the back's normal.
  return (receiver.shadowDb * (1 + dot(travel, receiver.up))) / 2;
}

/** Pressure reflection of the six walls [x0, x1, y0, y1, z0, z1] and the reverberation time, after Eyring (1930): T = 24 ln10 V / (-c S ln(1 - a)). */
export function resolveReflections(room: FullRoom, volume: number, surface: number, soundSpeed: number): { walls: number[]; rt60Sec: number } {
  const eyring = (24 * Math.LN10 * volume) / (soundSpeed * surface);
  if (room.reflection !== undefined) {
    const walls = typeof room.reflection === 'number' ? new Array<number>(6).fill(room.reflection) : room.reflection.slice();
    const [x, y, z] = room.sizeM, areas = [y * z, y * z, x * z, x * z, x * y, x * y];
    let kept = 0;
    areas.forEach((a, i) => { kept += (a * walls[i] * walls[i]) / surface; });
    const rt60Sec = Math.max(0.001, eyring / -Math.log(Math.min(0.999, Math.max(1e-6, kept))));
    return { walls, rt60Sec };
  }
  const kept = Math.exp(-eyring / room.rt60Sec);
  return { walls: new Array<number>(6).fill(Math.sqrt(kept)), rt60Sec: room.rt60Sec };
}
