import { describe, expect, it } from 'vitest';
import { compare, meaning, pairRows, settled } from '../src/data/field/compare';
import { encounterName, planOf, type StudyTables } from '../src/data/field/plan';
import { readDeck, readFish, type FieldRow } from '../src/data/field/rows';
import { StepsBack } from '../src/data/field/steps_back';
import { columnsOf, deckColumns, draftOf, emptyTyping, headColumns, sheetName, type Cells, type SheetDraft, type Typing } from '../src/data/field/typing';
import { studyTable } from '../src/data/tables';
import type { Column, Grid, Table } from '../src/server/api';
import { fieldSettings } from './field_fixture';

const column = (name: string, kind: Column['kind'], more: Partial<Column> = {}): Column => ({ name, kind, needed: false, unit: '', what: '', words: [], least: null, may_equal_least: true, most: null, ...more });
const table = (word: string, columns: Column[]): Table => ({ table: word, file: `${word}.csv`, what: '', needed: false, may_edit: true, columns });
const tables: Table[] = [
  table('fish', [column('fish', 'name', { needed: true }), column('species', 'text'), column('mass_g', 'number', { unit: 'g', least: 0, may_equal_least: false, most: 1e6 }), column('fork_length_mm', 'number'), column('tag', 'text'), column('note', 'text')]),
  table('encounters', [column('encounter', 'name', { needed: true }), column('fish', 'name'), column('at', 'time'), ...['rig', 'unhooking', 'landing', 'hook_location'].map((each) => column(each, 'text')), column('water_temperature_c', 'number', { least: -3, most: 45 })]),
  table('events', [column('at', 'time', { needed: true }), column('at_uncertainty_s', 'number', { least: 0 }), column('event', 'word', { needed: true, words: fieldSettings.events }), column('fish', 'name'), column('assembly', 'name'),
    column('value', 'number'), ...['unit', 'who', 'rod', 'rig', 'note'].map((each) => column(each, 'text'))]),
  table('fins', [column('fish', 'name'), column('occasion', 'word', { words: ['landing', 'before_holding', 'after_holding'] }), column('fin', 'word', { words: ['dorsal', 'left_pectoral', 'right_pectoral'] }), column('score', 'text'), column('scorer', 'text')]),
  table('body', [column('fish', 'name'), column('area', 'word'), column('score', 'text')]),
  table('reflexes', [column('fish', 'name'), column('at', 'time'), column('test', 'text'), column('there', 'word', { words: ['no', 'yes'] })]),
  table('blood', [column('fish', 'name'), column('drawn_at', 'time'), column('analyte', 'word', { words: ['lactate', 'glucose'] }), column('value', 'number or limit'), column('unit', 'text'), column('volume_ml', 'number', { least: 0, may_equal_least: false }), column('device', 'text')]),
  table('fates', [column('fish', 'name'), column('at', 'time'), column('what', 'word')]),
];
const studyOf = (there: Record<string, Cells[]> = {}, decimalComma = false): StudyTables => Object.fromEntries(tables.map(({ table: word, columns }) => {
  const names = columns.map(({ name }) => name);
  const grid: Grid = { file: `${word}.csv`, exists: true, has_decimal_comma: decimalComma, columns: names, rows: (there[word] ?? []).map((row, i) => ({ line: i + 2, added_by: '', cells: names.map((name) => row[name] ?? ''), in_file: names.map((name) => row[name] ?? '') })) };
  return [word, studyTable(tables, grid, word, [], fieldSettings.zone)];
}));

const head = { sheet: '3', date: '2026-06-14', who: 'A. Keen' };
const typing = (rows: Cells[], more: Cells = {}): Typing => ({ by: 'A', head: { ...head, ...more }, rows, isDone: true });
const deck = (rows: Cells[], more: Cells = {}) => readDeck(typing(rows, more), fieldSettings, tables, new Set(['T01']), (fish) => `${fish}-e1`);
const of = (rows: FieldRow[], word: string) => rows.filter((row) => row.table === word).map((row) => row.cells);

