// The first and last reading that a spell's slope uses, and moving them from reading to reading.
import type { Stay } from './results';
import { seconds } from './read';
import { sealedEnd } from './journal';

export type Bound = 'first' | 'last';

/** s since the trace's start. */
export interface Bounds {
  first: number;
  last: number;
}

/** As they are used now. */
export function boundsOf(stay: Stay, spell: number): Bounds {
  const zero = seconds(stay.trace.from);
  return { first: seconds(stay.spells.from[spell] ?? '') - zero, last: seconds(stay.spells.to[spell] ?? '') - zero };
}

/** When the chamber was closed and opened again: no slope reaches into a flush. */
export function sealedSpan(stay: Stay, spell: number): { from: number; to: number } {
  const zero = seconds(stay.trace.from);
  return { from: seconds(stay.spells.sealed_from[spell] ?? stay.spells.from[spell] ?? '') - zero, to: sealedEnd(stay, spell) - zero };
}

/** Two readings closer than this are one: instants are written to the millisecond. */
const sameReading = 0.002;

/** The reading before (-1) or behind (1) `at`; null where there is none. Readings ascend. */
export function nextReading(readings: number[], at: number, step: 1 | -1): number | null {
  if (step === 1) return readings.find((each) => each > at + sameReading) ?? null;
  let found: number | null = null;
  for (const each of readings) if (each < at - sameReading) found = each;
  return found;
}

export function nearestReading(readings: number[], at: number): number | null {
  let found: number | null = null;
  for (const each of readings) if (found === null || Math.abs(each - at) < Math.abs(found - at)) found = each;
  return found;
}

/** Whether a bound may stand there: within the sealed spell, the first before the last. */
export function mayStand(bound: Bound, at: number, others: Bounds, sealed: { from: number; to: number }): boolean {
  const isSealed = at >= sealed.from - sameReading && at <= sealed.to + sameReading;
  return isSealed && (bound === 'first' ? at < others.last - sameReading : at > others.first + sameReading);
}

/** As decisions.csv has it. Readings come rounded to the millisecond: one more on the outer side, and the reading itself is
 *  within; but not out of the sealed spell. */
export function boundText(stay: Stay, spell: number, bound: Bound, at: number): string {
  const zero = seconds(stay.trace.from);
  const sealed = sealedSpan(stay, spell);
  const ms = Math.round((zero + at) * 1000) + (bound === 'first' ? -1 : 1);
  if (ms <= (zero + sealed.from) * 1000) return stay.spells.sealed_from[spell] ?? '';
  return new Date(Math.min(ms, Math.floor((zero + sealed.to) * 1000))).toISOString().replace('.000Z', 'Z');
}

/** A moment by which the spell is found again whatever becomes of its bounds: the middle of the sealed time. */
export function momentOf(stay: Stay, spell: number): string {
  const sealed = sealedSpan(stay, spell);
  const middle = Math.round(seconds(stay.trace.from) + (sealed.from + sealed.to) / 2);
  return new Date(middle * 1000).toISOString().replace('.000Z', 'Z');
}
