import { quoteName, VolaryError } from '../schema/errors.js';
import type { ByteWindow } from './byte-window.js';
import type { Chunk, ChunkList } from './chunk-walk.js';
import type { RiffWalk } from './riff-walk.js';
import type { WavFormat } from './wav-format.js';

/** Where the samples lie. */
export interface DataSpan {
  startByte: number;
  frameCount: number;
}

/** Finds the one format chunk to use; several are reported. */
export function chooseFormatChunk(list: ChunkList, fileName: string, warnings: string[]): Chunk {
  const found = list.chunks.filter((c) => c.id === 'fmt ');
  if (found.length === 0) throw new VolaryError('bad-audio', { what: 'no format chunk', where: quoteName(fileName), ...describeStop(list) });
  if (found.length > 1) warnings.push(`${found.length} format chunks; used the first, at byte ${found[0].startByte - 8}`);
  return found[0];
}

/** Finds the one data chunk to use: the first that holds anything. Several are reported. */
export function chooseDataChunk(list: ChunkList, fileName: string, warnings: string[]): Chunk {
  const found = list.chunks.filter((c) => c.id === 'data');
  if (found.length === 0) throw new VolaryError('bad-audio', { what: 'no data chunk', where: quoteName(fileName), ...describeStop(list) });
  const chosen = found.find((c) => c.declaredBytes !== 0n) ?? found[0];
  if (found.length > 1) {
    warnings.push(`${found.length} data chunks; used only number ${found.indexOf(chosen) + 1}, at byte ${chosen.startByte}, of ${chosen.presentBytes} bytes`);
  }
  return chosen;
}

function describeStop(list: ChunkList): { got: string; expected: string } {
  const expected = 'a format chunk and a data chunk';
  if (list.stop === 'cut') return { got: `a chunk '${list.stopChunk?.id}' at byte ${list.stopByte} that declares ${list.stopChunk?.declaredBytes ?? 'no'} bytes, more than the file holds`, expected };
  if (list.stop === 'no-chunk') return { got: `bytes that are no chunk from byte ${list.stopByte} on`, expected };
  if (list.stop === 'too-many') return { got: `too many other chunks before byte ${list.stopByte}`, expected };
  return { got: 'the end of the file', expected };
}

/**
 * Settles how many whole frames there are: min(declared, present) / block; sizes that were never filled in reach to the end of
 * the file. Every disagreement becomes one warning.
 */
export function settleDataSpan(walk: RiffWalk, data: Chunk, format: WavFormat, window: ByteWindow, warnings: string[]): DataSpan {
  const room = window.sizeBytes - data.startByte;
  const isEmptyByMistake = data.declaredBytes === 0n && room > 0 && (walk.stop === 'no-chunk' || walk.stop === 'cut');
  const isOpen = data.declaredBytes === undefined || isEmptyByMistake;
  const presentBytes = isOpen ? room : data.presentBytes;
  if (isOpen) {
    const got = data.declaredBytes === undefined ? 'no length' : 'a length of 0';
    warnings.push(`data chunk declares ${got}, so its size was never filled in; recovered ${room} bytes up to the end of the file`);
  } else if (data.declaredBytes! > BigInt(presentBytes)) {
    warnings.push(`data chunk declares ${data.declaredBytes} bytes but the file holds ${presentBytes} of them; the file is cut short`);
  }
  if (!isOpen) warnAboutTail(walk, data, window, warnings);
  warnAboutRiffSize(walk, data, isOpen, window, warnings);
  const rest = presentBytes % format.blockBytes;
  if (rest > 0) warnings.push(`last frame is incomplete: ${rest} of ${format.blockBytes} bytes; dropped`);
  return { startByte: data.startByte, frameCount: (presentBytes - rest) / format.blockBytes };
}

function warnAboutTail(walk: RiffWalk, data: Chunk, window: ByteWindow, warnings: string[]): void {
  if (walk.stop === 'end' || walk.stop === 'data') return;
  const tailBytes = window.sizeBytes - walk.stopByte;
  let line = `${tailBytes} bytes from byte ${walk.stopByte} on belong to no chunk; not counted as samples`;
  // A writer without 64-bit sizes drops multiples of 2^32 from the field.
  if (tailBytes >= 2 ** 32) line += `; the data size of ${data.declaredBytes} bytes may have lost multiples of 4294967296`;
  warnings.push(line);
}

/** The pad byte at the very end may be left out or not be counted, so one byte of difference means nothing. */
function warnAboutRiffSize(walk: RiffWalk, data: Chunk, isOpen: boolean, window: ByteWindow, warnings: string[]): void {
  if (walk.riffBytes === undefined) {
    if (!isOpen) warnings.push(`size of the whole file was never filled in; believed the data chunk's ${data.declaredBytes} bytes`);
    return;
  }
  if (isOpen || walk.stop !== 'end') return;
  const end = walk.riffBytes + 8n;
  const difference = end - BigInt(window.sizeBytes);
  if (difference >= -1n && difference <= 1n) return;
  warnings.push(`header declares a file of ${end} bytes but it has ${window.sizeBytes}; believed the chunks`);
}
