// A fish's rows of the tables: found, filled, held against what a cell may be, and written.
import { describe, expect, it } from 'vitest';
import { canBeNamed, columnsFor, columnTitle, rowsOfFish, studyTable, textOf, typedCells, withdrawing, writing } from '../src/data/tables';
import type { Column, Grid, Table } from '../src/server/api';
import { fixture } from './fixture';

const column = (name: string, kind: Column['kind'] = 'text', part: Partial<Column> = {}): Column => ({ name, kind, needed: false, unit: '', what: name, words: [], least: null, may_equal_least: true, most: null, ...part });
const definition = (table: string, columns: Column[]): Table => ({ table, file: `${table}.csv`, what: '', needed: true, may_edit: true, columns });
const all = [
  definition('fish', [column('fish', 'name', { needed: true }), column('mass_g', 'number', { unit: 'g', least: 0, may_equal_least: false }), column('tag')]),
  definition('events', [column('at', 'time', { needed: true }), column('event', 'word', { words: ['landed', 'note'], needed: true }), column('fish', 'name'), column('stay', 'name'), column('note')]),
];
const row = (line: number, in_file: string[], cells = in_file, added_by = '') => ({ line, added_by, in_file, cells });
const grid = (columns: string[], rows: Grid['rows'], has_decimal_comma = false): Grid => ({ file: '', exists: true, has_decimal_comma, columns, rows });
const fishTable = studyTable(
  all,
  grid(['Fish', 'Mass (g)', 'My rig'], [row(2, ['T01', '500,5', 'a'], ['T01', '512', 'a']), row(3, ['T02', '', 'b']), row(7, [], ['T09', '', ''], 'd:7')], true),
  'fish', [], 'Europe/London',
);
const twice = ['2026-06-14 08:05', 'note', 'T01', '', 'b'];
const events = studyTable(
  all,
  grid(['at', 'event', 'fish', 'stay', 'note'], [
    row(2, ['2026-06-14 08:05', 'note', 'T01', '', 'a']), row(3, twice), row(4, twice),
    row(5, ['2026-06-14T07:00:00Z', 'landed', 'T01', '', '']), row(6, ['2026-06-14 09:00', 'note', '', 's1', '']), row(7, ['2026-06-14 07:00', 'note', 'T02', '', '']),
  ]),
  'events', [], 'Europe/London',
);
const find = (table: typeof events, line: number) => table.rows.find((each) => each.line === line)!;

describe('a fish’s rows', () => {
  it('are its own and those of its stays alone, in the order of their moments whatever their offset', () => {
    const fish = { ...fixture().fish[0]!, id: 'T01', stays: [{ ...fixture().fish[0]!.stays[0]!, id: 's1' }] };
    expect(rowsOfFish(events, fish).map((each) => each.line)).toEqual([5, 2, 3, 4, 6]);
    expect(rowsOfFish(fishTable, fish).map((each) => textOf(fishTable, each, 'mass_g'))).toEqual(['512']);
  });
  it('cannot be named where two are the same in every cell', () => {
    expect([2, 3, 4, 5].map((line) => canBeNamed(find(events, line)))).toEqual([true, false, false, true]);
    expect(canBeNamed(find(fishTable, 7))).toBe(true);
  });
  it('are filled by columns in the order in which people look for them, whose row it is aside', () => {
    expect(columnsFor(events).map((each) => each.name)).toEqual(['event', 'at', 'note', 'stay']);
    expect(columnsFor(fishTable).map(columnTitle)).toEqual(['mass, g', 'My rig', 'tag']);
  });
});

describe('a correction', () => {
  it('writes what the cell was and is, of those alone that differ, with a decimal point', () => {
    const { cells, faults } = typedCells(fishTable, find(fishTable, 2), { mass_g: ' 513,5 ', tag: '', 'My rig': 'a' });
    expect(faults).toEqual({});
    expect(writing(fishTable, cells, 'measured again')).toEqual([
      { act: 'set', content: { table: 'fish', row: { fish: 'T01' }, cells: { mass_g: { was: '512', now: '513.5' } } }, reason: 'measured again' },
    ]);
    expect(typedCells(fishTable, find(fishTable, 2), { mass_g: '512' }).cells).toEqual([]);
  });
  it('can empty a cell, and change a row that an entry added', () => {
    const empty = typedCells(fishTable, find(fishTable, 2), { mass_g: '' }).cells;
    expect(writing(fishTable, empty, 'never weighed')[0]?.content.cells).toEqual({ mass_g: { was: '512', now: '' } });
    const late = typedCells(fishTable, find(fishTable, 7), { mass_g: '9' }).cells;
    expect(writing(fishTable, late, 'late')[0]?.content).toEqual({ table: 'fish', added_by: 'd:7', cells: { mass_g: { was: '', now: '9' } } });
  });
  it('is told what is wrong with a cell before it is sent', () => {
    expect(typedCells(fishTable, find(fishTable, 2), { mass_g: 'heavy' }).faults).toEqual({ mass_g: expect.stringContaining('heavy') });
    expect(Object.keys(typedCells(fishTable, find(fishTable, 2), { mass_g: '0' }).faults)).toEqual(['mass_g']);
    expect(Object.keys(typedCells(events, null, { fish: 'T01', event: 'note' }).faults)).toEqual(['at']);
  });
});

describe('a whole row', () => {
  it('is added, and taken out', () => {
    const { cells, faults } = typedCells(events, null, { at: '2026-06-14 08:01', event: 'landed', fish: 'T01', note: ' ' });
    expect(faults).toEqual({});
    expect(writing(events, cells, 'logged late')).toEqual([
      { act: 'add', content: { table: 'events', row: { at: '2026-06-14 08:01', event: 'landed', fish: 'T01' } }, reason: 'logged late' },
    ]);
    const [out] = withdrawing(events, find(events, 5), 'never happened');
    expect(out).toMatchObject({ act: 'withdraw', content: { table: 'events' }, reason: 'never happened' });
    expect(out?.content.row).toMatchObject({ at: '2026-06-14T07:00:00Z' });
  });
});
