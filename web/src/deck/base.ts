// What the program says of the study to Deck (GET /api/deck).
import { boatOf, fields, list, type Boat } from '../data/boat';
import type { Cells, FileRow } from './edits';

export interface Base extends Boat {
  rows: Record<string, FileRow[]>;
}

const cellsOf = (value: unknown): Cells => Object.fromEntries(Object.entries(fields(value)).filter((each): each is [string, string] => typeof each[1] === 'string'));

const rowOf = (value: unknown): FileRow => {
  const { cells, in_file } = fields(value);
  return { cells: cellsOf(cells), inFile: { ...cellsOf(cells), ...cellsOf(in_file) } };
};

/** Throws where it is no answer of ours. */
export function baseOf(value: unknown): Base {
  const boat = boatOf(value);
  if (boat.identity === '') throw new Error('the program does not say which study it serves');
  return { ...boat, rows: Object.fromEntries(Object.entries(fields(fields(value).rows)).map(([word, rows]) => [word, list(rows).map(rowOf)])) };
}

/** A number as people type it, with point or comma; null for anything that could be read in two ways. */
export function numberOf(typed: string): number | null {
  const plain = typed.trim().replace(/\s/g, '');
  return /^\d+([.,]\d*)?$|^[.,]\d+$/.test(plain) ? Number(plain.replace(',', '.')) : null;
}

/** As cells have it. */
export const cellOf = (value: number): string => String(Number(value.toPrecision(12)));
export const isoOf = (ms: number): string => new Date(ms).toISOString();
