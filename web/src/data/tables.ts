// A fish's own facts and events as rows of the study's tables: what is typed, what is wrong with it, and the entries that
// write it.
import type { Entry, Grid, Table, Wish } from '../server/api';
import { cellRead, instantOf, type CellHabits } from './cells';
import { shownUnit, spoken } from './read';
import type { Fish } from './results';
import { cellText, sheetColumns, sheetRows, wishesOf, withdrawalOf, withdrawnFrom, type CellWish, type SheetColumn, type SheetRow } from './sheet';

/** Texts by column. */
export type Cells = Record<string, string>;

export interface StudyTable {
  table: string;
  mayEdit: boolean;
  columns: SheetColumn[];
  rows: SheetRow[];
  habits: CellHabits;
}

export function studyTable(all: Table[], grid: Grid, table: string, entries: Entry[], zone: string): StudyTable {
  const known = all.find((each) => each.table === table);
  if (!known) throw new Error(`the program has no table ${table}`);
  const columns = sheetColumns(known, grid);
  return {
    table, columns, mayEdit: known.may_edit,
    rows: sheetRows(grid, columns, withdrawnFrom(table, entries).map(({ row }) => row)),
    habits: { zone, decimal: grid.has_decimal_comma ? ',' : '.' },
  };
}

export function textOf(table: StudyTable, row: SheetRow, name: string): string {
  const column = table.columns.find((each) => each.name === name);
  return column ? cellText(row, column) : '';
}

/** A fish's own row, and events of it or of its stays alone, as they follow each other. */
export function rowsOfFish(table: StudyTable, fish: Fish): SheetRow[] {
  const at = (row: SheetRow) => instantOf(textOf(table, row, 'at'), table.habits.zone) ?? 0;
  const isIts = (row: SheetRow) => {
    const whose = textOf(table, row, 'fish');
    return whose === fish.id || (whose === '' && fish.stays.some((stay) => stay.id === textOf(table, row, 'stay')));
  };
  return table.rows.filter(isIts).sort((a, b) => at(a) - at(b));
}

/** What people look for first. */
const first = ['event', 'at', 'value', 'unit', 'note'];
const rank = ({ name }: SheetColumn): number => (first.includes(name) ? first.indexOf(name) : first.length);

/** Columns that people fill for a fish: whose row it is, is not theirs to change. */
export function columnsFor(table: StudyTable): SheetColumn[] {
  const columns = table.columns.filter((column) => column.name !== 'fish' && column.name !== '');
  return table.table === 'events' ? columns.sort((a, b) => rank(a) - rank(b)) : columns;
}

/** "mass_g" in g is the mass, in g. */
export function columnTitle({ known, title }: SheetColumn): string {
  if (!known || known.unit === '') return spoken(title);
  const ending = `_${known.unit.toLowerCase().replace('/', '_per_')}`;
  return known.name.endsWith(ending) ? `${spoken(known.name.slice(0, -ending.length))}, ${shownUnit(known.unit)}` : spoken(known.name);
}

/** What was typed: cells that differ from the row's (from none, where it is new), and what is wrong with any. */
export function typedCells(table: StudyTable, row: SheetRow | null, typed: Cells): { cells: CellWish[]; faults: Record<string, string> } {
  const cells: CellWish[] = [];
  const faults: Record<string, string> = {};
  for (const column of table.columns) {
    const was = row ? cellText(row, column) : '';
    const text = typed[column.name] ?? was;
    if (row && text.trim() === was.trim()) continue;
    const read = cellRead(text, column.known, table.habits);
    if (read.text === null) faults[column.name] = read.fault;
    else cells.push({ row, draft: 'new', column, text: read.text });
  }
  return { cells, faults };
}

export const writing = (table: StudyTable, cells: CellWish[], reason: string): Wish[] => wishesOf(table.table, cells).map((wish) => ({ ...wish, reason }));
export const withdrawing = (table: StudyTable, row: SheetRow, reason: string): Wish[] => [{ ...withdrawalOf(table.table, row), reason }];
/** Whether entries can name it: not where another row is the same in every cell. */
export const canBeNamed = (row: SheetRow): boolean => row.addedBy !== '' || row.find !== null;
