import { VolaryError } from '../schema/errors.js';

/**
 * Overlapping Allan deviation of a clock from its offset (phase, seconds) at even steps, after NIST SP 1065 (Riley 2008), section 5.2.4: every start is used.
 * Takes the offsets x[k] at spacing tau0 and the averaging factor m (tau = m tau0); NaN where the series is too short. Blind to a steady rate.
 * @throws VolaryError 'bad-option' where m is no whole number of steps or the step is not positive
 */
export function computeOadev(offsetSec: ArrayLike<number>, tau0Sec: number, m: number): number {
  if (!(tau0Sec > 0 && Number.isInteger(m) && m >= 1)) throw new VolaryError('bad-option', { what: 'no such averaging interval', got: `${m} times ${tau0Sec} s`, expected: 'a whole number of positive steps' });
  let sum = 0;
  let count = 0;
  for (let k = 0; k + 2 * m < offsetSec.length; k++) {
    sum += (offsetSec[k + 2 * m] - 2 * offsetSec[k + m] + offsetSec[k]) ** 2;
    count++;
  }
  return count ? Math.sqrt(sum / (2 * count)) / (m * tau0Sec) : NaN;
}
