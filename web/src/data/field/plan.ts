// What a sheet would write into the study, held against what stands there already: nothing is entered twice unless said.
import type { Wish } from '../../server/api';
import { instantOf, numberRead } from '../cells';
import { knownZone } from '../clock';
import { spoken } from '../read';
import { wishesOf, type SheetRow } from '../sheet';
import { textOf, type StudyTable } from '../tables';
import type { FieldRow } from './rows';
import type { Cells } from './typing';

export type StudyTables = Record<string, StudyTable>;

/** Tables that sheets are typed into. */
export const fieldTables = ['fish', 'encounters', 'events', 'fins', 'body', 'reflexes', 'blood', 'fates'];

export interface PlanItem {
  /** the same for the same row: what was said of it holds */
  key: string;
  table: string;
  what: string;
  /** what stands in the study already; empty where nothing does */
  stands: string;
  /** whether it is entered unless somebody says otherwise */
  isProposed: boolean;
  wishes: Wish[];
}

/** By which columns a row is the same one; times to the minute. */
const sameBy: Record<string, string[]> = {
  fish: ['fish'],
  encounters: ['fish', 'at'],
  events: ['event', 'fish', 'at'],
  fins: ['fish', 'occasion', 'fin', 'scorer'],
  body: ['fish', 'occasion', 'area', 'scorer'],
  reflexes: ['fish', 'at', 'test'],
  blood: ['fish', 'drawn_at', 'analyte'],
  fates: ['fish', 'what', 'at'],
};
/** of events without a fish */
const sameByWithoutFish = ['event', 'fish', 'at', 'rod', 'assembly'];
const times = new Set(['at', 'drawn_at', 'last_alive']);
const dayLong = new Set(['encounters']);

const minuteOf = (text: string, zone: string): number | null => {
  const ms = instantOf(text, zone);
  return ms === null ? null : Math.floor(ms / 60_000);
};

function isSame(table: StudyTable, row: SheetRow, cells: Cells): boolean {
  const by = table.table === 'events' && (cells.fish ?? '') === '' ? sameByWithoutFish : (sameBy[table.table] ?? []);
  return by.every((name) => {
    const [there, here] = [textOf(table, row, name).trim(), cells[name] ?? ''];
    if (!times.has(name)) return there === here;
    const [a, b] = [minuteOf(there, table.habits.zone), minuteOf(here, table.habits.zone)];
    if (a === null || b === null) return a === b;
    return dayLong.has(table.table) ? Math.abs(a - b) < 12 * 60 : a === b;
  });
}

/** "2026-06-14 06:12:30", as the clock at the study's place showed it */
function placeTime(text: string, zone: string): string {
  const ms = instantOf(text, zone);
  if (ms === null) return text;
  const timeZone = knownZone(zone);
  const parts = new Intl.DateTimeFormat('en-GB', { year: 'numeric', month: '2-digit', day: '2-digit', hour: '2-digit', minute: '2-digit', second: '2-digit', ...(timeZone ? { timeZone } : {}) }).formatToParts(ms);
  const of = (type: string) => parts.find((part) => part.type === type)?.value ?? '';
  return `${of('year')}-${of('month')}-${of('day')} ${of('hour')}:${of('minute')}${of('second') === '00' ? '' : `:${of('second')}`}`;
}

/** Where the words say by themselves what they are. */
const bare = new Set(['event', 'fish', 'at', 'rod', 'rig', 'assembly', 'unit', 'fin', 'area', 'test']);

function rowWords(cells: Cells, zone: string): string {
  return Object.entries(cells).filter(([, text]) => text !== '').map(([name, text]) => {
    if (name === 'at_uncertainty_s') return `± ${text} s`;
    const shown = times.has(name) ? placeTime(text, zone) : name === 'event' ? spoken(text) : text;
    return bare.has(name) ? shown : `${spoken(name)} ${shown}`;
  }).join(', ');
}

const standing = (table: StudyTable, row: SheetRow): string => rowWords(Object.fromEntries(table.columns.map(({ name }) => [name, textOf(table, row, name)])), table.habits.zone);

const isSameText = (there: string, here: string, name: string, table: StudyTable): boolean => {
  if (there === here) return true;
  if (times.has(name)) return minuteOf(there, table.habits.zone) === minuteOf(here, table.habits.zone);
  const [a, b] = [numberRead(there, table.habits.decimal).text, numberRead(here, '.').text];
  return a !== null && b !== null && Number(a) === Number(b);
};

/** A fish or an encounter that stands there: what the sheet has besides, and what it has otherwise. */
function completions(table: StudyTable, row: SheetRow, cells: Cells, who: string, reason: string): PlanItem[] {
  const changed = Object.entries(cells).flatMap(([name, now]) => {
    const column = table.columns.find((each) => each.name === name);
    const was = textOf(table, row, name);
    // An encounter found by its day keeps its own name and time.
    if (!column || name === 'fish' || name === 'encounter' || name === 'at' || isSameText(was, now, name, table)) return [];
    return [{ column, was, now }];
  });
  const itemOf = (of: typeof changed, isNew: boolean): PlanItem[] => of.length === 0 ? [] : [{
    key: JSON.stringify([table.table, 'set', of.map(({ column, was, now }) => [column.name, was, now])]), table: table.table,
    what: `${who}: ${of.map(({ column, was, now }) => `${spoken(column.name)} ${isNew ? now : `${was} → ${now}`}`).join(', ')}`,
    stands: isNew ? '' : standing(table, row), isProposed: isNew,
    wishes: wishesOf(table.table, of.map(({ column, now }) => ({ row, draft: '', column, text: now }))).map((wish) => ({ ...wish, reason })),
  }];
  return [...itemOf(changed.filter(({ was }) => was === ''), true), ...itemOf(changed.filter(({ was }) => was !== ''), false)];
}

export function planOf(rows: FieldRow[], tables: StudyTables, reason: string): PlanItem[] {
  const counts = new Map<string, number>();
  return rows.flatMap(({ table: name, cells }): PlanItem[] => {
    const table = tables[name];
    const there = table?.rows.find((row) => isSame(table, row, cells));
    const isNamed = name === 'fish' || name === 'encounters';
    if (table && there && isNamed) return completions(table, there, cells, cells.fish ?? '', reason);
    const same = JSON.stringify([name, cells]);
    const count = (counts.get(same) ?? 0) + 1;
    counts.set(same, count);
    return [{
      key: `${same} ${count}`, table: name, what: rowWords(cells, table?.habits.zone ?? ''),
      stands: table && there ? standing(table, there) : count > 1 ? 'the same line stands on this sheet already' : '', isProposed: !there && count === 1,
      wishes: [{ act: 'add', content: { table: name, row: cells }, reason }],
    }];
  });
}

/** "T07-e1", as Deck names them; the first number that none has. */
export function encounterName(fish: string, tables: StudyTables): string {
  const table = tables.encounters;
  const there = new Set((table?.rows ?? []).map((row) => (table ? textOf(table, row, 'encounter') : '')));
  for (let n = 1; ; ++n) if (!there.has(`${fish}-e${n}`)) return `${fish}-e${n}`;
}
