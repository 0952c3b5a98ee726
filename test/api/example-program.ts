// A program as a user would write it: reads the tracks of a study into memory, attributes them, prints the call table.
import { attributeTracks, formatTables, loadStudy, scoreCalls, StudyAudio } from 'volary';
import type { AttributeResult, CallRow, Score, TracksInput } from 'volary';

const study = await loadStudy(process.argv.at(-1)!);
const audio = new StudyAudio(study.timeline, study.openReader);
const signals: Float32Array[] = study.timeline.tracks.map(() => new Float32Array(study.timeline.frameCount));
await audio.readTracks(0, study.timeline.frameCount, signals);
await audio.close();

const input: TracksInput = { birds: study.timeline.tracks.map((t) => t.bird), signals, sampleRateHz: study.timeline.sampleRateHz };
const result: AttributeResult = await attributeTracks(input, { onProgress: (stage: string, done: number, total: number) => { if (done > total) throw new Error(stage); } });
const surest: CallRow | undefined = result.calls.toSorted((a, b) => b.probability - a.probability)[0];
const score: Score = scoreCalls(result.calls, result.calls.map(({ bird, onsetSec, offsetSec }) => ({ bird, onsetSec, offsetSec, extra: {} })), { resamples: 0 });
if (surest === undefined || score.rightBird.f1.value !== 1) throw new Error('a table agrees with itself');
process.stdout.write(formatTables(result, 'example')['calls.csv']);
