// A table of the study as it is edited: its columns and rows, by what the program finds a row again, what was typed and
// not yet taken, and the entries that make the program take it.
import type { Column, Content, Entry, Grid, Table, Wish } from '../server/api';
import type { Worry } from '../server/wire';
import { plainName } from './cells';

export interface SheetColumn {
  /** as entries and complaints name it */
  name: string;
  title: string;
  /** null: one of the study's own */
  known: Column | null;
  /** place in the grid's cells; null where the file lacks the column */
  at: number | null;
}

export interface SheetRow {
  key: string;
  /** of the file; of an added row its entry's number */
  line: number;
  addedBy: string;
  cells: string[];
  inFile: string[];
  /** the cells by which the file's row is found; null where another row is the same in every cell */
  find: Record<string, string> | null;
}

export function sheetColumns(table: Table, grid: Grid): SheetColumn[] {
  const there = grid.columns.map((header, at): SheetColumn => {
    const known = table.columns.find((each) => each.name === plainName(header)) ?? null;
    return { name: known?.name ?? header, title: header, known, at };
  });
  const absent = table.columns
    .filter((column) => !there.some((each) => each.known === column))
    .map((known): SheetColumn => ({ name: known.name, title: known.name, known, at: null }));
  return [...there, ...absent];
}

/** Names first, then times and words: what stays when a row is filled in. The study's own columns come last. */
const rank = ({ known }: SheetColumn): number => {
  if (known === null) return 8;
  const at = ['name', 'time', 'word'].indexOf(known.kind);
  return (known.needed ? 0 : 4) + (at < 0 ? 3 : at);
};

/** Cells by which entries that still count took rows of the file away: such a row must not be found instead of another. */
export function withdrawnFrom(table: string, entries: Entry[]): { entry: Entry; row: Record<string, string> }[] {
  return entries.flatMap((entry) => {
    const content = entry.content as Content | null;
    if (entry.act !== 'withdraw' || entry.is_undone || content?.table !== table) return [];
    return [{ entry, row: content.row ?? {} }];
  });
}

export function sheetRows(grid: Grid, columns: SheetColumn[], withdrawn: Record<string, string>[] = []): SheetRow[] {
  const keys = columns.filter((column) => column.at !== null).sort((a, b) => rank(a) - rank(b));
  const rows = grid.rows.map((row): SheetRow => ({
    key: row.added_by === '' ? '' : `added ${row.added_by}`, line: row.line, addedBy: row.added_by, cells: row.cells, inFile: row.in_file, find: null,
  }));
  let open = rows.filter((row) => row.addedBy === '');
  const goneFromFile = withdrawn.filter((gone) => Object.keys(gone).length > 0);
  const fileRows = open;
  const cellOf = (row: SheetRow, column: SheetColumn) => row.inFile[column.at ?? -1] ?? '';
  const texts = new Map<SheetRow, string>();
  for (let n = 1; n <= keys.length && open.length > 0; ++n) {
    const column = keys[n - 1] as SheetColumn;
    const counts = new Map<string, number>();
    for (const row of fileRows) {
      const text = `${texts.get(row) ?? ''}\n${cellOf(row, column)}`;
      texts.set(row, text);
      counts.set(text, (counts.get(text) ?? 0) + 1);
    }
    const mayBeWithdrawn = (row: SheetRow) => goneFromFile.some((gone) => keys.slice(0, n).every((each) => gone[each.name] === undefined || gone[each.name] === cellOf(row, each)));
    open = open.filter((row) => {
      // A row is not found by empty cells alone.
      const isOnlyOne = counts.get(texts.get(row) ?? '') === 1 && keys.slice(0, n).some((each) => cellOf(row, each) !== '') && !mayBeWithdrawn(row);
      if (isOnlyOne) row.find = Object.fromEntries(keys.slice(0, n).map((each) => [each.name, cellOf(row, each)]));
      return !isOnlyOne;
    });
  }
  for (const row of fileRows) row.key = row.find ? `file ${JSON.stringify(row.find)}` : `line ${row.line}`;
  return rows;
}

