/** Random access to bytes. `read` may return fewer bytes only at the end of the source. */
export interface ByteSource {
  /** Name for messages and for the format's record; never used to identify the content. */
  readonly name: string;
  readonly sizeBytes: number;
  read(offsetBytes: number, lengthBytes: number): Promise<Uint8Array>;
  close(): Promise<void>;
}

export interface BroadcastTime {
  /** yyyy-mm-dd as written, or '' */
  originationDate: string;
  /** hh:mm:ss as written, or '' */
  originationTime: string;
  /** Samples since midnight at the file's rate. */
  timeReference: number;
}

export interface AudioInfo {
  container: 'RIFF' | 'RF64' | 'BW64' | 'Wave64' | 'FLAC';
  sampleRateHz: number;
  channelCount: number;
  /** Whole frames actually present. */
  frameCount: number;
  sampleFormat: 'pcm' | 'float';
  bitsPerSample: number;
  validBits: number;
  broadcastTime?: BroadcastTime;
  /** One line each: what was found wrong and which value was believed. */
  warnings: string[];
}

/** One opened file. Samples are float32 in [-1, 1); planar, one array per channel. */
export interface AudioReader {
  readonly name: string;
  readonly info: AudioInfo;
  /**
   * Reads frames [startFrame, startFrame + frameCount) into `into[c][intoOffset ...]`. Beyond the end: zeros are NOT written, the
   * number of frames delivered is returned. Non-finite samples are replaced by 0 and counted in `nonFiniteCount`;
   * lost (damaged) stretches are written as 0 and reported in `lostFrames`.
   */
  readFrames(startFrame: number, frameCount: number, into: Float32Array[], intoOffset?: number): Promise<number>;
  readonly nonFiniteCount: number;
  readonly lostFrames: number;
  /** Lost stretches [from, to) of a span that was read before, in file frames; the same however often it is read. Absent where nothing gets lost. */
  listLost?(startFrame: number, frameCount: number): [number, number][];
  close(): Promise<void>;
}
