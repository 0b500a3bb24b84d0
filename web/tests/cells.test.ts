import { describe, expect, it } from 'vitest';
import { blockOf, blockText } from '../src/data/block';
import { cellRead, instantOf, numberRead, plainName, yearFirst } from '../src/data/cells';
import type { Column } from '../src/server/api';

const column = (part: Partial<Column>): Column => ({
  name: 'c', kind: 'text', needed: false, unit: '', what: 'What it is.', words: [], least: null, may_equal_least: true, most: null, ...part,
});
const habits = { zone: 'Europe/London', decimal: '.' as const };
const textOf = (typed: string, of: Partial<Column>) => cellRead(typed, column(of), habits).text;
const faultOf = (typed: string, of: Partial<Column>) => cellRead(typed, column(of), habits).fault;

describe('numbers', () => {
  it.each([['8.4', '8.4'], [' 512 ', '512'], ['+1', '+1'], ['-0.5', '-0.5'], ['.5', '.5'], ['1e3', '1e3'], ['8,4', '8.4'], ['0,512', '0.512'], ['1234,5', '1234.5']])('%s is %s', (typed, text) => {
    expect(numberRead(typed, '.')).toEqual({ text, fault: '' });
  });
  it.each(['abc', '-', 'NA', '1 234', '8.4.1', '1,2,3', '1,234.5', 'NaN', 'Infinity', '1e999'])('%s is none', (typed) => {
    expect(numberRead(typed, '.').text).toBeNull();
  });
  it('a mark that may part thousands is never guessed', () => {
    expect(numberRead('1,234', '.').fault).toBe('“1,234” can be 1.234 or 1234: write the one that is meant');
    expect(numberRead('1.234', ',').fault).toContain('can be 1,234 or 1234');
    expect(numberRead('1,234', ',')).toEqual({ text: '1.234', fault: '' });
    expect(numberRead('1.234', '.')).toEqual({ text: '1.234', fault: '' });
  });
  it('keep to the limits of their column', () => {
    const mass = { kind: 'number', unit: 'g', least: 0, may_equal_least: false, most: 1e6 } as const;
    expect(textOf('0.1', mass)).toBe('0.1');
    expect(faultOf('0', mass)).toBe('0 is outside what it may be: more than 0, up to 1000000 g');
    expect(faultOf('-3', mass)).not.toBe('');
    expect(textOf('0', { ...mass, may_equal_least: true })).toBe('0');
    expect(faultOf('2000000', mass)).not.toBe('');
  });
  it('limits of an assay', () => {
    expect(textOf('<0,5', { kind: 'number or limit' })).toBe('<0.5');
    expect(textOf('>20', { kind: 'number or limit' })).toBe('>20');
    for (const typed of ['LOD', '-1', '<', '<-2']) expect(faultOf(typed, { kind: 'number or limit' }), typed).not.toBe('');
  });
});

describe('words', () => {
  const role = { kind: 'word', words: ['after_capture', 'rest', 'after_chase'] } as const;
  it('are compared as the program does', () => {
    expect(plainName(' After Capture ')).toBe('after_capture');
    expect(textOf('After capture', { ...role, words: [...role.words] })).toBe('after_capture');
  });
  it('that are none name near ones', () => {
    expect(faultOf('after', { ...role, words: [...role.words] })).toContain('after_capture or after_chase');
    expect(faultOf('xyz', { ...role, words: [...role.words] })).toContain('it is one of after_capture, rest, after_chase');
  });
});

