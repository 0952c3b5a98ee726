import { countSystemValues } from '../kernels/paths.js';
import { padBins } from '../kernels/plane-space.js';
import { estimateVoices } from './estimate-voices.js';
import { guardByTables, guardWearer, isOtherVoice, SectionSums } from './guard-wearer.js';
import type { TrackSound } from './guard-wearer.js';
import { hushOthers } from './hush-others.js';
import type { PathContext } from './choose-path.js';
import { LONGEST_PIECE_SEC } from './plan-pieces.js';
import type { Piece, SeparationCall } from './plan-pieces.js';
import { countMostWindows, LONGEST_SECTION_SEC } from './section.js';
import type { SectionAnalyser, SectionSpan } from './section.js';
import type { SeparationSettings } from './settings.js';

/** What has to be added to the samples of a track; frames on its own recorder's clock. */
export interface Edit { track: number; startFrame: number; change: Float32Array }

/** The edits of a block, in order of time; `release` is told when they are needed no more. */
export interface BlockEdits { edits: readonly Edit[]; release?(): void }

/** Gives memory for so many samples of an edit. */
export type TakeSamples = (count: number) => Float32Array;

/** Most voices that are estimated together; of more, those that overlap the call longest. */
export const MOST_OTHERS = 4;
/** Half of the crossfade at the ends of a piece, seconds. */
const FADE_SEC = 0.003;
/** Margins around calls that are estimated together, seconds. */
const AFTER_SEC = 0.03;
const MARGIN_SEC = 0.02;

/** Bytes of kernel memory that a piece takes for a time, beside what the analyser and the paths take. */
export function countPieceBytes(settings: SeparationSettings, trackCount: number): number {
  const rowBytes = 4 * padBins(settings.binCount), voices = MOST_OTHERS + 1, mostHushSec = LONGEST_PIECE_SEC + (settings.fftSize + 8 * settings.hopFrames) / settings.sampleRateHz + 2 * FADE_SEC;
  // Rows of a section: spectra, power, smoothed power, and a change of each track. Of a voice ten more, and for a time six in all, and those of a solo call.
  const hush = (6 * trackCount + 2) * countMostWindows(settings, mostHushSec), voice = (6 * voices + 10 * voices + 6 + 4 * voices) * countMostWindows(settings);
  const systems = 4 * countSystemValues(settings.tapCount, padBins(settings.binCount)) * (voices * voices + 2 * settings.soloCount + 2), priors = 8 * settings.tapCount * voices * voices * padBins(settings.binCount);
  return Math.max(hush, voice) * rowBytes + systems + priors + (1 << 20);
}

/** Works on the pieces of a block; what neighbouring pieces share is done once. */
export class PieceSeparator {
  private lastVoices: { key: string; span: SectionSpan; samples: Map<number, Float32Array> } | undefined;

