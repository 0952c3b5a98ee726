import type { StudyInfo } from '../study-info.js';
import type { WorkerCrew } from './worker-crew.js';

/** How loud the loudest sample is played: half of full scale, however quiet the recording. */
const PLAYED_PEAK = 0.5;
/** No stretch of silence is blown up to a roar. */
const MOST_GAIN = 300;
const FADE_SEC = 0.004;
/** Longest stretch that is loaded at once, seconds. */
export const LONGEST_PLAY_SEC = 60;

/** Plays stretches of a track, slowed if wanted: at half speed everything sounds an octave lower. */
export class Player {
  /** 1, 1/2, 1/4 or 1/8. */
  speed = 1;
  useVoices = false;
  private context?: AudioContext;
  private source?: AudioBufferSourceNode;
  private playing?: { track: number; fromSec: number; toSec: number; startedAt: number; speed: number };
  private turn = 0;

  constructor(private readonly info: StudyInfo, private readonly crew: WorkerCrew, private readonly onChange: () => void) {}

  get isPlaying(): boolean {
    return this.playing !== undefined;
  }

  /** Where it is heard now; undefined in silence. */
  position(): { sec: number; track: number } | undefined {
    const { playing, context } = this;
    if (!playing || !context) return undefined;
    const sec = playing.fromSec + Math.max(0, context.currentTime - playing.startedAt) * playing.speed;
    return sec < playing.toSec ? { sec, track: playing.track } : undefined;
  }

  /** Plays [fromSec, toSec) of a track; what was playing stops. */
  async play(track: number, fromSec: number, toSec: number): Promise<void> {
    this.stop();
    const turn = this.turn;
    // Made at the first key or click, as browsers ask for.
    this.context ??= new AudioContext();
    const { sampleRateHz } = this.info;
    const sliceFrames = Math.max(1, Math.round((Math.min(toSec, fromSec + LONGEST_PLAY_SEC) - fromSec) * sampleRateHz));
    const voices = this.useVoices && this.info.tracks[track].hasVoice;
    const [samples] = await Promise.all([
      this.crew.run({ kind: 'samples', request: { startSec: fromSec, sliceFrames, stepSec: 0, sliceCount: 1, tracks: [track], voices } }, -2), this.context.resume(),
    ]);
    if (turn !== this.turn) return;
    this.begin(shape(samples, sampleRateHz), track, fromSec);
  }

  stop(): void {
    this.turn++;
    if (this.source) {
      this.source.onended = null;
      this.source.stop();
      this.source = undefined;
    }
    if (!this.playing) return;
    this.playing = undefined;
    this.onChange();
  }

  private begin(samples: Float32Array<ArrayBuffer>, track: number, fromSec: number): void {
    const context = this.context!;
    const buffer = context.createBuffer(1, samples.length, this.info.sampleRateHz);
    buffer.copyToChannel(samples, 0);
    const source = context.createBufferSource();
    source.buffer = buffer;
    source.playbackRate.value = this.speed;
    source.connect(context.destination);
    source.onended = () => {
      if (this.source === source) this.stop();
    };
    source.start();
    this.source = source;
    this.playing = { track, fromSec, toSec: fromSec + samples.length / this.info.sampleRateHz, startedAt: context.currentTime, speed: this.speed };
    this.onChange();
  }
}

/** The same loudness for every stretch, and no click at the ends. */
function shape(samples: Float32Array, sampleRateHz: number): Float32Array<ArrayBuffer> {
  const out = new Float32Array(samples);
  let peak = 0;
  for (const v of out) peak = Math.max(peak, Math.abs(v));
  const gain = peak > 0 ? Math.min(MOST_GAIN, PLAYED_PEAK / peak) : 1;
  const fade = Math.min(out.length >> 1, Math.round(FADE_SEC * sampleRateHz));
  for (let i = 0; i < out.length; i++) out[i] *= gain * Math.min(1, (i + 1) / (fade + 1), (out.length - i) / (fade + 1));
  return out;
}