describe('times', () => {
  it.each(['2026-06-14 21:05', '2026-06-14T21:05:03+02:00', '2026-06-14 21:05:03.5', '2026/6/4 7:05', '2026-06-14T08:00:00Z', '2026-10-25 01:30+01:00'])('%s is one', (typed) => {
    expect(textOf(typed, { kind: 'time' })).toBe(typed);
  });
  it.each([
    ['2026-02-30 10:00', 'does not exist'], ['2926-06-14 21:05', '1950 to 2099'], ['2026-06-14', 'no time of day'], ['2026-06-14 25:00', 'no such time'],
    ['03/04/2026 10:00', 'which is day'], ['yesterday', 'not a time'], ['46000.5', 'not a time'],
  ])('%s is none', (typed, fault) => {
    expect(faultOf(typed, { kind: 'time' })).toContain(fault);
  });
  // Europe/London 2026: forward on 29 March at 01:00, back on 25 October at 02:00.
  it('that never was, or came twice, wants its offset', () => {
    expect(faultOf('2026-03-29 01:30', { kind: 'time' })).toContain('never was in Europe/London');
    expect(faultOf('2026-10-25 01:30', { kind: 'time' })).toContain('2026-10-25 01:30+01:00 or 2026-10-25 01:30+00:00');
    expect(textOf('2026-10-25 02:30', { kind: 'time' })).not.toBeNull();
    expect(textOf('2026-03-29 02:00', { kind: 'time' })).not.toBeNull();
  });
  it('stand for a moment, by their offset or the zone', () => {
    for (const text of ['2026-06-14 21:05', '2026-06-14T20:05:00Z', '2026-06-14T22:05+02:00', '2026/6/14 21:05:00']) expect(instantOf(text, 'Europe/London'), text).toBe(Date.UTC(2026, 5, 14, 20, 5));
    expect(instantOf('2026-01-14 21:05:30', 'Europe/London')).toBe(Date.UTC(2026, 0, 14, 21, 5, 30));
    expect(instantOf('2026-10-25 01:30', 'Europe/London')).toBeNull();
  });
  it('of another order are turned only by a word', () => {
    expect(yearFirst('3/4/26 10:00', 'day_month')).toBe('2026-04-03 10:00');
    expect(yearFirst('3/4/2026 10:00', 'month_day')).toBe('2026-03-04 10:00');
    expect(yearFirst('13.04.2026', 'month_day')).toBeNull();
  });
});

describe('other cells', () => {
  it('needed ones must not be empty', () => {
    expect(faultOf(' ', { needed: true })).toContain('must not be empty: What it is.');
    expect(textOf('', { kind: 'number' })).toBe('');
  });
  it('a channel has its trace', () => {
    expect(textOf('boat:O2 A', { kind: 'channel' })).toBe('boat:O2 A');
    expect(faultOf('O2 A', { kind: 'channel' })).toContain('trace:channel');
  });
  it('columns of the study’s own take any text of one line', () => {
    expect(cellRead(' as it is ', null, habits)).toEqual({ text: ' as it is ', fault: '' });
    expect(cellRead('two\nlines', null, habits).text).toBeNull();
  });
});

describe('a block from a spreadsheet', () => {
  it('has rows and cells; quotes hold tabs, line ends and quotes', () => {
    expect(blockOf('a\tb\r\n1,5\t2\r\n')).toEqual([['a', 'b'], ['1,5', '2']]);
    expect(blockOf('"a\tb"\t"say ""x"""\n"two\nlines"\tz')).toEqual([['a\tb', 'say "x"'], ['two\nlines', 'z']]);
  });
  it('rows are made of one width, empty cells and lines kept', () => {
    expect(blockOf('a\n\nb\tc')).toEqual([['a', ''], ['', ''], ['b', 'c']]);
    expect(blockOf('a\t')).toEqual([['a', '']]);
    expect(blockOf('')).toEqual([]);
  });
  it('a quote within a cell, or one never closed, is a quote', () => {
    expect(blockOf('5" rod\t"open')).toEqual([['5" rod', '"open']]);
    expect(blockOf('"a" b\tc')).toEqual([['"a" b', 'c']]);
  });
  it('goes back as it came', () => {
    const rows = [['a\tb', 'say "x"', ''], ['', '1,5', 'z']];
    expect(blockOf(blockText(rows))).toEqual(rows);
  });
});