export const cellText = (row: SheetRow, column: SheetColumn): string => (column.at === null ? '' : (row.cells[column.at] ?? ''));

/** What the file has instead, where an edit changed the cell; else null. */
export function fileText(row: SheetRow, column: SheetColumn): string | null {
  if (row.addedBy !== '' || column.at === null) return null;
  const there = row.inFile[column.at] ?? '';
  return there === cellText(row, column) ? null : there;
}

// ---------------------------------------------------------------- what was typed

export type HeldState = 'typed' | 'sending' | 'refused' | 'unsent';

export interface Held {
  text: string;
  /** what is wrong with it; empty while nothing is known to be */
  fault: string;
  state: HeldState;
  /** cells that were changed in one go are taken in one go */
  batch: number;
}

/** Cells that were typed and that the program has not taken, and rows that are not rows yet. */
export class Typed {
  private readonly cells = new Map<string, Map<string, Held>>();
  /** keys of new rows, in the order in which they were begun */
  drafts: string[] = [];
  private batches = 0;
  private begun = 0;

  newBatch(): number {
    return ++this.batches;
  }

  newDraft(): string {
    const key = `new ${++this.begun}`;
    this.drafts = [...this.drafts, key];
    return key;
  }

  at(row: string, column: string): Held | undefined {
    return this.cells.get(row)?.get(column);
  }

  ofRow(row: string): [string, Held][] {
    return [...(this.cells.get(row) ?? [])];
  }

  put(row: string, column: string, held: Held): void {
    const there = this.cells.get(row) ?? new Map<string, Held>();
    there.set(column, held);
    this.cells.set(row, there);
  }

  remove(row: string, column: string): void {
    const there = this.cells.get(row);
    there?.delete(column);
    if (there?.size === 0) this.cells.delete(row);
  }

  of(batch: number): { row: string; column: string; held: Held }[] {
    return [...this.cells].flatMap(([row, cells]) => [...cells].filter(([, held]) => held.batch === batch).map(([column, held]) => ({ row, column, held })));
  }

  /** The youngest first. */
  openBatches(): number[] {
    const all = [...this.cells.values()].flatMap((cells) => [...cells.values()].map((held) => held.batch));
    return [...new Set(all)].sort((a, b) => b - a);
  }

  drop(batch: number): void {
    for (const { row, column } of this.of(batch)) this.remove(row, column);
    this.drafts = this.drafts.filter((key) => !key.startsWith('new ') || this.cells.has(key));
  }

  dropDraft(key: string): void {
    this.cells.delete(key);
    this.drafts = this.drafts.filter((each) => each !== key);
  }

  get count(): number {
    return [...this.cells.values()].reduce((sum, cells) => sum + cells.size, 0);
  }

  /** As text, to be kept where the page's end does not reach; null while there is nothing. */
  text(): string | null {
    if (this.count === 0) return null;
    return JSON.stringify({ cells: [...this.cells].map(([row, cells]) => [row, [...cells].map(([column, { text, batch }]) => [column, text, batch])]), drafts: this.drafts });
  }

  /** What was kept: every cell is typed again, none of it sent; nothing of a text that is not ours. */
  take(text: string | null): void {
    for (const { row, column, text: typed, batch } of keptCells(text)) {
      this.put(row, column, { text: typed, fault: '', state: 'typed', batch });
      this.batches = Math.max(this.batches, batch);
    }
    this.drafts = keptDrafts(text).filter((key) => this.cells.has(key));
    this.begun = Math.max(0, ...this.drafts.map((key) => Number(key.slice('new '.length)) || 0));
  }

  /** Takes away cells of rows that are not there any more; how many there were. */
  dropLost(rows: ReadonlySet<string>): number {
    const lost = [...this.cells.keys()].filter((key) => !rows.has(key) && !this.drafts.includes(key));
    const count = lost.reduce((sum, key) => sum + (this.cells.get(key)?.size ?? 0), 0);
    for (const key of lost) this.cells.delete(key);
    return count;
  }
}

