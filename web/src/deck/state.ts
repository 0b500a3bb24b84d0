// The state of the deck: rods, fish and what each of them comes to next, from the study's rows with all entries laid over
// them. A pure function of rows, entries and the time, so that phones with the same entries show the same.
import type { Base } from './base';
import { layOver, type Complaint, type LaidOver, type Row, type Tables } from './edits';
import { compareEntries, idOf, momentOf, type Entry } from './entry';

/** What can be pressed for a fish. */
export type Step =
  | 'landed' | 'lost' | 'back_in_water' | 'sealed' | 'taken_out' | 'blood' | 'chase_start' | 'chase_end' | 'air_start' | 'air_end' | 'released' | 'held';

/** An event with its time; of a fish's card. */
export interface Stamp {
  at: number;
  event: string;
  row: Row;
  /** null for a row of a file */
  entry: Entry | null;
  /** told more than a minute after it happened */
  isLate: boolean;
}

export type Place = 'line' | 'deck' | 'water' | 'chamber' | 'held' | 'released' | 'lost' | 'dead';

export interface FishCard {
  /** its name, or the id of its hook-up while it has none */
  key: string;
  name: string;
  rod: string;
  rig: string;
  species: string;
  tag: string;
  massG: number | null;
  lengthMm: number | null;
  hookLocation: string;
  unhooking: string;
  landing: string;
  stamps: Stamp[];
  place: Place;
  assembly: string;
  hookUp: number | null;
  landed: number | null;
  sealed: number | null;
  last: number;
  /** since when it is out of the water, while the watch runs; and what there was before */
  air: { since: number | null; longestS: number; totalS: number };
  chase: { since: number | null; count: number };
  blood: { drawnMl: number; draws: number; dueAt: number | null };
  sealBy: number | null;
  isRightingLost: boolean;
  /** another fish has its name, and what happened to both stands here */
  isTwice: boolean;
  /** the role of its last stay that is over */
  lastRole: string;
  /** what its stay that goes on is for, if nobody says otherwise */
  role: string;
  next: Step | null;
  fish: Row | null;
  encounter: Row | null;
}

export interface RodState {
  name: string;
  side: 'port' | 'starboard' | '';
  inSince: number | null;
  rig: string;
  bite: number | null;
  /** keys of fish on it */
  hooked: string[];
}

export interface DeckState {
  tables: Tables;
  rods: RodState[];
  /** all that are not over, those in most need first */
  fish: FishCard[];
  over: FishCard[];
  /** of the permit, as far as rows tell */
  used: { fish: number; chases: number };
  worries: string[];
  undone: ReadonlySet<string>;
}

const minute = 60_000;
/** a bite longer ago than this has nothing to do with a hook-up */
export const biteHolds = 10 * minute;
/** what nobody has touched for so long is not on deck any more */
export const forgottenAfter = 72 * 60 * minute;

export const sideOf = (rod: string): RodState['side'] => (/starboard/i.test(rod) ? 'starboard' : /port/i.test(rod) ? 'port' : '');

/** Rods where the brief names none. */
export const rodsOf = (base: Base): string[] => (base.rods.length > 0 ? base.rods : ['port', 'starboard']);

const numberAt = (row: Row | null, column: string): number | null => {
  const cell = row?.cells[column] ?? '';
  const value = cell === '' ? NaN : Number(cell);
  return Number.isFinite(value) ? value : null;
};
const cell = (row: Row | null, column: string): string => row?.cells[column] ?? '';

function stampOf(row: Row, at: string, event: string, entries: ReadonlyMap<string, Entry>): Stamp | null {
  const ms = Date.parse(at);
  if (!Number.isFinite(ms)) return null;
  const entry = entries.get(row.addedBy) ?? null;
  return { at: ms, event, row, entry, isLate: entry !== null && momentOf(entry) - ms > minute };
}

/** By time; at one time those of files first, then as entries stand. */
const byTime = (a: Stamp, b: Stamp): number => a.at - b.at || (a.entry && b.entry ? compareEntries(a.entry, b.entry) : Number(a.entry !== null) - Number(b.entry !== null));

