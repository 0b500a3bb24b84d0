// What was logged, found again to be corrected: presses, looks at fins, body and reflexes, facts of a capture. A correction
// is a set, an add or an undo: what stood first stays in the journal.
import { cellOf, isoOf } from './base';
import type { Cells, Row, Tables } from './edits';
import { idOf, momentOf, type Entry } from './entry';
import { bodyScored, finsScored, reflexesTested, setCells, undo, type Draft, type Telling } from './presses';
import { pressOf } from './queue';
import type { Stamp } from './state';
import { eventWord, spoken } from './words';

export type EntriesById = ReadonlyMap<string, Entry>;
export const byId = (entries: readonly Entry[]): EntriesById => new Map(entries.map((entry) => [idOf(entry), entry]));

const reason = 'corrected on deck';
const cell = (row: Row, column: string): string => row.cells[column] ?? '';
const pressBy = (id: string, entries: EntriesById): string => {
  const entry = entries.get(id);
  return entry ? pressOf(entry) : '';
};

// ---- a press

/** Columns that hold a moment, the first of them the row's own. */
const momentColumns: Record<string, readonly string[]> = {
  events: ['at'], stays: ['from', 'to'], blood: ['drawn_at'], encounters: ['at'], fates: ['at'], fins: ['at'], body: ['at'], reflexes: ['at'],
};
export const momentColumn = (table: string): string => momentColumns[table]?.[0] ?? 'at';

/** Cells of an event that stand in another row of the same press as well. */
const twins = [
  { event: 'blood', column: 'value', table: 'blood', into: 'volume_ml' },
  { event: 'blood', column: 'note', table: 'blood', into: 'note' },
  { event: 'weighed', column: 'value', table: 'fish', into: 'mass_g' },
  { event: 'tagged', column: 'note', table: 'fish', into: 'tag' },
];

/** Events whose number is said with them, and its unit. */
export const valueUnit = (table: string, row: Row): string => (table === 'blood' ? 'mL' : table === 'events' && ['blood', 'weighed'].includes(cell(row, 'event')) ? cell(row, 'unit') || 'mL' : '');
export const valueColumn = (table: string): string => (table === 'blood' ? 'volume_ml' : 'value');

/** What the row says of when, how much and in which words, from now on. */
export interface Said {
  at: number;
  note: string;
  /** null where the row has no number */
  value: number | null;
}

class Changes {
  private readonly rows = new Map<Row, { table: string; cells: Cells }>();

  put(table: string, row: Row, column: string, now: string): void {
    const known = this.rows.get(row) ?? { table, cells: {} };
    this.rows.set(row, { table, cells: { ...known.cells, [column]: now } });
  }

  drafts = (): Draft[] => [...this.rows].flatMap(([row, { table, cells }]) => setCells(table, row, cells, reason));
}

/** Cells elsewhere that repeat the row's moment: of its press, and what was made of a hook-up or a sealing later. */
function copiesOfMoment(tables: Tables, table: string, row: Row, entries: EntriesById): { table: string; row: Row; column: string }[] {
  const was = cell(row, momentColumn(table));
  const press = pressBy(row.addedBy, entries);
  const isOfPress = (other: Row): boolean => press !== '' && other.addedBy !== '' && pressBy(other.addedBy, entries) === press;
  const isOfSame = (other: Row, column: string): boolean => cell(row, column) !== '' && cell(other, column) === cell(row, column);
  const isMadeLater = (other: Row, word: string, column: string): boolean =>
    table === 'events' && isOfSame(other, 'fish') &&
    ((cell(row, 'event') === 'hook_up' && word === 'encounters') || (cell(row, 'event') === 'sealed' && word === 'stays' && column === 'from' && isOfSame(other, 'assembly')));
  return Object.entries(momentColumns).flatMap(([word, columns]) =>
    (tables[word] ?? []).flatMap((other) =>
      columns.filter((column) => other.addedBy !== row.addedBy && cell(other, column) === was && (isOfPress(other) || isMadeLater(other, word, column))).map((column) => ({ table: word, row: other, column }))));
}

