// Samples in by chunks, calls out as events: node stream-calls.mjs BIRDS RATE < samples.raw
// Standard input is 16-bit little-endian PCM, the birds' tracks interleaved in the order of BIRDS (names with commas between).
// Each call is one line of JSON on standard output. For a study of files: streamCalls((o) => attributeStudyFile('study.json', o)).
import { attributeTracks, streamCalls } from 'volary';

const [birdList = '', rate = ''] = process.argv.slice(2);
const birds = birdList.split(',').filter(Boolean);
const sampleRateHz = Number(rate);
if (birds.length < 2 || !(sampleRateHz > 0)) {
  process.stderr.write('usage: node stream-calls.mjs red,blue,green 32000 < samples.raw\n');
  process.exit(2);
}

const signals = await collectTracks(process.stdin, birds.length);
const stream = streamCalls((options) => attributeTracks({ birds, signals, sampleRateHz }, options));
for await (const { calls } of stream) {
  for (const { bird, onsetSec, offsetSec, probability } of calls) process.stdout.write(`${JSON.stringify({ bird, onsetSec, offsetSec, probability })}\n`);
}

/** Chunks of any length, also such that end in the middle of a sample, to one Float32Array per track. */
async function collectTracks(chunks, trackCount) {
  const frameBytes = 2 * trackCount;
  let tracks = Array.from({ length: trackCount }, () => new Float32Array(1 << 16));
  let frameCount = 0;
  let rest = Buffer.alloc(0);
  for await (const chunk of chunks) {
    const bytes = rest.length > 0 ? Buffer.concat([rest, chunk]) : chunk;
    const frames = Math.floor(bytes.length / frameBytes);
    while (frameCount + frames > tracks[0].length) tracks = tracks.map(doubleLength);
    for (let k = 0; k < frames; k++, frameCount++) {
      for (let t = 0; t < trackCount; t++) tracks[t][frameCount] = bytes.readInt16LE(k * frameBytes + 2 * t) / 32768;
    }
    rest = bytes.subarray(frames * frameBytes);
  }
  return tracks.map((track) => track.subarray(0, frameCount));
}

function doubleLength(track) {
  const longer = new Float32Array(2 * track.length);
  longer.set(track);
  return longer;
}
