import { describe, expect, it } from 'vitest';
import { askedBy, factsOf, firstLines, isTrouble, placeFor, readingsOf, settingsOf, sizeText, traceNameOf, zonedText } from '../src/data/offer';
import type { Look, Stop } from '../src/server/api';

const stop = (remedy: string): Stop => ({ text: '', found: '', expected: '', remedy, column: '' });

describe('what answers a doubt', () => {
  // The reader's own sentences (src/intake).
  it.each([
    ['set date_order = "day_month_year" or "month_day_year"', ['date_order'], false],
    ['set date_order; the dates that do not fit it are then refused row by row', ['date_order'], false],
    ['set zone = "Area/Place" or a fixed offset like "+01:00"', ['zone'], false],
    ['set start (local in zone, or with an offset)', ['start'], false],
    ['set delimiter, header_line or first_data_line', ['delimiter', 'header_line', 'first_data_line'], false],
    ['set delimiter, or take this file out if it is not a trace', ['delimiter'], false],
    ['copy the file from the logger again, or set encoding', ['encoding'], false],
    ['set time_form = "elapsed_seconds", "elapsed_minutes" or another', ['time_form'], false],
    ['set time_form, or say in [[trace.column]] which column is the time', ['time_form'], true],
    ['say which column is use = "date", or set time_form = "elapsed_clock"', ['time_form'], true],
    ['say which it is in [[trace.column]]: index = 1, use = "time"', [], true],
    ['set unit in [[trace.column]] for header = "O2", or use = "ignore"', [], true],
    ['leave time_form out, or say which column is use = "time"', ['time_form'], true],
    ['set decimal = "comma"', ['decimal'], false],
    ['export the file again with semicolons or decimal points', [], false],
  ])('%s', (remedy, keys, columns) => {
    expect(askedBy(stop(remedy))).toEqual({ keys, columns });
  });
});

it('each reading of a date is told with its word', () => {
  expect(readingsOf({ ...stop(''), found: '"08.06.2026" may be 8 June 2026 (day first) or 6 August 2026 (month first)' })).toEqual([
    { word: 'day_month_year', date: '8 June 2026' }, { word: 'month_day_year', date: '6 August 2026' },
  ]);
  expect(readingsOf({ ...stop(''), found: 'dates that contradict each other: "13/04" is no date month first' })).toEqual([]);
});

describe('what is sent', () => {
  it('says only what was said, numbers as numbers, lists as lists', () => {
    expect(settingsOf({ file: { zone: ' Europe/London ', header_line: '3', assumed_salinity: '0,5', missing_words: 'n/a, --', decimal: '' }, columns: [] })).toEqual({
      zone: 'Europe/London', header_line: 3, assumed_salinity: 0.5, missing_words: ['n/a', '--'],
    });
    expect(settingsOf({ file: { header_line: 'x' }, columns: [] })).toEqual({ header_line: 'x' });
  });
  it('columns by their place', () => {
    expect(settingsOf({ file: {}, columns: [{ index: 2, use: 'oxygen', unit: 'mg/L', channel: '' }, { index: 3, use: '', unit: ' ', channel: '' }] })).toEqual({ column: [{ index: 2, use: 'oxygen', unit: 'mg/L' }] });
  });
});

it('names and places', () => {
  expect(placeFor('shore', 'day 9.csv')).toBe('raw/shore/day 9.csv');
  expect(['Shore_2026-06-14.csv', 'boat-logger 3.txt', '20260614.csv', 'O2 A.csv'].map(traceNameOf)).toEqual(['shore', 'boat_logger', 'logger', 'o2_a']);
  expect([999, 1500, 312_500_000].map(sizeText)).toEqual(['999 bytes', '1.5 kB', '312.5 MB']);
});

it('times are shown as a clock of the zone has them, with what it is off', () => {
  expect(zonedText('2026-06-14T10:00:00Z', 'Europe/London')).toBe('2026-06-14 11:00:00 +01:00');
  expect(zonedText('2026-01-14T00:30:00Z', 'Europe/London')).toBe('2026-01-14 00:30:00 +00:00');
});

it('troubles are told from facts', () => {
  for (const line of ['gap before line 9: a to b', '3 rows refused, lines 4: x', 'refused: x', 'column "O2": 4 cells missing (4 empty)', 'the last line is cut', 'day.csv line 3, column "O2": "x" is not a number']) expect(isTrouble(line), line).toBe(true);
  for (const line of ['41 rows: 41 kept, 0 refused; 0 blank', '41 rows: 2026 to 2026, usually every 2 s']) expect(isTrouble(line), line).toBe(false);
  expect(factsOf({ understood: ['delimiter: semicolon', 'column 1 "time": time'] } as Look)).toEqual(['delimiter: semicolon']);
});

it('the first lines are read in the encoding that their bytes have', () => {
  const utf16 = new Uint8Array([0xff, 0xfe, 0x61, 0, 0x0d, 0, 0x0a, 0, 0xe4, 0]);
  expect(firstLines(utf16, 5).map((line) => line.replace('\ufeff', ''))).toEqual(['a', 'ä']);
  expect(firstLines(new TextEncoder().encode('°C\nb\nc'), 2)).toEqual(['°C', 'b']);
  expect(firstLines(new Uint8Array([0xb0, 0x43, 0x0a, 0x61, 0x62, 0x63, 0x64]), 1)).toEqual(['°C']);
});