/** A press as it should have been, in every row that repeats it. */
export function corrected(tables: Tables, entries: EntriesById, table: string, row: Row, said: Said): Draft[] {
  const changes = new Changes();
  const key = momentColumn(table);
  if (Date.parse(cell(row, key)) !== said.at) {
    const now = isoOf(said.at);
    for (const copy of copiesOfMoment(tables, table, row, entries)) changes.put(copy.table, copy.row, copy.column, now);
    changes.put(table, row, key, now);
  }
  const now: Cells = { note: said.note, ...(said.value === null ? {} : { [valueColumn(table)]: cellOf(said.value) }) };
  const press = pressBy(row.addedBy, entries);
  for (const twin of twins) {
    if (table !== 'events' || cell(row, 'event') !== twin.event || now[twin.column] === undefined || press === '') continue;
    for (const other of tables[twin.table] ?? []) {
      const isOfPress = pressBy(other.changes.filter(({ column }) => column === twin.into).map(({ entry }) => idOf(entry)).at(-1) ?? other.addedBy, entries) === press;
      if (isOfPress && cell(other, 'fish') === cell(row, 'fish') && cell(other, twin.into) === cell(row, twin.column)) changes.put(twin.table, other, twin.into, now[twin.column] ?? '');
    }
  }
  for (const [column, text] of Object.entries(now)) changes.put(table, row, column, text);
  return changes.drafts();
}

/** The press that added a row, as a card's stamps have it; null for a row that is not there any more. */
export function stampOf(tables: Tables, entries: EntriesById, id: string): { stamp: Stamp; table: string } | null {
  for (const table of ['events', 'blood', 'fates', 'stays']) {
    const row = tables[table]?.find(({ addedBy }) => addedBy === id);
    if (!row) continue;
    const event = table === 'events' ? cell(row, 'event') : table === 'fates' ? cell(row, 'what') : table === 'blood' ? 'blood' : 'sealed';
    return { table, stamp: { row, event, at: Date.parse(cell(row, momentColumn(table))), entry: entries.get(id) ?? null, isLate: false } };
  }
  return null;
}

// ---- a look at fins, body or reflexes

const placesOf = { fins: { place: 'fin', level: 'score' }, body: { place: 'area', level: 'score' }, reflexes: { place: 'test', level: 'there' } } as const;
export type LookTable = keyof typeof placesOf;
export type LookKind = 'scores' | 'reflexes';
/** Levels by place. */
export type Levels = Record<string, string>;

/** What one person saw of one fish at one time: a row for each place that was looked at. */
export interface Look {
  /** of its first row */
  id: string;
  kind: LookKind;
  fish: string;
  occasion: string;
  at: number;
  who: string;
  rows: { table: LookTable; row: Row }[];
}

const tablesOf: Record<LookKind, readonly LookTable[]> = { scores: ['fins', 'body'], reflexes: ['reflexes'] };

/** Those that were entered, by time. A place that stands twice is of two looks. */
export function looksOf(tables: Tables, kind: LookKind): Look[] {
  const looks = new Map<string, Look>();
  for (const table of tablesOf[kind]) {
    const seen = new Map<string, number>();
    for (const row of tables[table] ?? []) {
      const at = Date.parse(cell(row, 'at'));
      if (row.addedBy === '' || !Number.isFinite(at)) continue;
      const who = cell(row, table === 'reflexes' ? 'who' : 'scorer');
      const same = JSON.stringify([cell(row, 'fish'), cell(row, 'occasion'), at, who]);
      const place = JSON.stringify([same, cell(row, placesOf[table].place)]);
      const turn = seen.get(place) ?? 0;
      seen.set(place, turn + 1);
      const key = `${same} ${turn}`;
      const look = looks.get(key) ?? { id: row.addedBy, kind, fish: cell(row, 'fish'), occasion: cell(row, 'occasion'), at, who, rows: [] };
      look.rows.push({ table, row });
      looks.set(key, look);
    }
  }
  return [...looks.values()].sort((a, b) => a.at - b.at);
}

export const lookWith = (looks: readonly Look[], id: string): Look | null => looks.find(({ rows }) => rows.some(({ row }) => row.addedBy === id)) ?? null;

export const levelsOf = (look: Look, table: LookTable): Levels =>
  Object.fromEntries(look.rows.filter((each) => each.table === table).map(({ row }) => [cell(row, placesOf[table].place), cell(row, placesOf[table].level)]));

/** The look as it should have been. A place that was not looked at after all has its row taken back. */
export function correctedLook(look: Look, telling: Telling, occasion: string, wanted: Partial<Record<LookTable, Levels>>): Draft[] {
  const left: Partial<Record<LookTable, Levels>> = Object.fromEntries(tablesOf[look.kind].map((table) => [table, { ...wanted[table] }]));
  const drafts = look.rows.flatMap(({ table, row }) => {
    const { place, level } = placesOf[table];
    const name = cell(row, place);
    const now = wanted[table]?.[name];
    delete left[table]?.[name];
    if (now === undefined) return [undo(row.addedBy, reason)];
    return setCells(table, row, { [level]: now, ...(telling.at === look.at ? {} : { at: isoOf(telling.at) }), ...(table === 'reflexes' ? {} : { occasion }) }, reason);
  });
  const fish = { name: look.fish };
  const more = look.kind === 'scores'
    ? [...finsScored(fish, telling, occasion, left.fins ?? {}), ...bodyScored(fish, telling, occasion, left.body ?? {})]
    : reflexesTested(fish, telling, Object.fromEntries(Object.entries(left.reflexes ?? {}).map(([test, there]) => [test, there === 'yes'])));
  return [...drafts, ...more];
}

