// A logger's file before it is taken in: which settings answer what the reader asks, and what is sent of them.
import type { Look, SettingSection, Stop } from '../server/api';
import { knownZone } from './clock';

/** Keys of a [[trace]] that say how a file is written, in the order in which they are asked. */
export const fileKeys = [
  'zone', 'date_order', 'time_form', 'start', 'decimal', 'delimiter', 'header_line', 'units_line', 'first_data_line', 'encoding', 'missing_words', 'flush_words', 'sealed_words',
  'assumed_salinity', 'assumed_pressure_kpa',
] as const;
export type FileKey = (typeof fileKeys)[number];

export interface ColumnDraft {
  /** place of the column, from 1 */
  index: number;
  use: string;
  unit: string;
  channel: string;
}

/** What a person said of the file; empty texts are not said. */
export interface ReadDraft {
  file: Partial<Record<FileKey, string>>;
  columns: ColumnDraft[];
}

const listKeys: readonly string[] = ['missing_words', 'flush_words', 'sealed_words'];
const numberKeys: readonly string[] = ['header_line', 'units_line', 'first_data_line', 'assumed_salinity', 'assumed_pressure_kpa'];

/** As the keys of a [[trace]]. A number that is none goes as it is: the program says what is wrong with it. */
export function settingsOf({ file, columns }: ReadDraft): Record<string, unknown> {
  const out: Record<string, unknown> = {};
  for (const key of fileKeys) {
    const text = (file[key] ?? '').trim();
    if (text === '') continue;
    const number = Number(text.replace(',', '.'));
    out[key] = listKeys.includes(key) ? text.split(/[,;]/).map((word) => word.trim()).filter(Boolean) : numberKeys.includes(key) && Number.isFinite(number) ? number : text;
  }
  const said = columns.flatMap(({ index, use, unit, channel }) => {
    const column = { ...(use === '' ? {} : { use }), ...(unit.trim() === '' ? {} : { unit: unit.trim() }), ...(channel.trim() === '' ? {} : { channel: channel.trim() }) };
    return Object.keys(column).length === 0 ? [] : [{ index, ...column }];
  });
  if (said.length > 0) out.column = said;
  return out;
}

export interface Asked {
  keys: FileKey[];
  /** whether what columns are would answer it */
  columns: boolean;
}

/** What would answer it: the settings that the reader's sentence names. */
export function askedBy(stop: Stop): Asked {
  const said = stop.remedy;
  const keys = fileKeys.filter((key) => new RegExp(`(set|or|leave|,) ${key}\\b(?! points)`).test(said));
  return { keys, columns: /\[\[trace\.column\]\]|use = "|unit in/.test(said) };
}

/** What each order would make of a date that fits several: "8 June 2026", by the setting's word. */
export function readingsOf(stop: Stop): { word: string; date: string }[] {
  const words: Record<string, string> = { year: 'year_month_day', day: 'day_month_year', month: 'month_day_year' };
  return [...stop.found.matchAll(/(?:may be|or) ([^"()]+) \((year|day|month) first\)/g)].map((found) => ({ word: words[found[2] ?? ''] ?? '', date: found[1] ?? '' }));
}

/** "raw/shore/day9.csv" */
export const placeFor = (trace: string, file: string): string => `raw/${trace.trim() || '…'}/${file}`;

/** A name for a new trace: the file's, without its date and ending. */
export function traceNameOf(file: string): string {
  const bare = file.replace(/\.[^.]*$/, '').toLowerCase().replaceAll(/\d{4}[-_.]?\d{2}[-_.]?\d{2}|\d{2}[-_.]\d{2}[-_.]\d{4}/g, ' ');
  return bare.replaceAll(/[^a-z0-9]+/g, '_').replaceAll(/^_+|_+$|_?\d+$/g, '') || 'logger';
}

/** Facts about the file as a whole: those about columns stand in their table. */
export const factsOf = (look: Look): string[] => look.understood.filter((line) => !/^column \d+ "/.test(line));

/** Whether a line tells of something that is not in order. */
export const isTrouble = (line: string): boolean =>
  /^(refused|gap|line \d+ set aside|the clock steps|the last line is cut|sampling changes|column ".*": \d+ cells? missing)/.test(line) || /^\d+ rows? (refused|with the same time)/.test(line) || /^\S+ line \d+/.test(line);

/** "2026-04-03 11:00:00 +01:00": as a clock of the zone shows it */
export function zonedText(iso: string, zone: string): string {
  const timeZone = knownZone(zone);
  const ms = Date.parse(iso);
  const parts = new Intl.DateTimeFormat('en-GB', {
    year: 'numeric', month: '2-digit', day: '2-digit', hour: '2-digit', minute: '2-digit', second: '2-digit', hourCycle: 'h23', timeZoneName: 'longOffset', timeZone: timeZone ?? 'UTC',
  }).formatToParts(ms);
  const of = (type: string) => parts.find((part) => part.type === type)?.value ?? '';
  const offset = of('timeZoneName').replace('GMT', '');
  return `${of('year')}-${of('month')}-${of('day')} ${of('hour')}:${of('minute')}:${of('second')} ${offset === '' ? '+00:00' : offset}`;
}

/** Words that a setting may have, from the program's own list. */
export const wordsFor = (sections: SettingSection[], section: string, key: string): string[] =>
  sections.find((each) => each.section === section)?.settings.find((each) => each.key === key)?.words ?? [];
export const whyOf = (sections: SettingSection[], section: string, key: string): string =>
  sections.find((each) => each.section === section)?.settings.find((each) => each.key === key)?.why ?? '';

/** "312.5 MB" */
export const sizeText = (bytes: number): string =>
  bytes < 1000 ? `${bytes} bytes` : bytes < 1e6 ? `${(bytes / 1e3).toFixed(1)} kB` : `${(bytes / 1e6).toFixed(1)} MB`;

/** The first lines of a file as text: UTF-16 where its mark says so, else UTF-8, else as old spreadsheets write. */
export function firstLines(bytes: Uint8Array, most: number): string[] {
  const [a, b] = bytes;
  const encoding = a === 0xff && b === 0xfe ? 'utf-16le' : a === 0xfe && b === 0xff ? 'utf-16be' : 'utf-8';
  let text = new TextDecoder(encoding).decode(bytes);
  if (encoding === 'utf-8' && text.slice(0, -3).includes('\ufffd')) text = new TextDecoder('windows-1252').decode(bytes);
  return text.split(/\r\n|\n|\r/).slice(0, most);
}
