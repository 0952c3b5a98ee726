import { VolaryError } from '../../schema/errors.js';

export interface BatteryInput {
  capacityMah: number;
  currentMa: number;
  /** Share of the nominal capacity that is counted on: cold, pulsed load and age take the rest. */
  usableShare: number;
  /** Days from the fitting to the end. */
  days: number;
  daysAfterFitting: number;
  daysAfterBattery: number;
}

export interface HandlingDay {
  /** Days since the fitting. */
  day: number;
  what: 'fitted' | 'battery' | 'removed';
  /** Data count again from here, days since the fitting (at most the end). */
  usableFromDay: number;
}

export interface BatteryPlan {
  /** Capacity over current, hours: the ideal. */
  nominalLifeHours: number;
  /** With the share that is counted on, hours. */
  countedLifeHours: number;
  /** Days between changes: whole days where the battery lasts at least one, so that birds are handled at the same hour. */
  changeEveryDays: number;
  changes: number;
  schedule: HandlingDay[];
  /** Days left out, those of the fitting and of changes counted once where they overlap. */
  excludedDays: number;
  usableDays: number;
}

/** Life of a cell, hours: capacity over mean current. */
export function computeBatteryLife(capacityMah: number, currentMa: number): number {
  return capacityMah / currentMa;
}

/**
 * When batteries must be changed in a study, and how many days of data that leaves. A day is 24 hours from the fitting.
 * @throws VolaryError 'not-fit' where more than 2000 changes were needed
 */
export function planBatteries(input: BatteryInput): BatteryPlan {
  const nominalLifeHours = computeBatteryLife(input.capacityMah, input.currentMa);
  const countedLifeHours = nominalLifeHours * input.usableShare;
  const lifeDays = countedLifeHours / 24;
  const changeEveryDays = lifeDays >= 1 ? Math.floor(lifeDays) : lifeDays;
  // Ceiling minus one: a cell that lasts to the very end is not changed there.
  const changes = Math.max(0, Math.ceil(input.days / changeEveryDays - 1e-9) - 1);
  const end = input.days;
  if (changes > MOST_CHANGES) throw new VolaryError('not-fit', { what: 'the battery lasts too short to plan with', got: `${countedLifeHours.toPrecision(3)} hours`, expected: `at most ${MOST_CHANGES} changes in ${input.days} days`, mend: 'capacity_mah is in mAh, current_ma in mA' });
  let excludedDays = Math.min(end, input.daysAfterFitting), reached = excludedDays;
  const schedule: HandlingDay[] = [{ day: 0, what: 'fitted', usableFromDay: excludedDays }];
  for (let k = 1; k <= changes; k++) {
    const day = k * changeEveryDays, until = Math.min(end, day + input.daysAfterBattery);
    excludedDays += Math.max(0, until - Math.max(reached, day));
    reached = Math.max(reached, until);
    schedule.push({ day, what: 'battery', usableFromDay: reached });
  }
  schedule.push({ day: end, what: 'removed', usableFromDay: end });
  return { nominalLifeHours, countedLifeHours, changeEveryDays, changes, schedule, excludedDays, usableDays: Math.max(0, end - excludedDays) };
}

/** A longer schedule is a slip in a unit. */
const MOST_CHANGES = 2000;
