/** One worker of the page: reads samples, draws tiles, measures calls. */
import { openAudio } from '../../audio/open-audio.js';
import { createBlobSource } from '../../browser/blob-source.js';
import { StudyAudio } from '../../study/study-audio.js';
import { buildClockModel, readSlices } from '../read-slices.js';
import type { SliceRequest } from '../study-info.js';
import { TileMaker } from './compute-tile.js';
import type { ReadSamples } from './compute-tile.js';
import { measureCall } from './measure-call.js';
import type { SoundPlace, WorkerAnswer, WorkerJob, WorkerStart } from './worker-messages.js';

let start: WorkerStart;
let read: ReadSamples;
let tiles: TileMaker | undefined;

function openPlace(place: SoundPlace): ReadSamples {
  if (place.kind === 'files') {
    const audio = new StudyAudio(place.timeline, (path) => openAudio(createBlobSource(place.files.get(path)!, path)));
    const clock = buildClockModel(place.timeline.recorders, place.clock);
    return (request) => readSlices(audio, clock, request);
  }
  return (request) => fetchSlices(place.base, request);
}

async function fetchSlices(base: string, r: SliceRequest): Promise<Float32Array> {
  const query = `start=${r.startSec}&frames=${r.sliceFrames}&step=${r.stepSec}&slices=${r.sliceCount}&tracks=${r.tracks.join(',')}${r.voices ? '&voices=1' : ''}`;
  const response = await fetch(`${base}samples?${query}`);
  if (!response.ok) throw new Error(await response.text());
  const bytes = new Int16Array(await response.arrayBuffer());
  const out = new Float32Array(bytes.length);
  for (let i = 0; i < out.length; i++) out[i] = bytes[i] / 32768;
  return out;
}

async function runJob(job: WorkerJob): Promise<{ value: Exclude<WorkerAnswer, { failure: string }>['value']; moved: Transferable[] }> {
  tiles ??= new TileMaker(start.kernels, start.info, read);
  if (job.kind === 'tile') {
    const value = await tiles.draw(job);
    return { value, moved: [value] };
  }
  if (job.kind === 'floor') return { value: await tiles.measureFloor(), moved: [] };
  if (job.kind === 'measure') return { value: await measureCall(start.kernels, start.info, read, job), moved: [] };
  const value = await read(job.request);
  return { value, moved: [value.buffer] };
}

addEventListener('message', (e: MessageEvent<WorkerStart | { id: number; job: WorkerJob }>) => {
  const message = e.data;
  if ('kernels' in message) {
    start = message;
    read = openPlace(message.place);
    return;
  }
  const { id, job } = message;
  runJob(job).then(
    ({ value, moved }) => postMessage({ id, value } satisfies WorkerAnswer, { transfer: moved }),
    (error: unknown) => postMessage({ id, failure: error instanceof Error ? error.message : String(error) } satisfies WorkerAnswer),
  );
});