/** Stays and fates of files say what no event says. */
function stampsOfRows(tables: Tables, entries: ReadonlyMap<string, Entry>): Stamp[] {
  const out: (Stamp | null)[] = [];
  for (const row of tables.events ?? []) out.push(stampOf(row, cell(row, 'at'), cell(row, 'event'), entries));
  for (const row of tables.stays ?? []) {
    if (cell(row, 'fish') === '' || row.inFile === null) continue;
    out.push(stampOf(row, cell(row, 'from'), 'sealed', entries), stampOf(row, cell(row, 'to'), 'transfer', entries));
  }
  for (const row of tables.fates ?? []) {
    const what = cell(row, 'what');
    out.push(stampOf(row, cell(row, 'at'), what === 'dead' ? 'died' : what, entries));
  }
  return out.filter((each) => each !== null).sort(byTime);
}

interface Catch {
  hookUp: Stamp;
  stamps: Stamp[];
  lost: Stamp | null;
}

/** Bites, hook-ups and losses that have no fish yet, rod by rod. */
function catchesOf(stamps: readonly Stamp[]): { open: Catch[]; lost: Catch[]; bites: Map<string, Stamp> } {
  const catches: Catch[] = [];
  const bites = new Map<string, Stamp>();
  for (const stamp of stamps) {
    if (cell(stamp.row, 'fish') !== '') continue;
    const rod = cell(stamp.row, 'rod');
    if (stamp.event === 'bite') bites.set(rod, stamp);
    if (stamp.event === 'hook_up') {
      const bite = bites.get(rod);
      bites.delete(rod);
      catches.push({ hookUp: stamp, stamps: bite && stamp.at - bite.at < biteHolds ? [bite, stamp] : [stamp], lost: null });
    }
    if (stamp.event === 'lost') {
      bites.delete(rod);
      const lost = catches.filter((each) => each.lost === null && cell(each.hookUp.row, 'rod') === rod).at(-1);
      if (lost) {
        lost.lost = stamp;
        lost.stamps.push(stamp);
      }
    }
  }
  return { open: catches.filter((each) => each.lost === null), lost: catches.filter((each) => each.lost !== null), bites };
}

/** Where what happened leaves a fish. */
const placeAfter: Record<string, Place> = {
  bite: 'line', hook_up: 'line', lost: 'lost', landed: 'deck', back_in_water: 'water', sealed: 'chamber', transfer: 'water', held: 'held', released: 'released', died: 'dead',
};

/** Length of the runs that `start` and `end` bound, ms; one that goes on is not among them. */
function runs(stamps: readonly Stamp[], start: string, end: string): { since: number | null; lengths: number[] } {
  let since: number | null = null;
  const lengths: number[] = [];
  for (const { at, event } of stamps) {
    if (event === start && since === null) since = at;
    if (event === end && since !== null) {
      lengths.push(at - since);
      since = null;
    }
  }
  return { since, lengths };
}

/** Of draws that the ceiling counts at `now`, mL. */
export function drawnMl(tables: Tables, fish: string, withinH: number | null, now: number): { ml: number; isKnown: boolean } {
  const draws = new Map<string, number>();
  for (const row of tables.blood ?? []) {
    const at = cell(row, 'drawn_at');
    if (cell(row, 'fish') !== fish || (withinH !== null && now - Date.parse(at) > withinH * 3_600_000)) continue;
    draws.set(at, Math.max(draws.get(at) ?? 0, numberAt(row, 'volume_ml') ?? 0));
  }
  const volumes = [...draws.values()];
  return { ml: volumes.reduce((sum, each) => sum + each, 0), isKnown: volumes.every((each) => each > 0) };
}

function nextStep(card: FishCard, base: Base): Step | null {
  if (card.air.since !== null) return 'air_end';
  if (card.chase.since !== null) return 'chase_end';
  switch (card.place) {
    case 'line':
      return 'landed';
    case 'deck':
      return 'back_in_water';
    case 'chamber':
      return base.blood.due_min !== null && card.blood.draws === 0 ? 'blood' : 'taken_out';
    case 'water': {
      if (card.role !== '' && card.role !== 'rest') return 'sealed';
      const most = base.permit.chases_per_fish;
      if (card.lastRole === 'after_capture') return 'sealed';
      return card.lastRole === 'rest' && card.chase.count === 0 && most !== 0 ? 'chase_start' : 'released';
    }
    case 'held':
      return 'released';
    default:
      return null;
  }
}

