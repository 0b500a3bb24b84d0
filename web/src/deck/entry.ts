// One entry of the journal as a phone makes it and sends it (docs/journal.md): plain values, the order of entries, and the
// clock that puts those of several devices into one order. The same as src/store/entry.cpp and src/store/hybrid_time.cpp.

import type { CarriedEntry } from '../server/api';

/** As it goes over the line; `monotonic_us` since the page was opened, `boot` a word for that opening. */
export type Entry = CarriedEntry;
export type Role = Entry['role'];

export interface HybridTime {
  wall_us: number;
  count: number;
}

/** A clock this far ahead of ours is wrong, not fast: ours does not follow it. */
export const mostAheadUs = 24 * 3600 * 1e6;
const mostCount = 2 ** 32 - 1;

const nextAfter = ({ wall_us, count }: HybridTime): HybridTime => (count === mostCount ? { wall_us: wall_us + 1, count: 0 } : { wall_us, count: count + 1 });

export const compareTimes = (a: HybridTime, b: HybridTime): number => a.wall_us - b.wall_us || a.count - b.count;

/** The time of a new entry; later than `last` whatever the wall shows. */
export const tick = (last: HybridTime, wallUs: number): HybridTime => (wallUs > last.wall_us ? { wall_us: wallUs, count: 0 } : nextAfter(last));

/** The device's time after it has seen an entry of time `seen`. */
export const receive = (last: HybridTime, seen: HybridTime, wallUs: number): HybridTime =>
  seen.wall_us - wallUs > mostAheadUs ? tick(last, wallUs) : tick(compareTimes(last, seen) < 0 ? seen : last, wallUs);

export const idOf = ({ device, sequence }: Entry): string => `${device}:${sequence}`;

/** Total, and the same whatever the order in which they arrived. */
export const compareEntries = (a: Entry, b: Entry): number =>
  a.hybrid_wall_us - b.hybrid_wall_us || a.hybrid_count - b.hybrid_count || (a.device < b.device ? -1 : a.device > b.device ? 1 : a.sequence - b.sequence);

/** The bytes by which two entries are the same or not, as text. */
export function canonicalText(entry: Entry): string {
  const bytes = new TextEncoder();
  const fields = [
    entry.device, entry.sequence, entry.hybrid_wall_us, entry.hybrid_count, entry.wall_us, entry.monotonic_us, entry.boot, entry.clock_offset_us ?? '',
    entry.author, entry.role, entry.act, entry.content, entry.reason,
  ];
  return `backeddy entry 1\n${fields.map((field) => `${bytes.encode(String(field)).length}:${field}\n`).join('')}`;
}

/** In their order, each id once: of two different ones under one id the first of the list stands. */
export function inOrder(entries: Iterable<Entry>): Entry[] {
  const known = new Map<string, Entry>();
  for (const entry of entries) if (!known.has(idOf(entry))) known.set(idOf(entry), entry);
  return [...known.values()].sort(compareEntries);
}

/** When it was done, ms since 1970 by the server's clock as far as the device's offset is known. */
export const momentOf = (entry: Entry): number => (entry.wall_us + (entry.clock_offset_us ?? 0)) / 1000;

/** 64 bits made at random, as 16 digits. */
export const newDevice = (): string => [...crypto.getRandomValues(new Uint8Array(8))].map((byte) => byte.toString(16).padStart(2, '0')).join('');

const isText = (value: unknown, least: number, most: number): boolean => {
  if (typeof value !== 'string' || value.includes('\0')) return false;
  const { length } = new TextEncoder().encode(value);
  return length >= least && length <= most;
};
const isWhole = (value: unknown, least: number): boolean => Number.isSafeInteger(value) && (value as number) >= least;

/** What the other side sent, as an entry; null for what is none. */
export function entryOf(value: unknown): Entry | null {
  const it = value as Partial<Entry> | null;
  const isGood =
    typeof it === 'object' && it !== null && typeof it.device === 'string' && /^[0-9a-f]{16}$/.test(it.device) && isWhole(it.sequence, 1) &&
    isWhole(it.hybrid_wall_us, 0) && isWhole(it.hybrid_count, 0) && isWhole(it.wall_us, 0) && isWhole(it.monotonic_us, 0) && isText(it.boot, 0, 100) &&
    (it.clock_offset_us === null || Number.isSafeInteger(it.clock_offset_us)) && isText(it.author, 1, 200) &&
    (it.role === 'crew' || it.role === 'scientist' || it.role === 'viewer') && isText(it.act, 1, 100) && isText(it.content, 0, 2 ** 20) && isText(it.reason, 0, 10_000);
  return isGood ? (it as Entry) : null;
}
