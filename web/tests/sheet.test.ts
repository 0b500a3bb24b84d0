import { describe, expect, it } from 'vitest';
import { fileText, placeIn, sheetColumns, sheetRows, Typed, undoOf, wishesOf, withdrawalOf, withdrawnFrom, worriesByRow } from '../src/data/sheet';
import type { Column, Entry, Grid, Table } from '../src/server/api';

const column = (name: string, kind: Column['kind'], needed = false): Column => ({ name, kind, needed, unit: '', what: '', words: [], least: null, may_equal_least: true, most: null });
const table: Table = {
  table: 'fish', file: 'fish.csv', what: '', needed: true, may_edit: true,
  columns: [column('fish', 'name', true), column('mass_g', 'number'), column('note', 'text')],
};
const grid = (rows: string[][], more: Partial<Grid> = {}): Grid => ({
  file: 'fish.csv', exists: true, has_decimal_comma: false, columns: ['Fish', 'bait', 'mass_g'],
  rows: rows.map((cells, i) => ({ line: i + 2, added_by: '', cells, in_file: cells })), ...more,
});

describe('columns and rows', () => {
  it('the file’s columns come first, known by their plain name; those it lacks behind them', () => {
    const columns = sheetColumns(table, grid([]));
    expect(columns.map(({ name, title, at }) => [name, title, at])).toEqual([['fish', 'Fish', 0], ['bait', 'bait', 1], ['mass_g', 'mass_g', 2], ['note', 'note', null]]);
    expect(columns[1]?.known).toBeNull();
  });
  it('a row is found by its name alone, or by as many cells as tell it from others', () => {
    const g = grid([['T01', 'fly', '500'], ['T02', 'fly', '500'], ['T02', 'fly', '510'], ['T03', '', ''], ['T03', '', '']]);
    expect(sheetRows(g, sheetColumns(table, g)).map((row) => row.find)).toEqual([{ fish: 'T01' }, { fish: 'T02', mass_g: '500' }, { fish: 'T02', mass_g: '510' }, null, null]);
  });
  it('a row that was taken away is not found in its place', () => {
    const g = grid([['T02', 'fly', '510']]);
    const gone = [{ fish: 'T02', mass_g: '500' }];
    expect(sheetRows(g, sheetColumns(table, g), gone)[0]?.find).toEqual({ fish: 'T02', mass_g: '510' });
    expect(sheetRows(g, sheetColumns(table, g), [{}])[0]?.find, 'one that was added in the program is none of the file').toEqual({ fish: 'T02' });
  });
  it('no row is found by empty cells alone', () => {
    const g = grid([['', 'fly', '500'], ['T01', 'fly', '1']]);
    expect(sheetRows(g, sheetColumns(table, g))[0]?.find).toEqual({ fish: '', mass_g: '500' });
  });
  it('tells what the file has where an edit changed it', () => {
    const g = grid([]);
    g.rows = [{ line: 2, added_by: '', cells: ['T01', 'fly', '512'], in_file: ['T01', 'fly', ''] }];
    const columns = sheetColumns(table, g);
    const row = sheetRows(g, columns)[0]!;
    expect(columns.map((each) => fileText(row, each))).toEqual([null, null, '', null]);
  });
});

describe('entries', () => {
  const g = grid([['T01', 'fly', '500'], ['T02', 'worm', '']]);
  g.rows.push({ line: 7, added_by: 'aa:3', cells: ['T09', '', ''], in_file: [] });
  const columns = sheetColumns(table, g);
  const [one, two, added] = sheetRows(g, columns);
  const [fish, bait, mass] = columns;
  it('are one for each row, with what each cell held', () => {
    const wishes = wishesOf('fish', [
      { row: one!, draft: '', column: mass!, text: '510' }, { row: one!, draft: '', column: bait!, text: '' }, { row: added!, draft: '', column: mass!, text: '3' },
      { row: null, draft: 'new 1', column: fish!, text: 'T10' }, { row: null, draft: 'new 1', column: mass!, text: '' },
    ]);
    expect(wishes).toEqual([
      { act: 'set', content: { table: 'fish', row: { fish: 'T01' }, cells: { mass_g: { was: '500', now: '510' }, bait: { was: 'fly', now: '' } } } },
      { act: 'set', content: { table: 'fish', added_by: 'aa:3', cells: { mass_g: { was: '', now: '3' } } } },
      { act: 'add', content: { table: 'fish', row: { fish: 'T10' } } },
    ]);
  });
  it('withdraw and undo, the last first', () => {
    expect(withdrawalOf('fish', two!)).toEqual({ act: 'withdraw', content: { table: 'fish', row: { fish: 'T02' } } });
    expect(undoOf(['a:1', 'a:2']).map((wish) => wish.content.entry)).toEqual(['a:2', 'a:1']);
  });
  it('that still keep rows away are found', () => {
    const entry = (act: string, content: unknown, is_undone = false): Entry => ({ number: 1, id: 'a:1', at: '', author: '', role: 'crew', act, content, reason: '', is_undone });
    const all = [entry('withdraw', { table: 'fish', row: { fish: 'T1' } }), entry('withdraw', { table: 'fish', row: { fish: 'T2' } }, true), entry('withdraw', { table: 'stays', row: {} }), entry('set', null)];
    expect(withdrawnFrom('fish', all).map(({ row }) => row)).toEqual([{ fish: 'T1' }]);
  });
});

describe('what was typed', () => {
  it('is kept by batch, and dropped by it with the rows begun for it', () => {
    const typed = new Typed();
    const [a, b] = [typed.newBatch(), typed.newBatch()];
    const draft = typed.newDraft();
    typed.put('row', 'mass_g', { text: 'x', fault: 'no number', state: 'refused', batch: a });
    typed.put(draft, 'fish', { text: 'T9', fault: '', state: 'typed', batch: b });
    expect(typed.openBatches()).toEqual([b, a]);
    typed.drop(b);
    expect(typed.drafts).toEqual([]);
    expect(typed.at('row', 'mass_g')?.text).toBe('x');
    typed.remove('row', 'mass_g');
    expect(typed.count).toBe(0);
  });
});

it('complaints find their cells, those of added rows by the entry’s number', () => {
  const g = grid([['T01', '', '']]);
  g.rows.push({ line: 2, added_by: 'aa:2', cells: ['T09', '', ''], in_file: [] });
  const rows = sheetRows(g, sheetColumns(table, g));
  const worry = (file: string, line: number | null, at: string | null, severity: 'stops' | 'beware' = 'beware') => ({ severity, text: '', file, line, column: at, remedy: '' });
  const found = worriesByRow([worry('fish.csv', 2, 'mass_g'), worry('journal', 2, null, 'stops'), worry('fish.csv', 9, null), worry('stays.csv', 2, null)], 'fish.csv', rows);
  expect([...found].map(([key, { of, isStopping }]) => [key, [...of.keys()], isStopping])).toEqual([['file {"fish":"T01"}', ['mass_g'], false], ['added aa:2', [''], true]]);
});

it('a refusal says where it lies', () => {
  expect(placeIn('fish.csv line 12, column "mass_g": "x" is not a number')).toEqual({ file: 'fish.csv', line: 12, column: 'mass_g' });
  expect(placeIn('stays.csv line 3: no fish')).toEqual({ file: 'stays.csv', line: 3, column: '' });
  expect(placeIn('the disk is full')).toBeNull();
});