/** What the stay that begins or goes on is for: after the capture, after a chase, else rest. */
function roleOf(stamps: readonly Stamp[], stays: readonly Row[]): string {
  const lastTo = Math.max(0, ...stays.map((row) => Date.parse(cell(row, 'to'))).filter(Number.isFinite));
  if (stamps.some(({ event, at }) => event === 'chase_start' && at >= lastTo)) return 'after_chase';
  return stays.length === 0 ? 'after_capture' : 'rest';
}

class Reader {
  private readonly base: Base;
  private readonly tables: Tables;
  private readonly now: number;
  private readonly fishRows = new Map<string, Row>();
  /** names that several fish have */
  readonly twice = new Set<string>();

  constructor(base: Base, tables: Tables, now: number) {
    this.base = base;
    this.tables = tables;
    this.now = now;
    for (const row of tables.fish ?? []) {
      const name = cell(row, 'fish');
      if (this.fishRows.has(name)) this.twice.add(name);
      else this.fishRows.set(name, row);
    }
  }

  card(key: string, name: string, stamps: Stamp[]): FishCard {
    const own = (word: string) => (name === '' ? [] : (this.tables[word] ?? []).filter((row) => cell(row, 'fish') === name));
    const fish = this.fishRows.get(name) ?? null;
    const encounter = own('encounters').at(-1) ?? null;
    const last = (event: string): Stamp | undefined => stamps.filter((each) => each.event === event).at(-1);
    const hookUp = last('hook_up')?.at ?? null;
    const landed = last('landed')?.at ?? null;
    const since = hookUp ?? landed;
    // A fish may be met more than once: what was before this capture is another story.
    const stays = own('stays').filter((row) => Date.parse(cell(row, 'to')) >= (since ?? 0)).sort((a, b) => Date.parse(cell(a, 'from')) - Date.parse(cell(b, 'from')));
    const draws = own('blood').filter((row) => Date.parse(cell(row, 'drawn_at')) >= (since ?? 0));
    const placed = stamps.filter(({ event }) => event in placeAfter).at(-1);
    const place = placed ? (placeAfter[placed.event] ?? 'deck') : 'deck';
    const sealed = place === 'chamber' ? (placed ?? null) : null;
    const air = runs(stamps, 'air_start', 'air_end');
    const chase = runs(stamps, 'chase_start', 'chase_end');
    const drawn = drawnMl(this.tables, name, null, this.now);
    const inWater = [last('back_in_water')?.at, last('chase_end')?.at].filter((at) => at !== undefined).sort((a, b) => a - b).at(-1) ?? null;
    const { seal_within_s, blood } = this.base;
    const isOver = place === 'released' || place === 'dead' || place === 'lost';
    const rodRow = last('hook_up')?.row ?? last('bite')?.row ?? last('landed')?.row ?? null;
    const weighed = last('weighed');
    const card: FishCard = {
      key, name, stamps, place, hookUp, fish, encounter,
      rod: cell(rodRow, 'rod'),
      rig: cell(rodRow, 'rig') || cell(encounter, 'rig'),
      species: cell(fish, 'species'),
      tag: cell(fish, 'tag'),
      massG: (weighed && numberAt(weighed.row, 'value')) ?? numberAt(fish, 'mass_g'),
      lengthMm: numberAt(fish, 'fork_length_mm'),
      hookLocation: cell(encounter, 'hook_location'),
      unhooking: cell(encounter, 'unhooking'),
      landing: cell(encounter, 'landing'),
      assembly: sealed ? cell(sealed.row, 'assembly') : '',
      landed,
      sealed: sealed?.at ?? null,
      last: stamps.at(-1)?.at ?? 0,
      air: { since: isOver ? null : air.since, longestS: Math.max(0, ...air.lengths) / 1000, totalS: air.lengths.reduce((sum, each) => sum + each, 0) / 1000 },
      chase: { since: isOver ? null : chase.since, count: stamps.filter(({ event }) => event === 'chase_start').length },
      blood: { drawnMl: drawn.ml, draws: draws.length, dueAt: blood.due_min !== null && landed !== null && draws.length === 0 && !isOver ? landed + blood.due_min * minute : null },
      sealBy: seal_within_s !== null && place === 'water' && inWater !== null && !stays.some((row) => Date.parse(cell(row, 'to')) >= inWater) ? inWater + seal_within_s * 1000 : null,
      isRightingLost: last('righting_lost') !== undefined,
      isTwice: this.twice.has(name),
      lastRole: cell(stays.at(-1) ?? null, 'role'),
      role: roleOf(stamps, stays),
      next: null,
    };
    card.next = nextStep(card, this.base);
    return card;
  }
}

