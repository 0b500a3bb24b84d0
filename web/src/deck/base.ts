// What the program says of the study to Deck (GET /api/deck), read with care: what is not there is empty, never guessed.
import type { Cells, FileRow } from './edits';

export interface Base {
  study: string;
  /** how, where the study is simulated; else '' */
  simulated: string;
  zone: string;
  /** of the journal, 16 digits */
  identity: string;
  permit: { number: string; fish: number | null; chases_per_fish: number | null; air_s: number | null; at_death: string; watched_by: string };
  rods: string[];
  rigs: string[];
  unhooking: string[];
  landing: string[];
  hook_locations: string[];
  lost_reasons: string[];
  handling: string[];
  species: string[];
  anaesthetics: string[];
  blood: { ceiling_ml_per_kg: number | null; ceiling_within_h: number | null; due_min: number | null };
  seal_within_s: number | null;
  assemblies: { assembly: string; volume_l: number | null }[];
  fins: { fins: string[]; scale: string[] };
  body: { scale: string[] };
  reflexes: string[];
  words: { role: string[] };
  rows: Record<string, FileRow[]>;
}

type Fields = Record<string, unknown>;
const fields = (value: unknown): Fields => (typeof value === 'object' && value !== null && !Array.isArray(value) ? (value as Fields) : {});
const text = (value: unknown): string => (typeof value === 'string' ? value : '');
const texts = (value: unknown): string[] => (Array.isArray(value) ? value.filter((each): each is string => typeof each === 'string' && each !== '') : []);
const number = (value: unknown): number | null => (typeof value === 'number' && Number.isFinite(value) ? value : null);
const list = (value: unknown): unknown[] => (Array.isArray(value) ? value : []);

const cellsOf = (value: unknown): Cells => Object.fromEntries(Object.entries(fields(value)).filter((each): each is [string, string] => typeof each[1] === 'string'));

const rowOf = (value: unknown): FileRow => {
  const { cells, in_file } = fields(value);
  return { cells: cellsOf(cells), inFile: { ...cellsOf(cells), ...cellsOf(in_file) } };
};

/** Throws where it is no answer of ours. */
export function baseOf(value: unknown): Base {
  const from = fields(value);
  const identity = text(from.identity);
  if (identity === '') throw new Error('the program does not say which study it serves');
  const permit = fields(from.permit);
  const blood = fields(from.blood);
  const fins = fields(from.fins);
  return {
    study: text(from.study),
    simulated: text(from.simulated),
    zone: text(from.zone),
    identity,
    permit: {
      number: text(permit.number), fish: number(permit.fish), chases_per_fish: number(permit.chases_per_fish), air_s: number(permit.air_s), at_death: text(permit.at_death),
      watched_by: text(permit.watched_by),
    },
    rods: texts(from.rods),
    rigs: texts(from.rigs),
    unhooking: texts(from.unhooking),
    landing: texts(from.landing),
    hook_locations: texts(from.hook_locations),
    lost_reasons: texts(from.lost_reasons),
    handling: texts(from.handling),
    species: texts(from.species),
    anaesthetics: texts(from.anaesthetics),
    blood: { ceiling_ml_per_kg: number(blood.ceiling_ml_per_kg), ceiling_within_h: number(blood.ceiling_within_h), due_min: number(blood.due_min) },
    seal_within_s: number(from.seal_within_s),
    assemblies: list(from.assemblies).map((each) => ({ assembly: text(fields(each).assembly), volume_l: number(fields(each).volume_l) })).filter(({ assembly }) => assembly !== ''),
    fins: { fins: texts(fins.fins), scale: texts(fins.scale) },
    body: { scale: texts(fields(from.body).scale) },
    reflexes: texts(from.reflexes),
    words: { role: texts(fields(from.words).role) },
    rows: Object.fromEntries(Object.entries(fields(from.rows)).map(([word, rows]) => [word, list(rows).map(rowOf)])),
  };
}

/** A number as people type it, with point or comma; null for anything that could be read in two ways. */
export function numberOf(typed: string): number | null {
  const plain = typed.trim().replace(/\s/g, '');
  return /^\d+([.,]\d*)?$|^[.,]\d+$/.test(plain) ? Number(plain.replace(',', '.')) : null;
}

/** As cells have it. */
export const cellOf = (value: number): string => String(Number(value.toPrecision(12)));
export const isoOf = (ms: number): string => new Date(ms).toISOString();
