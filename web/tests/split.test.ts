// A stay that is split: its rows, decisions and events go where they belong, whole or not at all.
import { describe, expect, it } from 'vitest';
import { newStayName, splitting, type SplitTables } from '../src/data/split';
import { studyTable } from '../src/data/tables';
import type { Column, Grid, Table } from '../src/server/api';

const column = (name: string, kind: Column['kind'] = 'text'): Column => ({ name, kind, needed: false, unit: '', what: name, words: [], least: null, may_equal_least: true, most: null });
const heads = {
  stays: ['stay', 'fish', 'assembly', 'role', 'from', 'to', 'ended', 'last_good'],
  decisions: ['stay', 'moment', 'act', 'value', 'reason', 'author', 'at'],
  events: ['at', 'event', 'fish', 'stay', 'note'],
};
const times = ['from', 'to', 'last_good', 'moment', 'at'];
const definitions = Object.entries(heads).map(([table, names]): Table => ({ table, file: `${table}.csv`, what: '', needed: true, may_edit: true, columns: names.map((name) => column(name, name === 'stay' ? 'name' : times.includes(name) ? 'time' : 'text')) }));
const table = (name: keyof typeof heads, rows: string[][]) => {
  const grid: Grid = { file: '', exists: true, has_decimal_comma: false, columns: heads[name], rows: rows.map((cells, i) => ({ line: i + 2, added_by: '', in_file: cells, cells })) };
  return studyTable(definitions, grid, name, [], 'Europe/London');
};
const study = (parts: Partial<Record<keyof typeof heads, string[][]>> = {}): SplitTables => ({
  stays: table('stays', parts.stays ?? [
    ['s1', 'T01', 'tube', 'after_capture', '2026-06-14 08:00', '2026-06-14 09:00', '', ''],
    ['s1', 'T01', 'tube', 'rest', '2026-06-14 09:00', '2026-06-14 20:00', 'welfare_stop', '2026-06-14 19:00'],
    ['s1-2', '', 'tube', 'blank', '2026-06-14 21:00', '2026-06-14 22:00', '', ''],
  ]),
  decisions: table('decisions', parts.decisions ?? [
    ['s1', '2026-06-14T07:30:00Z', 'exclude', '', 'early', 'A', ''],
    ['s1', '2026-06-14T12:00:00Z', 'mark', 'doubtful', 'late', 'A', ''],
    ['s1', '', 'note', '', 'all of it', 'A', ''],
    ['s2', '2026-06-14T12:00:00Z', 'note', '', 'another', 'A', ''],
  ]),
  events: table('events', parts.events ?? [['2026-06-14T08:30:00Z', 'note', '', 's1', ''], ['2026-06-14T13:00:00Z', 'disturbance', '', 's1', ''], ['2026-06-14T13:00:00Z', 'note', 'T01', '', '']]),
});
const short = (tables: SplitTables, moment: string, what: 'opened' | '' = 'opened') => {
  const done = splitting(tables, 's1', moment, what, 'lid was off');
  return { ...done, wishes: (done.wishes ?? []).map(({ act, content }) => `${act} ${JSON.stringify(content)}`) };
};

describe('a stay is split', () => {
  it('in its last stretch: the later part takes its end, its decisions and its events along', () => {
    const { wishes, name } = short(study(), '2026-06-14T10:00:00Z');
    expect(name).toBe('s1-3');
    expect(wishes).toEqual([
      'set {"table":"stays","row":{"stay":"s1","from":"2026-06-14 09:00"},"cells":{"to":{"was":"2026-06-14 20:00","now":"2026-06-14T10:00:00Z"},"ended":{"was":"welfare_stop","now":""},"last_good":{"was":"2026-06-14 19:00","now":""}}}',
      'add {"table":"stays","row":{"stay":"s1-3","fish":"T01","assembly":"tube","role":"rest","from":"2026-06-14T10:00:00Z","to":"2026-06-14 20:00","ended":"welfare_stop","last_good":"2026-06-14 19:00"}}',
      'set {"table":"decisions","row":{"stay":"s1","moment":"2026-06-14T12:00:00Z"},"cells":{"stay":{"was":"s1","now":"s1-3"}}}',
      'add {"table":"decisions","row":{"stay":"s1-3","act":"note","reason":"all of it","author":"A"}}',
      'set {"table":"events","row":{"stay":"s1","at":"2026-06-14T13:00:00Z"},"cells":{"stay":{"was":"s1","now":"s1-3"}}}',
      'add {"table":"events","row":{"at":"2026-06-14T10:00:00Z","event":"opened","fish":"T01","note":"lid was off"}}',
    ]);
  });
  it('in an earlier stretch: later roles are of the new stay', () => {
    const { wishes } = short(study({ decisions: [], events: [] }), '2026-06-14T08:30:00+01:00', '');
    expect(wishes).toHaveLength(3);
    expect(wishes[0]).toContain('"to":{"was":"2026-06-14 09:00","now":"2026-06-14T07:30:00Z"}');
    expect(wishes[1]).toContain('"row":{"stay":"s1","from":"2026-06-14 09:00"},"cells":{"stay":{"was":"s1","now":"s1-3"}}');
    expect(wishes[2]).toContain('"role":"after_capture","from":"2026-06-14T07:30:00Z","to":"2026-06-14 09:00"');
  });
  it('not where it cannot be', () => {
    for (const [moment, word] of [['2026-06-14T20:00:00Z', 'no stretch'], ['2026-06-14T08:00:00Z', 'no stretch'], ['at noon', 'no moment'], ['2026-06-14T18:30:00Z', 'last good']] as const) {
      const done = short(study(), moment);
      expect(done.wishes).toEqual([]);
      expect(done.fault).toContain(word);
    }
    const twice = ['s1', '2026-06-14T12:00:00Z', 'note', '', 'x', 'A', ''];
    expect(short(study({ decisions: [twice, twice] }), '2026-06-14T10:00:00Z').fault).toContain('twice');
  });
});

it('a new stay has a name that none has', () => {
  expect(newStayName('s05', [])).toBe('s05-2');
  expect(newStayName('s05-2', ['s05-2', 's05-3'])).toBe('s05-4');
});
