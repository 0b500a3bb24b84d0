// What a cell of a table may hold, told while it is typed: the kinds, limits and words of the program's own list of
// columns. The program looks again when the cell is sent, and knows more (other tables, other rows).
import { knownZone } from './clock';
import type { Column } from '../server/api';

export interface CellHabits {
  /** of the study, in which times without an offset are */
  zone: string;
  /** the mark that the table's numbers have */
  decimal: '.' | ',';
}

/** A cell as it is sent: `text` with the decimal point, or what is wrong with it. */
export type CellRead = { text: string; fault: '' } | { text: null; fault: string };

const sound = (text: string): CellRead => ({ text, fault: '' });
const wrong = (fault: string): CellRead => ({ text: null, fault });
const plainNumber = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i;
/** "1,234": a mark before three digits may part thousands */
const maybeThousands = /^[+-]?[1-9]\d{0,2}[.,]\d{3}$/;

/** A number with its decimal point. A mark that is not the table's is taken for a decimal one where it can be nothing else. */
export function numberRead(typed: string, decimal: '.' | ','): CellRead {
  const text = typed.trim();
  const other = decimal === '.' ? ',' : '.';
  if (text.includes('.') && text.includes(',')) return wrong(`“${text}” has a point and a comma: write it with one decimal ${decimal === '.' ? 'point' : 'comma'}`);
  if (text.includes(other) && maybeThousands.test(text)) {
    const asDecimal = text.replace(other, decimal);
    const whole = text.replace(other, '');
    return wrong(`“${text}” can be ${asDecimal} or ${whole}: write the one that is meant`);
  }
  const point = text.replace(',', '.');
  return plainNumber.test(point) && Number.isFinite(Number(point)) ? sound(point) : wrong(`“${text}” is not a number`);
}

/** Lower case, one "_" for whatever stands between letters and digits: as the program compares words. */
export const plainName = (text: string): string =>
  text.toLowerCase().replaceAll(/[^a-z0-9]+/g, '_').replaceAll(/^_+|_+$/g, '');

function limits(text: string, column: Column): CellRead {
  const value = Number(text);
  const { least, most } = column;
  const unit = column.unit === '' || column.unit === 'as unit says' ? '' : ` ${column.unit}`;
  const isUnder = least !== null && (column.may_equal_least ? value < least : value <= least);
  if (!isUnder && !(most !== null && value > most)) return sound(text);
  const from = least === null ? '' : `${column.may_equal_least ? 'from' : 'more than'} ${least}`;
  const to = most === null ? '' : `up to ${most}`;
  return wrong(`${text} is outside what it may be: ${[from, to].filter(Boolean).join(', ')}${unit}`);
}

function numberCell(typed: string, column: Column, habits: CellHabits): CellRead {
  const read = numberRead(typed, habits.decimal);
  return read.text === null ? read : limits(read.text, column);
}

function limitCell(typed: string, column: Column, habits: CellHabits): CellRead {
  const text = typed.trim();
  const sign = /^[<>]/.exec(text)?.[0] ?? '';
  const read = numberRead(text.slice(sign.length), habits.decimal);
  if (read.text === null) return wrong(`${read.fault}; a limit is written as “<0.5” or “>20”, a cell that was not measured is empty`);
  if (Number(read.text) < 0) return wrong(`“${text}” is below 0`);
  const limited = limits(read.text, column);
  return limited.text === null ? limited : sound(sign + read.text);
}

function wordCell(typed: string, column: Column): CellRead {
  const word = plainName(typed);
  if (column.words.includes(word)) return sound(word);
  const near = column.words.filter((each) => word !== '' && (each.startsWith(word.slice(0, 3)) || each.includes(word)));
  const some = near.length > 0 && near.length < column.words.length ? `did you mean ${near.join(' or ')}?` : `it is one of ${column.words.join(', ')}`;
  return wrong(`“${typed}” is none of this column’s words: ${some}`);
}

// ---------------------------------------------------------------- times

const dateFirst = /^(\d{4})[-/](\d{1,2})[-/](\d{1,2})(?:(?:[Tt]| +)(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,]\d+)?)?)?$/;
const withOffset = /^(\d{4})-(\d{2})-(\d{2})[Tt ](\d{2}):(\d{2})(?::(\d{2})(?:[.,]\d+)?)?(?:[Zz]|[+-]\d{2}:?\d{2})$/;
const otherOrder = /^(\d{1,2})[/.-](\d{1,2})[/.-](\d{4}|\d{2})(?!\d)(.*)$/;
const wanted = 'write it as 2026-06-14 21:05, or with an offset, 2026-06-14T21:05+02:00';

function isDay(year: number, month: number, day: number): boolean {
  const date = new Date(Date.UTC(year, month - 1, day));
  return date.getUTCFullYear() === year && date.getUTCMonth() === month - 1 && date.getUTCDate() === day;
}

