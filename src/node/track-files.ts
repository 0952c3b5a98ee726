/** What the tracks of a study are called and how their samples are written. */
import type { AudioInfo } from '../audio/types.js';
import type { WavEncoding } from '../audio/wav-writer.js';
import type { StudyOnDisk } from './study-files.js';

/** File names that every system takes and that differ in more than case. */
export function nameTrackFiles(birds: readonly string[]): string[] {
  const taken = new Set<string>();
  return birds.map((bird) => {
    const base = bird.replace(/[\u0000-\u001f\u007f<>:"/\\|?*]/g, '_').replace(/^\.+|[. ]+$/g, '_');
    let name = `${base}.wav`;
    for (let n = 2; taken.has(name.toLowerCase()); n++) name = `${base}-${n}.wav`;
    taken.add(name.toLowerCase());
    return name;
  });
}

/** Sample format that keeps what the widest of a track's files holds, as far as 32-bit floats can, in which all is worked on. */
export function findEncoding(study: StudyOnDisk, track: number): WavEncoding {
  const bits = Math.max(...listFormats(study, track).map((f) => (f.sampleFormat === 'pcm' ? f.bitsPerSample : Infinity)));
  return bits <= 16 ? 'pcm16' : bits <= 24 ? 'pcm24' : 'float32';
}

/** The tracks that have files of which 32-bit floats do not keep every bit. */
export function listRoundedTracks(study: StudyOnDisk): string[] {
  return study.timeline.tracks.filter((_, j) => listFormats(study, j).some((f) => f.bitsPerSample > (f.sampleFormat === 'pcm' ? 24 : 32))).map((t) => t.bird);
}

function listFormats({ timeline, headers }: StudyOnDisk, track: number): AudioInfo[] {
  return timeline.tracks[track].segments.flatMap(({ path }) => {
    const header = headers.get(path);
    return header && 'info' in header ? [header.info] : [];
  });
}