export const lookTakenBack = (look: Look): Draft[] => look.rows.map(({ row }) => undo(row.addedBy, 'taken back on deck'));

/** "fins and body at landing, 5 places" */
export function lookText(look: Look): string {
  const count = (table: LookTable) => look.rows.filter((each) => each.table === table).length;
  if (look.kind === 'reflexes') return look.rows.length === 1 ? '1 reflex tested' : `${look.rows.length} reflexes tested`;
  const what = count('body') === 0 ? 'fins' : count('fins') === 0 ? 'body' : 'fins and body';
  return `${what}${look.occasion === '' ? '' : ` at ${spoken(look.occasion)}`}, ${look.rows.length} ${look.rows.length === 1 ? 'place' : 'places'}`;
}

// ---- facts without a moment of their own

/** What is kept of a fish or its capture without a time; which room asks for it. */
const facts = [
  { table: 'encounters', column: 'hook_location', room: 'hook', text: (now: string) => `hook in ${spoken(now)}` },
  { table: 'encounters', column: 'landing', room: 'landing', text: (now: string) => `landed by ${now}` },
  { table: 'encounters', column: 'unhooking', room: 'landing', text: (now: string) => `unhooked ${now}` },
  { table: 'fish', column: 'fork_length_mm', room: 'weight', text: (now: string) => `length ${now} mm` },
] as const;

/** Who told a cell as it is now, and what stood there before; null where nobody did on a device. */
export function toldOf(row: Row | null, column: string, entries: EntriesById): { entry: Entry; before: string[] } | null {
  if (!row) return null;
  const changes = row.changes.filter((change) => change.column === column);
  const entry = changes.at(-1)?.entry ?? (cell(row, column) === '' ? undefined : entries.get(row.addedBy));
  return entry ? { entry, before: changes.map(({ was }) => was).filter((was) => was !== '') } : null;
}

// ---- the log

export type LineRoom = { kind: 'stamp'; id: string } | { kind: 'scores' | 'reflexes'; look: string } | { kind: 'hook' | 'landing' | 'weight' };

/** One thing that was logged, and where it is corrected. */
export interface LogLine {
  key: string;
  at: number;
  fish: string;
  text: string;
  room: LineRoom;
}

/** Everything that was entered and counts, the newest first. */
export function logOf(tables: Tables, entries: EntriesById): LogLine[] {
  const lines: LogLine[] = [];
  const presses = new Set<string>();
  const say = (row: Row, table: string, words: string[]) => {
    if (row.addedBy === '') return;
    const line = [cell(row, 'fish') || cell(row, 'rod'), ...words, cell(row, 'note')].filter(Boolean).join(' · ');
    lines.push({ key: row.addedBy, at: Date.parse(cell(row, momentColumn(table))), fish: cell(row, 'fish'), text: line, room: { kind: 'stamp', id: row.addedBy } });
  };
  const number = (table: string, row: Row): string => (valueUnit(table, row) === '' ? '' : `${cell(row, valueColumn(table))} ${valueUnit(table, row)}`);
  for (const row of tables.events ?? []) {
    say(row, 'events', [eventWord(cell(row, 'event')), number('events', row)]);
    if (cell(row, 'event') === 'blood') presses.add(pressBy(row.addedBy, entries));
  }
  // A draw that was pressed is told by its event.
  for (const row of tables.blood ?? []) if (!presses.has(pressBy(row.addedBy, entries))) say(row, 'blood', [eventWord('blood'), number('blood', row)]);
  for (const row of tables.fates ?? []) say(row, 'fates', [eventWord(cell(row, 'what'))]);
  for (const kind of ['scores', 'reflexes'] as const) {
    for (const look of looksOf(tables, kind)) lines.push({ key: look.id, at: look.at, fish: look.fish, text: `${look.fish} · ${lookText(look)}`, room: { kind, look: look.id } });
  }
  for (const { table, column, room, text } of facts) {
    for (const row of tables[table] ?? []) {
      const told = toldOf(row, column, entries);
      const now = cell(row, column);
      if (told && now !== '') lines.push({ key: `${table} ${column} ${cell(row, 'encounter')} ${cell(row, 'fish')}`, at: momentOf(told.entry), fish: cell(row, 'fish'), text: `${cell(row, 'fish')} · ${text(now)}`, room: { kind: room } });
    }
  }
  return lines.filter(({ at }) => Number.isFinite(at)).sort((a, b) => b.at - a.at);
}