const isOver = ({ place }: FishCard): boolean => place === 'released' || place === 'dead' || place === 'lost';

/** When a card wants somebody: the sooner, the further up. */
export function needOf(card: FishCard): number {
  if (card.place === 'line' || card.place === 'deck' || card.air.since !== null || card.chase.since !== null) return 0;
  return Math.min(card.sealBy ?? Infinity, card.blood.dueAt ?? Infinity);
}

function rodStates(base: Base, stamps: readonly Stamp[], open: readonly Catch[], bites: ReadonlyMap<string, Stamp>, now: number): RodState[] {
  const names = [...new Set([...rodsOf(base), ...open.map(({ hookUp }) => cell(hookUp.row, 'rod'))])];
  return names.map((name) => {
    const own = stamps.filter(({ row }) => cell(row, 'rod') === name);
    const lines = own.filter(({ event }) => event === 'lines_in' || event === 'lines_out').at(-1);
    const bite = bites.get(name);
    return {
      name,
      side: sideOf(name),
      inSince: lines?.event === 'lines_in' ? lines.at : null,
      rig: cell(own.filter(({ row }) => cell(row, 'rig') !== '').at(-1)?.row ?? null, 'rig'),
      bite: bite && now - bite.at < biteHolds ? bite.at : null,
      hooked: open.filter(({ hookUp }) => cell(hookUp.row, 'rod') === name).map(({ hookUp }) => hookUp.row.addedBy),
    };
  });
}

const clock = (entry: Entry): string => new Date(momentOf(entry)).toISOString().slice(11, 19);
const complaintText = ({ entry, text }: Complaint): string => `${entry.author}, ${clock(entry)} UTC: ${text}. It counts for nothing.`;

/** `entries` in their order (inOrder()), `now` in ms since 1970 by the server's clock; `laid` may be kept from before. */
export function deckState(base: Base, entries: readonly Entry[], now: number, laid: LaidOver = layOver(base.rows, entries)): DeckState {
  const { tables, complaints, undone } = laid;
  const byId = new Map(entries.map((entry) => [idOf(entry), entry]));
  const stamps = stampsOfRows(tables, byId);
  const { open, lost, bites } = catchesOf(stamps);
  const reader = new Reader(base, tables, now);
  const named = new Map<string, Stamp[]>((tables.fish ?? []).map((row) => [cell(row, 'fish'), []]));
  for (const stamp of stamps) {
    const name = cell(stamp.row, 'fish');
    if (name !== '') named.set(name, [...(named.get(name) ?? []), stamp]);
  }
  // Rows of files that no entry added have no hook-up of their own to be known by.
  const recent = (each: Catch): boolean => each.hookUp.entry !== null && now - each.hookUp.at < forgottenAfter;
  const catches = [...open, ...lost].filter(recent).map(({ hookUp, stamps: own }) => reader.card(hookUp.row.addedBy, '', own));
  const fish = [...named].map(([name, own]) => reader.card(name, name, own));
  const all = [...catches, ...fish].sort((a, b) => needOf(a) - needOf(b) || a.last - b.last || (a.key < b.key ? -1 : 1));
  const isHere = (card: FishCard): boolean => !isOver(card) && card.stamps.length > 0 && now - card.last < forgottenAfter;
  const doubles = open.filter((each, i) => recent(each) && open.slice(0, i).some((other) => cell(other.hookUp.row, 'rod') === cell(each.hookUp.row, 'rod') && recent(other)));
  return {
    tables,
    rods: rodStates(base, stamps, open.filter(recent), bites, now),
    fish: all.filter(isHere),
    over: all.filter((card) => !isHere(card)).sort((a, b) => b.last - a.last || (a.key < b.key ? -1 : 1)),
    used: { fish: named.size, chases: stamps.filter(({ event }) => event === 'chase_start').length },
    worries: [
      ...[...reader.twice].map((name) => `Two fish are called ${name}, and stand here as one: open “Name …” of it, and give one of them another name.`),
      ...doubles.map(({ hookUp }) => `Two hook-ups on ${cell(hookUp.row, 'rod') || 'one rod'} have no end yet. If it is one fish, take one of them away.`),
      ...complaints.map(complaintText),
    ],
    undone,
  };
}