describe('a deck sheet read', () => {
  it('is a row for each line, its time in UTC and unsure to half a minute', () => {
    const { rows, faults } = deck([{ time: '612', event: 'h', rod: 'port bow', rig: 'single_hook', fish: 'T01' }, { time: '6.14.20', event: 'x', rod: 'port bow', note: 'hook_pulled' }]);
    expect([...faults]).toEqual([]);
    expect(of(rows, 'events')).toEqual([
      { at: '2026-06-14T05:12:00Z', at_uncertainty_s: '30', event: 'hook_up', who: 'A. Keen', fish: 'T01', rod: 'port bow', rig: 'single_hook' },
      { at: '2026-06-14T05:14:20Z', event: 'lost', who: 'A. Keen', rod: 'port bow', note: 'hook_pulled' },
    ]);
  });

  it('takes the sheet’s own uncertainty', () => {
    expect(of(deck([{ time: '612', event: 'b' }], { sure: '5' }).rows, 'events')[0]?.at_uncertainty_s).toBe('5');
  });

  it('a fish that is new gets its row, one that lands its encounter with the rig it took', () => {
    const { rows } = deck([{ time: '612', event: 'h', rig: 'treble_hooks', fish: 'T02' }, { time: '615', event: 'l', fish: 'T02' }]);
    expect(of(rows, 'fish')).toEqual([{ fish: 'T02', species: 'Salmo trutta' }]);
    expect(of(rows, 'encounters')).toEqual([{ encounter: 'T02-e1', fish: 'T02', at: '2026-06-14T05:12:00Z', method: 'angling', who: 'A. Keen', rig: 'treble_hooks' }]);
  });

  it('goes on past midnight, and over lines that are empty', () => {
    const { rows, moments } = deck([{ time: '2350', event: 'b' }, {}, { time: '0010', event: 'b' }, { time: '0020', event: 'b' }]);
    expect(of(rows, 'events').map(({ at }) => at)).toEqual(['2026-06-14T22:50:00Z', '2026-06-14T23:10:00Z', '2026-06-14T23:20:00Z']);
    expect(moments[1]).toBeNull();
  });

  it('values take a decimal comma and a unit, or the usual one', () => {
    const values = (value: string, event = 'bl') => { const { rows, faults } = deck([{ time: '612', event, value }]); return [of(rows, 'events')[0]?.value, of(rows, 'events')[0]?.unit, faults.get('0.value')]; };
    expect(values('0,8')).toEqual(['0.8', 'mL', undefined]);
    expect(values('512 g', 'we')).toEqual(['512', 'g', undefined]);
    expect(values('12', 'n')).toEqual(['12', undefined, undefined]);
    expect(values('1,234')[2]).toContain('can be');
    expect(values('a lot')[2]).toContain('no number');
  });

  it('what cannot be read is told at its cell, and gives no row', () => {
    const { rows, faults } = deck([{ time: '661', event: 'h' }, { time: '612', event: 'q' }, { rod: 'port bow' }, { time: '620', event: 'b' }]);
    expect([...faults.keys()].sort()).toEqual(['0.time', '1.event', '2.event', '2.time']);
    expect(of(rows, 'events')).toHaveLength(1);
    expect(deck([{ time: '612', event: 'b' }], { date: '14.6.2026' }).faults.get('head.date')).toContain('2026-06-14');
  });
});

