import { estimateVoices } from './estimate-voices.js';
import type { Voice, VoiceEstimate } from './estimate-voices.js';
import { guardWearer, isOtherVoice } from './guard-wearer.js';
import type { TrackSound } from './guard-wearer.js';
import { hushOthers } from './hush-others.js';
import type { PathContext } from './choose-path.js';
import { createPlanes } from './planes.js';
import type { Planes } from './planes.js';
import type { Piece, SeparationCall } from './plan-pieces.js';
import { LONGEST_SECTION_SEC, smoothTrack } from './section.js';
import type { Section, SectionAnalyser } from './section.js';
import type { SeparationSettings } from './settings.js';

/** What has to be added to the samples of a track; frames on its own recorder's clock. */
export interface Edit { track: number; startFrame: number; change: Float32Array }

/** Most voices that are estimated together; of more, those that overlap the call longest. */
export const MOST_OTHERS = 4;
/** Half of the crossfade at the ends of a piece, seconds. */
const FADE_SEC = 0.003;
/** Margins around calls that are estimated together, seconds. */
const AFTER_SEC = 0.03;
const MARGIN_SEC = 0.02;

/** Works on the pieces of a block; what neighbouring pieces share is done once. */
export class PieceSeparator {
  private lastVoices: { key: string; section: Section; outputs: Map<number, Planes> } | undefined;

  /** @param calls all calls in order of onset */
  constructor(private readonly analyser: SectionAnalyser, private readonly calls: readonly SeparationCall[], private readonly sounds: readonly TrackSound[] = []) {}

  /** @returns the changes to the samples; none for a piece that needs none */
  async separate(pieces: readonly Piece[], context: PathContext): Promise<Edit[]> {
    const edits: Edit[] = [], spans = new Map<string, Piece[]>();
    for (const piece of pieces) {
      if (piece.own) continue;
      const key = `${piece.startSec} ${piece.endSec}`, span = spans.get(key);
      if (span) span.push(piece); else spans.set(key, [piece]);
    }
    for (const piece of pieces) {
      if (piece.own) {
        const done = await this.separateVoice(piece.own, context);
        if (done) edits.push(...this.makeEdits([piece], done.section, [done.output]));
      } else {
        const key = `${piece.startSec} ${piece.endSec}`, span = spans.get(key);
        if (span && spans.delete(key)) edits.push(...await this.hush(span, context));
      }
    }
    return edits;
  }

  /** Pieces of one span, each of another track; none that the guard keeps whole. */
  private async hush(pieces: readonly Piece[], context: PathContext): Promise<Edit[]> {
    const { settings } = this.analyser, [{ startSec, endSec }] = pieces, fromSec = startSec - FADE_SEC, toSec = endSec + FADE_SEC;
    const reachSec = settings.fftSize / 2 / settings.sampleRateHz, calls = this.findBetween(fromSec - (settings.fftSize + 8 * settings.hopFrames) / settings.sampleRateHz - 0.05, toSec + 0.05).filter((c) => c.track >= 0 && c.probability >= settings.leastProbability);
    const wanted = new Set([...pieces.map((p) => p.track), ...calls.map((c) => c.track)]);
    const section = await this.analyser.cut(fromSec, toSec, settings.fftSize + 8 * settings.hopFrames, wanted);
    const callers = [...new Set(this.findAround(section).filter((c) => c.track >= 0 && c.probability >= settings.leastProbability).map((c) => c.track))]
      .map((track) => ({ track, active: this.markActive(section, track), power: smoothTrack(section, track) }));
    const sounds = this.sounds.filter((s) => s.onsetSec < toSec && s.offsetSec > fromSec);
    const changed: Piece[] = [], changes: Planes[] = [];
    for (const piece of pieces) {
      const { track } = piece, kept = guardWearer(section, piece, calls.filter((c) => c.track !== track), sounds, context.levels, context.floors, settings);
      if (section.centreSec.every((t, k) => kept[k] === 1 || t <= startSec - reachSec || t >= endSec + reachSec)) continue;
      changed.push(piece);
      changes.push(hushOthers(section, track, callers.filter((c) => c.track !== track), kept, context.levels, context.floors[track], settings));
    }
    return this.makeEdits(changed, section, changes);
  }

  private async separateVoice(own: SeparationCall, context: PathContext): Promise<{ section: Section; output: Planes } | undefined> {
    const { settings } = this.analyser;
    const others = this.findOverlapping(own);
    if (others.length === 0) return undefined;
    // The same for every one of the calls, so that those that only overlap each other are estimated once.
    const fromSec = Math.max(own.onsetSec - LONGEST_SECTION_SEC / 4, Math.min(...[own, ...others].map((o) => o.onsetSec)) - MARGIN_SEC);
    const toSec = Math.min(fromSec + LONGEST_SECTION_SEC - 0.5, Math.max(...[own, ...others].map((o) => o.offsetSec)) + AFTER_SEC);
    const tracks = [...new Set([own.track, ...others.map((o) => o.track)])].sort((a, b) => a - b);
    const key = `${fromSec} ${toSec} ${tracks.join(' ')}`;
    if (this.lastVoices?.key !== key) {
      const section = await this.analyser.cut(fromSec, toSec, 2 * settings.fftSize + settings.tapCount * settings.hopFrames, new Set(tracks));
      const voices: Voice[] = tracks.map((track) => ({ track, active: this.markActive(section, track) }));
      // The wanted voice is refined last, with all others at their best.
      voices.sort((a, b) => (a.track === own.track ? -1 : b.track === own.track ? 1 : 0));
      const estimates = await estimateVoices(context, section, voices, own.onsetSec);
      const outputs = new Map(estimates.map((e) => [e.track, maskResidual(section.tracks[e.track], e, context.floors[e.track], settings)]));
      this.lastVoices = { key, section, outputs };
    }
    return { section: this.lastVoices.section, output: this.lastVoices.outputs.get(own.track)! };
  }

