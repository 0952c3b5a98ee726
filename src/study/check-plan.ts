/** Which frames a check reads: blocks of all tracks, in order of time, half-open, on every recorder's clock alike. */
export interface CheckPlan {
  blocks: { startFrame: number; frameCount: number }[];
  /** Share of the study that the blocks hold. */
  share: number;
}

const BLOCK_SEC = 10;
const FEWEST_BLOCKS = 60;
const MOST_BLOCKS = 400;

/**
 * Plans what to read: everything where it is asked for or short, otherwise blocks of 10 s spread evenly from the first frame to the
 * last, as many as there are files within bounds.
 */
export function planCheck(frameCount: number, sampleRateHz: number, fileCount: number, isFull: boolean): CheckPlan {
  const blockFrames = Math.max(1, Math.round(BLOCK_SEC * sampleRateHz));
  const needed = Math.ceil(frameCount / blockFrames);
  const wanted = Math.min(MOST_BLOCKS, Math.max(FEWEST_BLOCKS, fileCount));
  if (isFull || needed <= wanted) {
    const blocks = Array.from({ length: needed }, (_, i) => ({ startFrame: i * blockFrames, frameCount: Math.min(blockFrames, frameCount - i * blockFrames) }));
    return { blocks, share: 1 };
  }
  const blocks = Array.from({ length: wanted }, (_, i) => ({ startFrame: Math.round((i * (frameCount - blockFrames)) / (wanted - 1)), frameCount: blockFrames }));
  return { blocks, share: (wanted * blockFrames) / frameCount };
}