describe('a fish sheet read', () => {
  const fish = (boxes: Cells, more: Cells = {}) => readFish(typing([boxes], { fish: 'T02', ...more }), fieldSettings, tables, 'T02-e1');
  it('goes into its tables', () => {
    const { rows, faults } = fish({
      rig: 'single_hook', hook_location: 'gills', water_temperature_c: '12,6', rod: 'port bow', 'at.hook_up': '612', 'at.landed': '6.14.30', 'at.sealed': '616', 'in.sealed': 'tube_A', mass_g: '512', 'fin.dorsal': '1', 'marks.dorsal': 's n',
      'fin.left_pectoral': 'severe', 'body.head': '2', 'body.hook_wound': 's', 'at.reflexes': '620', 'reflex.righting': 'y', 'reflex.tail grab': 'n', 'at.blood': '710', 'blood.volume_ml': '0,5', 'blood.1.analyte': 'lactate', 'blood.1.value': '<0,5', 'blood.1.unit': 'mmol/L',
      fate: 'r', 'at.fate': '730',
    });
    expect([...faults]).toEqual([]);
    expect(of(rows, 'fish')).toEqual([{ fish: 'T02', species: 'Salmo trutta', mass_g: '512' }]);
    expect(of(rows, 'encounters')).toEqual([{ encounter: 'T02-e1', fish: 'T02', at: '2026-06-14T05:12:00Z', method: 'angling', who: 'A. Keen', rig: 'single_hook', hook_location: 'gills', water_temperature_c: '12.6' }]);
    expect(of(rows, 'events').map(({ event, at, assembly, value }) => [event, at, assembly, value])).toEqual([
      ['hook_up', '2026-06-14T05:12:00Z', undefined, undefined], ['landed', '2026-06-14T05:14:30Z', undefined, undefined], ['sealed', '2026-06-14T05:16:00Z', 'tube_A', undefined],
      ['blood', '2026-06-14T06:10:00Z', undefined, '0.5'], ['released', '2026-06-14T06:30:00Z', undefined, undefined],
    ]);
    expect(of(rows, 'fins')).toEqual([
      { fish: 'T02', occasion: 'landing', fin: 'dorsal', score: '1', split: 'yes', net_marks: 'yes', scorer: 'A. Keen', at: '2026-06-14T05:14:30Z' },
      { fish: 'T02', occasion: 'landing', fin: 'left_pectoral', score: 'severe', scorer: 'A. Keen', at: '2026-06-14T05:14:30Z' },
    ]);
    expect(of(rows, 'body').map(({ area, score }) => [area, score])).toEqual([['head', '2'], ['hook_wound', 'slight']]);
    expect(of(rows, 'reflexes').map(({ test, there }) => [test, there])).toEqual([['righting', 'yes'], ['tail grab', 'no']]);
    expect(of(rows, 'blood')).toEqual([{ fish: 'T02', drawn_at: '2026-06-14T06:10:00Z', analyte: 'lactate', value: '<0.5', unit: 'mmol/L', volume_ml: '0.5', who: 'A. Keen' }]);
  });

  it('what was not tested is no row', () => {
    expect(of(fish({ 'at.reflexes': '620', 'reflex.righting': 'y' }).rows, 'reflexes')).toHaveLength(1);
    expect(of(fish({ 'at.landed': '612' }).rows, 'fins')).toHaveLength(0);
  });

  it('what is missing is asked for at its box', () => {
    const faults = fish({ 'reflex.righting': 'y', 'blood.1.value': '3', 'in.sealed': 'tube_A', fate: 'died', 'fin.dorsal': '7', 'marks.dorsal': 'q', mass_g: '0' }).faults;
    expect([...faults.keys()].sort()).toEqual(['0.at.blood', '0.at.fate', '0.at.reflexes', '0.fin.dorsal', '0.in.sealed', '0.marks.dorsal', '0.mass_g']);
    expect(fish({ mass_g: '5' }, { fish: '' }).faults.get('head.fish')).toContain('missing');
  });
});

