/** One span of the day: when it lies, and the rate in it on a day and in the baseline. */
export interface ProfileSlot { hour: number; value: number; baseline: number }

/** A span's part in the shift of the calling time, whose mean over spans is the shift. */
export interface TimingPart { shiftHours: number; centreHour: number; spreadHours: number }

const DAY_HOURS = 24;
/** Below this length of the mean vector calling is spread so evenly over the day that its centre means nothing. Our choice, no source. */
const LEAST_LENGTH = 0.1;

/**
 * Centre of hours of the day, on a circle: mean direction and length (0 to 1) of the mean vector (Mardia & Jupp 2000, Directional
 * Statistics, section 2.2.1).
 * @param hours 0 to 24. @param weights 0 or more, one per hour; NaN comes out where they sum to 0.
 */
export function findCentre(hours: readonly number[], weights: readonly number[]): { hour: number; length: number } {
  let [x, y, whole] = [0, 0, 0];
  hours.forEach((hour, n) => {
    const angle = (2 * Math.PI * hour) / DAY_HOURS;
    x += weights[n] * Math.cos(angle);
    y += weights[n] * Math.sin(angle);
    whole += weights[n];
  });
  const hour = (Math.atan2(y, x) / (2 * Math.PI)) * DAY_HOURS;
  return { hour: hour < 0 ? hour + DAY_HOURS : hour, length: Math.hypot(x, y) / whole };
}

/** From one hour to another by the shorter way, -12 to 12. */
export function subtractHours(to: number, from: number): number {
  return to - from - DAY_HOURS * Math.round((to - from) / DAY_HOURS);
}

/**
 * How far calling has moved within the day: the mean hour of calling less that of the baseline, both counted from the baseline's centre and corrected
 * for effort, so that fewer calls alone change nothing. Cut into one part per span of the day; null where the baseline has no centre or the
 * day no call.
 */
export function compareTiming(slots: readonly ProfileSlot[]): TimingPart[] | null {
  const sum = (pick: (s: ProfileSlot) => number): number => slots.reduce((s, slot) => s + pick(slot), 0);
  const [value, baseline] = [sum((s) => s.value), sum((s) => s.baseline)];
  if (!(value > 0) || !(baseline > 0)) return null;
  const centre = findCentre(slots.map((s) => s.hour), slots.map((s) => s.baseline));
  if (!(centre.length >= LEAST_LENGTH)) return null;
  const away = slots.map((s) => subtractHours(s.hour, centre.hour));
  const mean = slots.reduce((s, slot, n) => s + (slot.baseline / baseline) * away[n], 0);
  const spreadHours = Math.sqrt(slots.reduce((s, slot, n) => s + (slot.baseline / baseline) * (away[n] - mean) ** 2, 0));
  if (!(spreadHours > 0)) return null;
  // Shares sum to 1 on both sides, so that the baseline's mean may be taken off: hours near it then hardly matter.
  return slots.map((s, n) => ({ shiftHours: slots.length * (s.value / value - s.baseline / baseline) * (away[n] - mean), centreHour: centre.hour, spreadHours }));
}