function keptPart(text: string | null, name: 'cells' | 'drafts'): unknown[] {
  try {
    const part = (JSON.parse(text ?? 'null') as Record<string, unknown> | null)?.[name];
    return Array.isArray(part) ? part : [];
  } catch {
    return [];
  }
}

function keptCells(text: string | null): { row: string; column: string; text: string; batch: number }[] {
  return keptPart(text, 'cells').flatMap((each) => {
    const [row, cells] = Array.isArray(each) ? (each as unknown[]) : [];
    if (typeof row !== 'string' || !Array.isArray(cells)) return [];
    return cells.flatMap((cell: unknown) => {
      const [column, typed, batch] = Array.isArray(cell) ? (cell as unknown[]) : [];
      return typeof column === 'string' && typeof typed === 'string' && Number.isInteger(batch) ? [{ row, column, text: typed, batch: batch as number }] : [];
    });
  });
}

const keptDrafts = (text: string | null): string[] => keptPart(text, 'drafts').filter((each): each is string => typeof each === 'string' && /^new \d+$/.test(each));

// ---------------------------------------------------------------- entries

const rowOf = (row: SheetRow): Pick<Content, 'row' | 'added_by'> => (row.addedBy !== '' ? { added_by: row.addedBy } : { row: row.find ?? {} });

export interface CellWish {
  row: SheetRow | null;
  /** of a row that is new */
  draft: string;
  column: SheetColumn;
  /** with a decimal point, as entries have it */
  text: string;
}

/** One entry for each row, in the order of the rows. */
export function wishesOf(table: string, cells: CellWish[]): Wish[] {
  const sets = new Map<SheetRow, Record<string, { was: string; now: string }>>();
  const adds = new Map<string, Record<string, string>>();
  for (const { row, draft, column, text } of cells) {
    if (row) sets.set(row, { ...sets.get(row), [column.name]: { was: cellText(row, column), now: text } });
    else if (text !== '') adds.set(draft, { ...adds.get(draft), [column.name]: text });
  }
  return [
    ...[...sets].map(([row, changed]): Wish => ({ act: 'set', content: { table, ...rowOf(row), cells: changed } })),
    ...[...adds.values()].map((row): Wish => ({ act: 'add', content: { table, row } })),
  ];
}

export const withdrawalOf = (table: string, row: SheetRow): Wish => ({ act: 'withdraw', content: { table, ...rowOf(row) } });
export const undoOf = (ids: string[]): Wish[] => [...ids].reverse().map((entry) => ({ act: 'undo', content: { entry } }));

// ---------------------------------------------------------------- complaints at their cells

export interface CellWorries {
  /** by column; '' for those of the whole row */
  of: Map<string, Worry[]>;
  isStopping: boolean;
}

/** Of the file's rows by line, of added ones by their entry's number. */
export function worriesByRow(worries: Worry[], file: string, rows: SheetRow[]): Map<string, CellWorries> {
  const places = new Map(rows.map((row) => [`${row.addedBy === '' ? file : 'journal'} ${row.line}`, row.key]));
  const out = new Map<string, CellWorries>();
  for (const worry of worries) {
    const key = worry.line === null ? undefined : places.get(`${worry.file} ${worry.line}`);
    if (key === undefined) continue;
    const there = out.get(key) ?? { of: new Map<string, Worry[]>(), isStopping: false };
    const column = worry.column ?? '';
    there.of.set(column, [...(there.of.get(column) ?? []), worry]);
    there.isStopping ||= worry.severity === 'stops';
    out.set(key, there);
  }
  return out;
}

/** Where a refusal's sentence says that it lies: "fish.csv line 12, column "mass_g": ..." */
export function placeIn(text: string): { file: string; line: number; column: string } | null {
  const found = /^(\S+) line (\d+)(?:, column "([^"]*)")?:/.exec(text);
  return found ? { file: found[1] ?? '', line: Number(found[2]), column: found[3] ?? '' } : null;
}