describe('a sheet typed twice', () => {
  const columns = deckColumns(fieldSettings);
  const lines: Cells[] = [
    { time: '612', event: 'li', rod: 'port bow' }, { time: '618', event: 'b', rod: 'port bow' }, { time: '625', event: 'h', rod: 'starboard stern', fish: 'T02' }, { time: '627', event: 'l', fish: 'T02', value: '0,8' },
  ];
  const compared = (a: Cells[], b: Cells[]) => compare(typing(a), typing(b), headColumns('deck'), columns, fieldSettings.events);

  it('other ways of writing the same are no difference', () => {
    const again: Cells[] = [{ time: '06:12', event: 'lines in', rod: ' port bow' }, { time: '6.18', event: 'B', rod: 'port bow' }, { time: '0625', event: 'hook', rod: 'starboard stern', fish: 'T02' }, {}, { time: '6:27', event: 'landed', fish: 'T02', value: '0.80' }];
    expect(compared(lines, again).differences).toEqual([]);
    expect(meaning('612', 'time', [])).not.toBe(meaning('6:12:00', 'time', []));
    expect(meaning('T02', 'name', [])).not.toBe(meaning('t02', 'name', []));
  });

  it('a cell that differs is one difference, wherever it is', () => {
    for (let row = 0; row < lines.length; ++row) for (const { name } of columns) {
      const other = lines.map((line, i) => (i === row ? { ...line, [name]: name === 'time' ? '700' : name === 'event' ? 'n' : name === 'value' ? '9' : 'other' } : line));
      const { differences } = compared(lines, other);
      expect(differences.map((each) => [each.row, each.column?.name]), `${row} ${name}`).toEqual([[row, name]]);
    }
    expect(compare(typing([]), typing([], { who: 'B. Tide' }), headColumns('deck'), columns, []).differences.map((each) => [each.row, each.column?.name])).toEqual([[-1, 'who']]);
  });

  it('a line that only one typed does not shift the others', () => {
    for (let gone = 0; gone < lines.length; ++gone) {
      const less = lines.filter((_, i) => i !== gone);
      for (const { differences } of [compared(lines, less), compared(less, lines)]) expect(differences.map((each) => [each.row, each.column])).toEqual([[gone, null]]);
    }
    expect(pairRows([], [], columns, [])).toEqual([]);
  });

  it('holds when every difference is settled, as it was settled', () => {
    const other: Cells[] = [...lines.slice(0, 3).map((line, i) => (i === 1 ? { ...line, time: '619' } : line)), { time: '640', event: 'n', note: 'seal near' }, lines[3] as Cells];
    const both = compared(lines, other);
    expect(both.differences).toHaveLength(2);
    const [cell, line] = both.differences;
    expect(settled(typing(lines), typing(other), both, { [cell?.key ?? '']: '619' })).toBeNull();
    const choice = { [cell?.key ?? '']: '619', [line?.key ?? '']: '' };
    expect(settled(typing(lines), typing(other), both, choice)?.rows.map((row) => row.time)).toEqual(['612', '619', '625', '627']);
    expect(settled(typing(lines), typing(other), both, { ...choice, [line?.key ?? '']: line?.second ?? '' })?.rows.map((row) => row.time)).toEqual(['612', '619', '625', '640', '627']);
    expect(settled(typing(lines), typing(other), both, { ...choice, [cell?.key ?? '']: '620' })?.rows[1]?.time).toBe('620');
  });

  it('choosing the first, or the second, throughout gives that one (tried on many sheets)', () => {
    let seed = 7;
    const random = (n: number) => (seed = (seed * 1103515245 + 12345) % 2147483648) % n;
    const line = (): Cells => ({ time: String(600 + random(60)), event: ['b', 'h', 'l', 'x'][random(4)] ?? 'b', rod: ['port bow', ''][random(2)] ?? '', fish: ['T01', 'T02', ''][random(3)] ?? '' });
    for (let turn = 0; turn < 200; ++turn) {
      const a = Array.from({ length: random(7) }, line);
      const b = a.flatMap((each) => (random(5) === 0 ? [] : random(4) === 0 ? [{ ...each, time: '700' }] : random(6) === 0 ? [line(), each] : [each]));
      const both = compared(a, b);
      const pick = (side: 'first' | 'second') => settled(typing(a), typing(b), both, Object.fromEntries(both.differences.map((each) => [each.key, each[side]])))?.rows.map((row) => columns.map(({ name }) => row[name] ?? ''));
      expect(pick('first')).toEqual(a.map((row) => columns.map(({ name }) => row[name] ?? '')));
      expect(pick('second')).toEqual(b.map((row) => columns.map(({ name }) => row[name] ?? '')));
    }
  });
});