  /** @param calls all calls in order of onset */
  constructor(private readonly analyser: SectionAnalyser, private readonly calls: readonly SeparationCall[], private readonly sounds: readonly TrackSound[], private readonly take: TakeSamples) {}

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
        if (done) edits.push(this.makeEdit(piece, done.span, done.samples));
      } else {
        const key = `${piece.startSec} ${piece.endSec}`, span = spans.get(key);
        if (span && spans.delete(key)) edits.push(...await this.hush(span, context));
      }
    }
    return edits;
  }

  /** Pieces of one span, each of another track; none that the guard keeps whole, or in which no crosstalk is to be expected. */
  private async hush(pieces: readonly Piece[], context: PathContext): Promise<Edit[]> {
    const { settings, space, space: { k } } = this.analyser, [{ startSec, endSec }] = pieces, fromSec = startSec - FADE_SEC, toSec = endSec + FADE_SEC, leadFrames = settings.fftSize + 8 * settings.hopFrames;
    const reachSec = settings.fftSize / 2 / settings.sampleRateHz, calls = this.findBetween(fromSec - leadFrames / settings.sampleRateHz - 0.05, toSec + 0.05).filter((c) => c.track >= 0 && c.probability >= settings.leastProbability);
    const span = this.analyser.planSpan(fromSec, toSec, leadFrames), rules = { levels: context.levels, settings, sounds: this.sounds.filter((s) => s.onsetSec < toSec && s.offsetSec > fromSec) };
    const isWhole = (kept: Uint8Array): boolean => span.centreSec.every((t, n) => kept[n] === 1 || t <= startSec - reachSec || t >= endSec + reachSec);
    const others = (piece: Piece): SeparationCall[] => calls.filter((c) => c.track !== piece.track);
    // What the tables keep whole needs no spectra.
    const open = pieces.filter((p) => !isWhole(guardByTables(span, p, others(p), rules)));
    if (open.length === 0) return [];
    const mark = k.mark(), section = await this.analyser.cut(span, new Set([...open.map((p) => p.track), ...calls.map((c) => c.track)])), sums = new SectionSums(space, section);
    const callers = [...new Set(this.findAround(span).filter((c) => c.track >= 0 && c.probability >= settings.leastProbability).map((c) => c.track))]
      .map((track) => ({ track, active: space.placeFlags(this.markActive(span, track)), power: section.tracks.get(track)!.smooth }));
    const places = space.createPlanes(span.spectrumCount, open.length), changed: Piece[] = [];
    for (const piece of open) {
      const { track } = piece, kept = guardWearer(sums, piece, others(piece), rules, context.floors);
      if (isWhole(kept)) continue;
      const heard = callers.filter((c) => c.track !== track).map((c) => ({ ...c, level: context.levelRows[track * context.levels.trackCount + c.track] }));
      if (hushOthers(space, section.tracks.get(track)!, heard, kept, context.floorRows[track], settings, places[changed.length])) changed.push(piece);
    }
    const samples = this.analyser.synthesise(span, changed.map((p) => p.track), places.slice(0, changed.length)), edits = changed.map((piece, n) => this.makeEdit(piece, span, samples[n]));
    k.release(mark);
    return edits;
  }

  private async separateVoice(own: SeparationCall, context: PathContext): Promise<{ span: SectionSpan; samples: Float32Array } | undefined> {
    const { settings } = this.analyser;
    const others = this.findOverlapping(own);
    if (others.length === 0) return undefined;
    // The same for every one of the calls, so that those that only overlap each other are estimated once.
    const fromSec = Math.max(own.onsetSec - LONGEST_SECTION_SEC / 4, Math.min(...[own, ...others].map((o) => o.onsetSec)) - MARGIN_SEC);
    const toSec = Math.min(fromSec + LONGEST_SECTION_SEC - 0.5, Math.max(...[own, ...others].map((o) => o.offsetSec)) + AFTER_SEC);
    const tracks = [...new Set([own.track, ...others.map((o) => o.track)])].sort((a, b) => a - b);
    const key = `${fromSec} ${toSec} ${tracks.join(' ')}`;
    if (this.lastVoices?.key !== key) {
      const span = this.analyser.planSpan(fromSec, toSec, 2 * settings.fftSize + settings.tapCount * settings.hopFrames);
      this.lastVoices = { key, span, samples: await this.estimateTogether(own, tracks, span, context) };
    }
    return { span: this.lastVoices.span, samples: this.lastVoices.samples.get(own.track)! };
  }

  /** What has to be added to the samples of each of the tracks in a span. */
  private async estimateTogether(own: SeparationCall, tracks: readonly number[], span: SectionSpan, context: PathContext): Promise<Map<number, Float32Array>> {
    const { space, space: { k, width }, settings } = this.analyser, mark = k.mark(), section = await this.analyser.cut(span, new Set(tracks));
    // The wanted voice is refined last, with all others at their best.
    const voices = tracks.map((track) => ({ track, active: this.markActive(span, track) })).sort((a, b) => (a.track === own.track ? -1 : b.track === own.track ? 1 : 0));
    const estimates = await estimateVoices(context, section, voices, own.onsetSec), changes = space.createPlanes(span.spectrumCount, estimates.length), nothing = space.placeRow(new Float32Array(space.binCount));
    // What makes the observed spectra the posterior mean of the voice, given the residual; with `keepNoise` noise is left with the voice.
    estimates.forEach((e, n) => {
      const floor = context.floorRows[e.track], [kept, lost] = settings.keepNoise ? [floor, nothing] : [nothing, floor];
      k.fn.maskVoice(section.tracks.get(e.track)!.planes.ptr, e.residual.ptr, e.power, e.leftover, kept, lost, settings.leastGain, span.spectrumCount, width, changes[n].ptr);
    });
    const order = estimates.map((e) => e.track), samples = this.analyser.synthesise(span, order, changes), kept = new Map(order.map((track, n) => [track, samples[n].slice()]));
    k.release(mark);
    return kept;
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

  private findAround(section: SectionSpan): SeparationCall[] {
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
  private markActive(section: SectionSpan, track: number): Uint8Array {
    const { settings } = this.analyser, reachSec = settings.fftSize / 2 / settings.sampleRateHz;
    const active = new Uint8Array(section.spectrumCount);
    for (const call of this.findBetween(section.centreSec[0] - 1, section.centreSec[section.spectrumCount - 1] + 1)) {
      if (call.track !== track || call.probability < settings.leastProbability / 3) continue;
      section.centreSec.forEach((t, k) => { if (t > call.onsetSec - reachSec - settings.voiceLeadSec && t < call.offsetSec + settings.voiceTailSec) active[k] = 1; });
    }
    return active;
  }

  /** Samples that a change adds inside a piece, faded at its ends so that neighbouring pieces add up to one. */
  private makeEdit({ track, startSec, endSec }: Piece, span: SectionSpan, samples: Float32Array): Edit {
    const fade = Math.round(FADE_SEC * this.analyser.settings.sampleRateHz), origin = span.startFrames[track];
    const first = Math.max(origin, this.analyser.placeFrames(startSec)[track] - fade);
    const last = Math.min(origin + span.frameCount, this.analyser.placeFrames(endSec)[track] + fade);
    const change = this.take(Math.max(first, last) - first);
    change.set(samples.subarray(first - origin, first - origin + change.length));
    for (let i = 0; i < Math.min(2 * fade, change.length); i++) {
      change[i] *= (i + 0.5) / (2 * fade);
      change[change.length - 1 - i] *= (i + 0.5) / (2 * fade);
    }
    return { track, startFrame: first, change };
  }
}
