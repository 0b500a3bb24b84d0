// Times as they stand on field sheets, read in the study's zone, with the date carried on from line to line.
import { cellRead, instantOf } from '../cells';
import type { Column } from '../../server/api';

export interface Day {
  year: number;
  month: number;
  day: number;
}

export interface TimeOfDay {
  hour: number;
  minute: number;
  /** null: not written */
  second: number | null;
}

export type Read<T> = { value: T; fault: '' } | { value: null; fault: string };
const sound = <T>(value: T): Read<T> => ({ value, fault: '' });
const wrong = (fault: string): { value: null; fault: string } => ({ value: null, fault });

const parted = /^(\d{1,2})[:.,h](\d{2})(?:[:.,](\d{2}))?$/i;
const plain = /^(\d{1,2})(\d{2})$/;
const plainWithSeconds = /^(\d{1,2})(\d{2})(\d{2})$/;

/** "612", "0612", "6:12", "6.12", "6h12" as 06:12; "061230", "6:12:30" with seconds. */
export function timeOfDayRead(typed: string): Read<TimeOfDay> {
  const text = typed.trim();
  const found = parted.exec(text) ?? plain.exec(text) ?? plainWithSeconds.exec(text);
  if (!found) return wrong(`“${text}” is no time of day: write 612, 6:12 or 6:12:30`);
  const [hour, minute, second] = [Number(found[1]), Number(found[2]), found[3] === undefined ? null : Number(found[3])];
  if (hour > 23 || minute > 59 || (second ?? 0) > 59) return wrong(`“${text}” has no such time of day`);
  return sound({ hour, minute, second });
}

const isDay = ({ year, month, day }: Day): boolean => {
  const date = new Date(Date.UTC(year, month - 1, day));
  return date.getUTCFullYear() === year && date.getUTCMonth() === month - 1 && date.getUTCDate() === day;
};

const yearFirst = /^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})$/;

/** A date, year first, as the sheet's head asks for it. */
export function dayRead(typed: string): Read<Day> {
  const text = typed.trim();
  const found = yearFirst.exec(text);
  if (!found) return wrong(text === '' ? 'the date is missing' : `“${text}” is no date: write year, month and day, as 2026-06-14`);
  const day = { year: Number(found[1]), month: Number(found[2]), day: Number(found[3]) };
  return isDay(day) ? sound(day) : wrong(`“${text}” is a day that does not exist`);
}

const two = (n: number): string => String(n).padStart(2, '0');
export const dayText = ({ year, month, day }: Day): string => `${year}-${two(month)}-${two(day)}`;
export const timeText = ({ hour, minute, second }: TimeOfDay): string => `${two(hour)}:${two(minute)}${second === null ? '' : `:${two(second)}`}`;

function nextDay(day: Day): Day {
  const date = new Date(Date.UTC(day.year, day.month - 1, day.day + 1));
  return { year: date.getUTCFullYear(), month: date.getUTCMonth() + 1, day: date.getUTCDate() };
}

const minutesOf = ({ hour, minute }: TimeOfDay): number => hour * 60 + minute;

/** A jump back by more than this is past midnight; less is a line that was written late. */
const halfDay = 12 * 60;

/** The day on which a time lies that follows another one on the sheet. */
export function dayAfter(before: { day: Day; time: TimeOfDay } | null, start: Day, time: TimeOfDay): Day {
  if (before === null) return start;
  return minutesOf(before.time) - minutesOf(time) > halfDay ? nextDay(before.day) : before.day;
}

const timeColumn: Column = { name: 'at', kind: 'time', needed: true, unit: '', what: '', words: [], least: null, may_equal_least: true, most: null };

export interface Moment {
  day: Day;
  time: TimeOfDay;
  /** as entries have it: ISO in UTC, to the second */
  iso: string;
  /** ms since 1970 */
  ms: number;
}

/** A wall clock's time in the zone as one moment; an hour that came twice, or never, is a fault with what to do. */
export function momentRead(day: Day, time: TimeOfDay, zone: string): Read<Moment> {
  const text = `${dayText(day)} ${timeText(time)}`;
  const read = cellRead(text, timeColumn, { zone, decimal: '.' });
  const ms = read.text === null ? null : instantOf(read.text, zone);
  if (ms === null) {
    const twice = read.fault.includes('came twice');
    return wrong(twice ? `${timeText(time)} came twice that night, as the clocks went back: enter this line under Tables, with its offset` : read.fault);
  }
  return sound({ day, time, ms, iso: new Date(ms).toISOString().replace('.000Z', 'Z') });
}