/** The offsets from UTC, in minutes, under which a wall clock of the zone shows these minutes since 1970. */
function offsetsOf(wallMinutes: number, zone: string): number[] {
  const timeZone = knownZone(zone);
  if (timeZone === undefined) return [0];
  const format = new Intl.DateTimeFormat('en-GB', { timeZone, timeZoneName: 'longOffset' });
  const offsetAt = (minutes: number): number => {
    const name = format.formatToParts(minutes * 60_000).find((part) => part.type === 'timeZoneName')?.value ?? '';
    const found = /([+-])(\d{2}):(\d{2})/.exec(name);
    return found ? (found[1] === '-' ? -1 : 1) * (Number(found[2]) * 60 + Number(found[3])) : 0;
  };
  const near = [...new Set([-1440, 1440].map((shift) => offsetAt(wallMinutes + shift)))];
  return near.filter((offset) => offsetAt(wallMinutes - offset) === offset);
}

const offsetText = (minutes: number): string => {
  const size = Math.abs(minutes);
  return `${minutes < 0 ? '-' : '+'}${String(Math.floor(size / 60)).padStart(2, '0')}:${String(size % 60).padStart(2, '0')}`;
};

function timeCell(typed: string, { zone }: CellHabits): CellRead {
  const text = typed.trim();
  const zoned = withOffset.exec(text);
  const found = zoned ?? dateFirst.exec(text);
  if (!found) {
    const other = otherOrder.exec(text);
    if (!other) return wrong(`“${text}” is not a time: ${wanted}`);
    return wrong(`“${text}” does not say for sure which is day and which month: ${wanted}`);
  }
  const [year, month, day, hour, minute, second] = found.slice(1, 7).map((part) => (part === undefined ? null : Number(part)));
  if (!isDay(year ?? 0, month ?? 0, day ?? 0)) return wrong(`“${text}” is a day that does not exist`);
  if ((year ?? 0) < 1950 || (year ?? 0) >= 2100) return wrong(`“${text}”: the year lies outside 1950 to 2099`);
  if (hour === null || hour === undefined) return wrong(`“${text}” has no time of day: add it, as ${text} 21:05`);
  if (hour > 23 || (minute ?? 0) > 59 || (second ?? 0) > 59) return wrong(`“${text}” has no such time of day`);
  if (zoned) return sound(text);
  const offsets = offsetsOf(Date.UTC(year ?? 0, (month ?? 1) - 1, day ?? 1, hour, minute ?? 0) / 60_000, zone);
  if (offsets.length === 0) return wrong(`“${text}” never was in ${zone}: the clocks went forward over it`);
  if (offsets.length > 1) return wrong(`“${text}” came twice in ${zone}, as the clocks went back: write ${offsets.map((each) => `${text}${offsetText(each)}`).join(' or ')}`);
  return sound(text);
}

/** A time of a table as ms since 1970; null where it is none, or not one moment. */
export function instantOf(text: string, zone: string): number | null {
  const read = timeCell(text, { zone, decimal: '.' });
  if (read.text === null) return null;
  const bare = read.text.replace(' ', 'T').replaceAll('/', '-');
  if (withOffset.test(read.text)) return Date.parse(bare);
  const [year, month, day, hour, minute, second] = (dateFirst.exec(read.text) ?? []).slice(1, 7).map((part) => Number(part ?? 0));
  const wall = Date.UTC(year ?? 0, (month ?? 1) - 1, day ?? 1, hour, minute, second);
  return wall - (offsetsOf(wall / 60_000, zone)[0] ?? 0) * 60_000;
}

/** Day-first or month-first dates, as spreadsheets paste them, year first; null where it is none, or no day. */
export function yearFirst(typed: string, order: 'day_month' | 'month_day'): string | null {
  const found = otherOrder.exec(typed.trim());
  if (!found) return null;
  const [a, b] = [Number(found[1]), Number(found[2])];
  const [day, month] = order === 'day_month' ? [a, b] : [b, a];
  const year = Number(found[3]) < 100 ? 2000 + Number(found[3]) : Number(found[3]);
  const two = (n: number) => String(n).padStart(2, '0');
  return isDay(year, month, day) ? `${year}-${two(month)}-${two(day)}${found[4] ?? ''}` : null;
}

/** `column` is null for one of the study's own, which takes any text. */
export function cellRead(typed: string, column: Column | null, habits: CellHabits): CellRead {
  if (/[\r\n]/.test(typed)) return wrong('a cell has one line');
  if (column === null) return sound(typed);
  if (typed.trim() === '') return column.needed ? wrong(`it must not be empty: ${column.what}`) : sound('');
  switch (column.kind) {
    case 'number':
      return numberCell(typed, column, habits);
    case 'number or limit':
      return limitCell(typed, column, habits);
    case 'word':
      return wordCell(typed, column);
    case 'time':
      return timeCell(typed, habits);
    case 'channel':
      return /^[^:]+:.+$/.test(typed.trim()) ? sound(typed.trim()) : wrong(`“${typed}” names no channel: write trace:channel, as the brief names them`);
    case 'name':
    case 'text':
      return sound(typed.trim());
  }
}
