/** Random access to bytes. `read` may return fewer bytes only at the end of the source. */
export interface ByteSource {
  /** Name for messages and for the format's record; never used to identify the content. */
  readonly name: string;
  readonly sizeBytes: number;
  read(offsetBytes: number, lengthBytes: number): Promise<Uint8Array>;
  /** Reads into memory that is there already, where a source can; returns the bytes read, fewer only at the end of the source. */
  readInto?(offsetBytes: number, into: Uint8Array): Promise<number>;
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

/** How samples lie in a file's bytes: interleaved, little-endian integers; 8-bit unsigned, wider ones signed. */
export interface PcmLayout {
  coding: 'u8' | 's16' | 's24' | 's32';
  sampleBytes: number;
  /** Bytes of one frame of all channels. */
  blockBytes: number;
}

/** One opened file. Samples are float32 in [-1, 1); planar, one array per channel. */
export interface AudioReader {
  readonly name: string;
  readonly info: AudioInfo;
  /**
   * Reads frames [startFrame, startFrame + frameCount) into `into[c][intoOffset ...]`. Beyond the end: zeros are NOT written, the
   * number of frames delivered is returned. Non-finite samples are replaced by 0 and counted in `nonFiniteCount`;
   * lost (damaged) stretches are written as 0 and reported in `lostFrames`. With `pcmLayout` the place of a channel may be null: not wanted.
   */
  readFrames(startFrame: number, frameCount: number, into: (Float32Array | null)[], intoOffset?: number): Promise<number>;
  readonly nonFiniteCount: number;
  /** Per channel, how many samples the last `readFrames` replaced by 0; absent where all samples are numbers anyway. */
  readonly replacedCounts?: readonly number[];
  readonly lostFrames: number;
  /** Where samples can be had as they lie in the file. */
  readonly pcmLayout?: PcmLayout;
  /** Reads the bytes of whole frames that lie within the file into `into`, which has just that length. Only with `pcmLayout`. */
  readBytes?(startFrame: number, into: Uint8Array): Promise<void>;
  /** Lost stretches [from, to) of a span that was read before, in file frames; the same however often it is read. Absent where nothing gets lost. */
  listLost?(startFrame: number, frameCount: number): [number, number][];
  close(): Promise<void>;
}
