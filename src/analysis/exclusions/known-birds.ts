import { VolaryError } from '../../schema/errors.js';

/** Birds that the tables of a result name, by track or by call, in order; a caller without a tag is none of them. */
export function listKnownBirds(tracks: readonly { track: string }[], calls: readonly { bird: string }[]): string[] {
  return [...new Set([...tracks.map((t) => t.track), ...calls.map((c) => c.bird)])].filter((b) => b !== 'none' && b !== '').sort();
}

/**
 * Refuses windows of a bird that no table names: a misspelt name would leave nothing out, and nobody would know. An empty name means all birds.
 * @param file where the windows were read, for the message
 * @throws VolaryError 'bad-table'.
 */
export function refuseUnknownBirds(windows: readonly { bird: string }[], known: readonly string[], file?: string): void {
  const at = windows.findIndex((w) => w.bird !== '' && !known.includes(w.bird));
  if (at < 0) return;
  throw new VolaryError('bad-table', {
    ...(file === undefined ? {} : { where: `${file} entry ${at + 1}` }), what: 'a bird that is in no table', got: JSON.stringify(windows[at].bird), expected: known.join(', '), mend: 'correct the name, or leave it empty for all birds',
  });
}