  /** Calls of other birds whose sound meets a call; none where no other call overlaps it, for then there is more to lose than to remove. */
  private findOverlapping(own: SeparationCall): SeparationCall[] {
    const { leastProbability, voiceProbability } = this.analyser.settings, least = Math.max(leastProbability, voiceProbability);
    const found = this.findBetween(own.onsetSec - MARGIN_SEC - AFTER_SEC, own.offsetSec + MARGIN_SEC)
      .filter((o) => o.track >= 0 && o.track !== own.track && o.probability >= least && o.onsetSec < own.offsetSec + MARGIN_SEC && o.offsetSec + AFTER_SEC > own.onsetSec - MARGIN_SEC && isOtherVoice(own, o, this.sounds, voiceProbability));
    if (!found.some((o) => o.onsetSec < own.offsetSec && o.offsetSec > own.onsetSec)) return [];
    const shared = (o: SeparationCall): number => Math.min(own.offsetSec, o.offsetSec) - Math.max(own.onsetSec, o.onsetSec);
    const tracks = [...new Set([...found].sort((a, b) => shared(b) - shared(a)).map((o) => o.track))].slice(0, MOST_OTHERS);
    return found.filter((o) => tracks.includes(o.track));
  }

  private findAround(section: Section): SeparationCall[] {
    return this.findBetween(section.centreSec[0], section.centreSec[section.spectrumCount - 1]);
  }

  /** Calls that share time with a span; `calls` is in order of onset and no call lasts longer than the reach looked back. */
  private findBetween(fromSec: number, toSec: number): SeparationCall[] {
    let low = 0, high = this.calls.length;
    const reach = fromSec - this.longestCallSec;
    while (low < high) { const mid = (low + high) >> 1; if (this.calls[mid].onsetSec < reach) low = mid + 1; else high = mid; }
    const out: SeparationCall[] = [];
    for (let i = low; i < this.calls.length && this.calls[i].onsetSec < toSec; i++) if (this.calls[i].offsetSec > fromSec) out.push(this.calls[i]);
    return out;
  }

  private get longestCallSec(): number {
    this.longest ??= this.calls.reduce((most, c) => Math.max(most, c.offsetSec - c.onsetSec), 0);
    return this.longest;
  }
  private longest: number | undefined;

  /** Windows that may hold the voice of a track's wearer. */
  private markActive(section: Section, track: number): Uint8Array {
    const { settings } = this.analyser, reachSec = settings.fftSize / 2 / settings.sampleRateHz;
    const active = new Uint8Array(section.spectrumCount);
    for (const call of this.findBetween(section.centreSec[0] - 1, section.centreSec[section.spectrumCount - 1] + 1)) {
      if (call.track !== track || call.probability < settings.leastProbability / 3) continue;
      section.centreSec.forEach((t, k) => { if (t > call.onsetSec - reachSec - settings.voiceLeadSec && t < call.offsetSec + settings.voiceTailSec) active[k] = 1; });
    }
    return active;
  }

  /** Samples that the changed spectra add inside the pieces, faded at their ends so that neighbouring pieces add up to one. */
  private makeEdits(pieces: readonly Piece[], section: Section, changes: readonly Planes[]): Edit[] {
    const fade = Math.round(FADE_SEC * this.analyser.settings.sampleRateHz);
    const samples = this.analyser.synthesise(section, pieces.map((p) => p.track), changes);
    return pieces.map(({ track, startSec, endSec }, n) => {
      const first = Math.max(section.startFrames[track], this.analyser.placeFrames(startSec)[track] - fade);
      const last = Math.min(section.startFrames[track] + section.frameCount, this.analyser.placeFrames(endSec)[track] + fade);
      const change = samples[n].slice(first - section.startFrames[track], Math.max(first, last) - section.startFrames[track]);
      for (let i = 0; i < Math.min(2 * fade, change.length); i++) {
        change[i] *= (i + 0.5) / (2 * fade);
        change[change.length - 1 - i] *= (i + 0.5) / (2 * fade);
      }
      return { track, startFrame: first, change };
    });
  }
}

/** What makes the observed spectra the posterior mean of the voice, given the residual; with `keepNoise` noise is left with the voice. */
function maskResidual(observed: Planes, estimate: VoiceEstimate, floor: Float32Array, { keepNoise, leastGain }: SeparationSettings): Planes {
  const { residual, power, leftover } = estimate, out = createPlanes(residual.frameCount, residual.binCount);
  for (let i = 0, b = 0; i < power.length; i++) {
    const wanted = power[i] + (keepNoise ? floor[b] : 0);
    const gain = Math.max(leastGain, wanted / (wanted + leftover[i] + (keepNoise ? 0 : floor[b]) + 1e-30));
    out.re[i] = gain * residual.re[i] - observed.re[i]; out.im[i] = gain * residual.im[i] - observed.im[i];
    if (++b === residual.binCount) b = 0;
  }
  return out;
}