describe('what is entered', () => {
  const reason = 'from deck sheet no. 3, typed once';
  const hookUp: FieldRow = { table: 'events', cells: { at: '2026-06-14T05:12:00Z', event: 'hook_up', fish: 'T01' } };
  it('is an entry for each row, with its reason', () => {
    const [item] = planOf([hookUp], studyOf(), reason);
    expect(item?.isProposed).toBe(true);
    expect(item?.wishes).toEqual([{ act: 'add', content: { table: 'events', row: hookUp.cells }, reason }]);
  });

  it.each(['2026-06-14 06:12', '2026-06-14 06:12:48', '2026-06-14T05:12:30.250Z', '2026-06-14T07:12:59+02:00'])('the same event in the same minute (%s) stands already and is not entered unless said', (at) => {
    const [item] = planOf([hookUp], studyOf({ events: [{ at, event: 'hook_up', fish: 'T01' }] }), reason);
    expect(item?.isProposed).toBe(false);
    expect(item?.stands).toContain('2026-06-14 06:12');
    expect(item?.what).toBe('2026-06-14 06:12, hook up, T01');
  });

  it('another minute, fish, event, or rod where there is no fish, is another row', () => {
    const other = [{ at: '2026-06-14 06:13', event: 'hook_up', fish: 'T01' }, { at: '2026-06-14 06:12', event: 'bite', fish: 'T01' }, { at: '2026-06-14 06:12', event: 'hook_up', fish: 'T02' }];
    expect(planOf([hookUp], studyOf({ events: other }), reason)[0]?.isProposed).toBe(true);
    const bite: FieldRow = { table: 'events', cells: { at: '2026-06-14T05:12:00Z', event: 'bite', rod: 'port bow' } };
    expect(planOf([bite], studyOf({ events: [{ at: '2026-06-14 06:12', event: 'bite', rod: 'starboard stern' }] }), reason)[0]?.isProposed).toBe(true);
    expect(planOf([bite], studyOf({ events: [{ at: '2026-06-14 06:12', event: 'bite', rod: 'port bow' }] }), reason)[0]?.isProposed).toBe(false);
  });

  it('the same line twice on a sheet is asked about', () => {
    expect(planOf([hookUp, hookUp], studyOf(), reason).map((item) => item.isProposed)).toEqual([true, false]);
  });

  it('a fish that stands there is filled in; what it has otherwise is changed only when said', () => {
    const rows: FieldRow[] = [{ table: 'fish', cells: { fish: 'T01', species: 'Salmo trutta', mass_g: '512', fork_length_mm: '350' } }];
    const items = planOf(rows, studyOf({ fish: [{ fish: 'T01', species: 'Salmo trutta', mass_g: '500,0' }] }, true), reason);
    expect(items.map((item) => [item.isProposed, item.what])).toEqual([[true, 'T01: fork length mm 350'], [false, 'T01: mass g 500,0 → 512']]);
    expect(items[1]?.wishes).toEqual([{ act: 'set', content: { table: 'fish', row: { fish: 'T01' }, cells: { mass_g: { was: '500,0', now: '512' } } }, reason }]);
    expect(planOf(rows.map(({ table: word }) => ({ table: word, cells: { fish: 'T01', mass_g: '500.0' } })), studyOf({ fish: [{ fish: 'T01', mass_g: '500,0' }] }, true), reason)).toEqual([]);
  });

  it('encounters get names that none has', () => {
    expect(encounterName('T01', studyOf())).toBe('T01-e1');
    expect(encounterName('T01', studyOf({ encounters: [{ encounter: 'T01-e1' }, { encounter: 'T01-e2' }] }))).toBe('T01-e3');
  });
});

describe('kept and taken back', () => {
  const draft: SheetDraft = { id: 'a', study: 's', kind: 'deck', begunAt: '2026-06-14T10:00:00Z', first: typing([{ time: '612' }]), second: null, settled: {}, said: {}, sent: null, entered: null };
  it('what was kept is read again, what is no sheet is left', () => {
    expect(draftOf(JSON.stringify(draft))).toEqual(draft);
    for (const text of [null, '', '{', '[]', '"a"', JSON.stringify({ ...draft, kind: 'night' }), JSON.stringify({ ...draft, first: { by: 1 } })]) expect(draftOf(text)).toBeNull();
    expect(sheetName(draft, draft.first.head)).toBe('deck sheet, no. 3, 2026-06-14');
    expect(columnsOf('fish', fieldSettings).length).toBeGreaterThan(40);
    expect(emptyTyping('fish', 'A', '').rows).toEqual([{}]);
  });

  it('goes back cell by cell and forth again', () => {
    const steps = new StepsBack();
    const at = (text: string) => typing([{ time: text }]);
    steps.note('0.time', at(''));
    steps.note('0.time', at('6'));
    steps.part();
    steps.note('0.event', at('612'));
    expect(steps.back(at('612 b'))).toEqual({ place: '0.event', before: at('612') });
    expect(steps.back(at('612'))).toEqual({ place: '0.time', before: at('') });
    expect(steps.back(at(''))).toBeNull();
    expect(steps.forth(at(''))?.before).toEqual(at('612'));
    expect(steps.forth(at('612'))?.before).toEqual(at('612 b'));
    expect(steps.forth(at('612 b'))).toBeNull();
  });
});
