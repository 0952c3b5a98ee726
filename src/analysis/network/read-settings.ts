import { VolaryError } from '../../schema/errors.js';
import { DEFAULT_NETWORK_SETTINGS } from './types.js';
import type { NetworkSettings } from './types.js';

/** Fills in defaults and refuses settings that contradict each other. */
export function readSettings(options: Partial<NetworkSettings>): NetworkSettings {
  const given = Object.fromEntries(Object.entries(options).filter(([, value]) => value !== undefined));
  const s: NetworkSettings = { ...DEFAULT_NETWORK_SETTINGS, ...given };
  const refuse = (where: string, got: number, expected: string): never => {
    throw new VolaryError('bad-option', { where, what: 'does not fit the other settings', got: String(got), expected });
  };
  for (const [name, value] of Object.entries(s)) {
    if (typeof value === 'number' && !Number.isFinite(value)) refuse(name, value, 'a finite number');
  }
  if (!(s.fromSec >= 0)) refuse('fromSec', s.fromSec, 'at least 0');
  if (!(s.toSec > s.fromSec)) refuse('toSec', s.toSec, `more than ${s.fromSec}, the start of the window`);
  if (s.jitterSec < 4 * s.toSec) refuse('jitterSec', s.jitterSec, `at least ${4 * s.toSec}, four times the end of the reply window`);
  if (s.blockSec < 20 * s.toSec || s.blockSec < 2 * s.jitterSec) refuse('blockSec', s.blockSec, `at least ${Math.max(20 * s.toSec, 2 * s.jitterSec)}`);
  if (!(s.leastRatio >= 1)) refuse('leastRatio', s.leastRatio, 'at least 1');
  if (!(s.leastRateRatio >= 1)) refuse('leastRateRatio', s.leastRateRatio, 'at least 1');
  if (!(s.missedShare >= 0 && s.missedShare < 1)) refuse('missedShare', s.missedShare, 'at least 0 and less than 1');
  if (!(s.binSec >= 1e-3)) refuse('binSec', s.binSec, 'at least 0.001');
  if (!(s.reachSec >= s.binSec)) refuse('reachSec', s.reachSec, `at least one bin of ${s.binSec}`);
  if (!(s.ridge > 0)) refuse('ridge', s.ridge, 'more than 0');
  if (!(s.falseShare > 0 && s.falseShare < 1)) refuse('falseShare', s.falseShare, 'more than 0 and less than 1');
  return s;
}
