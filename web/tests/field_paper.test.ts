import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import * as cautions from '../src/data/field/cautions';
import { eventLetters, eventRead } from '../src/data/field/event_words';
import { boxesOf, fishParts } from '../src/data/field/fish_sheet';
import { fieldPages, mostSheets, paperArea, paperSizes, permitLine, rowHeight, rowsThatFit } from '../src/data/field/pages';
import { fieldSettingsOf } from '../src/data/field/settings';
import { dayAfter, dayRead, dayText, momentRead, timeOfDayRead, timeText } from '../src/data/field/times';
import { deckAnswer, fieldSettings } from './field_fixture';

describe('what the brief says', () => {
  it('is read from the answer', () => {
    expect(fieldSettings.assemblies).toEqual(['tube_A', 'box_1']);
    expect(fieldSettings.body_scale).toEqual(['none', 'some', 'much']);
    expect(fieldSettings.permit.air_s).toBe(60);
  });

  it('may be missing in part, but not as a whole', () => {
    const bare = fieldSettingsOf({ study: '', zone: 'UTC' });
    expect(bare.rods).toEqual([]);
    expect(bare.permit).toEqual({ number: '', fish: null, chases_per_fish: null, air_s: null, at_death: '', watched_by: '' });
    expect(() => fieldSettingsOf({})).toThrow('zone');
    expect(fieldSettingsOf({ ...deckAnswer, rods: 'port' }).rods).toEqual([]);
  });
});

describe('times of a sheet', () => {
  const same = ['612', '0612', '6:12', '06:12', '6.12', '6,12', '6h12', ' 06.12 '];
  it.each(same)('%s is twelve past six', (typed) => {
    expect(timeOfDayRead(typed).value).toEqual({ hour: 6, minute: 12, second: null });
  });

  it.each(['61230', '061230', '6:12:30', '6.12.30'])('%s has seconds', (typed) => {
    expect(timeOfDayRead(typed).value).toEqual({ hour: 6, minute: 12, second: 30 });
  });

  it.each(['', '6', '61', '2460', '2400', '6:7', '06:12:60', '-612', '1234567', 'noon', '6:12 pm'])('“%s” is refused in words', (typed) => {
    const read = timeOfDayRead(typed);
    expect(read.value).toBeNull();
    expect(read.fault).toMatch(/time of day/);
  });

  it('every minute of a day comes back from all ways of writing it', () => {
    for (let n = 0; n < 1440; ++n) {
      const time = { hour: Math.floor(n / 60), minute: n % 60, second: null };
      const text = timeText(time);
      for (const typed of [text, text.replace(':', ''), text.replace(':', '.'), String(Number(text.replace(':', ''))).padStart(3, '0')]) expect(timeOfDayRead(typed).value, typed).toEqual(time);
    }
  });

  it('dates come year first', () => {
    expect(dayRead('2026-06-14').value).toEqual({ year: 2026, month: 6, day: 14 });
    expect(dayRead('2026.6.4').value).toEqual({ year: 2026, month: 6, day: 4 });
    for (const typed of ['14.6.2026', '2026-02-29', '', '6/14']) expect(dayRead(typed).value, typed).toBeNull();
  });

  const start = { year: 2026, month: 12, day: 31 };
  const at = (hour: number, minute = 0) => ({ hour, minute, second: null });
  it('the date is carried on, past midnight to the next', () => {
    expect(dayText(dayAfter(null, start, at(23)))).toBe('2026-12-31');
    expect(dayText(dayAfter({ day: start, time: at(23, 50) }, start, at(0, 10)))).toBe('2027-01-01');
    expect(dayText(dayAfter({ day: start, time: at(9, 20) }, start, at(9, 10)))).toBe('2026-12-31');
  });

  it('is a moment of the study’s zone', () => {
    const day = { year: 2026, month: 6, day: 14 };
    expect(momentRead(day, at(6, 12), 'Europe/London').value?.iso).toBe('2026-06-14T05:12:00Z');
    expect(momentRead(day, { hour: 6, minute: 12, second: 30 }, 'UTC').value?.iso).toBe('2026-06-14T06:12:30Z');
  });

  it('an hour that came twice or never is asked about', () => {
    expect(momentRead({ year: 2026, month: 10, day: 25 }, at(1, 30), 'Europe/London').fault).toContain('came twice');
    expect(momentRead({ year: 2026, month: 3, day: 29 }, at(1, 30), 'Europe/London').fault).toContain('never was');
  });
});

describe('events by a few letters', () => {
  it('every letter is one event of the program, no two alike', () => {
    expect(new Set(eventLetters.map((each) => each.letters)).size).toBe(eventLetters.length);
    for (const { letters, event } of eventLetters) {
      expect(eventRead(letters, fieldSettings.events).event).toBe(event);
      expect(eventRead(letters.toUpperCase(), fieldSettings.events).event).toBe(event);
    }
  });

  it('words and their beginnings are taken where they are one', () => {
    for (const event of fieldSettings.events) expect(eventRead(event.replaceAll('_', ' '), fieldSettings.events).event).toBe(event);
    expect(eventRead('hook', fieldSettings.events).event).toBe('hook_up');
    expect(eventRead('backin', fieldSettings.events).event).toBe('back_in_water');
    expect(eventRead('chase', fieldSettings.events).fault).toBe('“chase” may be chase start or chase end: type more of it');
    expect(eventRead('zz', fieldSettings.events).fault).toContain('no event');
    expect(eventRead(' ', fieldSettings.events).fault).toContain('missing');
  });
});

describe('sheets on paper', () => {
  const wish = { size: 'A4' as const, sheets: { deck: 2, fish: 3, night: 1 } };

  it('pages are numbered through, sheets by their kind', () => {
    const pages = fieldPages(wish);
    expect(pages.map(({ kind, sheet, page, pages: all }) => `${kind} ${sheet} ${page}/${all}`)).toEqual(['deck 1 1/6', 'deck 2 2/6', 'fish 1 3/6', 'fish 2 4/6', 'fish 3 5/6', 'night 1 6/6']);
  });

  it('a wish out of bounds makes no endless paper', () => {
    const pages = fieldPages({ size: 'Letter', sheets: { deck: 1e9, fish: -3, night: Number.NaN } });
    expect(pages).toHaveLength(mostSheets);
  });

  it('rows fit on either paper, and are worth a sheet', () => {
    for (const size of paperSizes) for (const kind of ['deck', 'night'] as const) {
      expect(rowsThatFit(kind, size)).toBeGreaterThanOrEqual(11);
      expect(rowsThatFit(kind, size) * rowHeight).toBeLessThan(paperArea[size].height - 38);
    }
  });

  it('the foot says what the permit says, and only that', () => {
    expect(permitLine(fieldSettings)).toBe('Permit SV-1: at most 40 fish, 1 chase a fish, 60 s in air, 1 mL of blood per kg in 24 h. At a death: stop and ring the licence holder.');
    expect(permitLine({ ...fieldSettings, permit: { ...fieldSettings.permit, at_death: '', watched_by: 'B. Tide' } })).toContain('in 24 h. Watched by B. Tide.');
    expect(permitLine(fieldSettingsOf({ study: '', zone: '' }))).toBe('Permit: no number in the brief.');
  });

  it('cautions are in the words of the sheets that a new study comes with', () => {
    const template = readFileSync(new URL('../../src/intake/template.cpp', import.meta.url), 'utf8').replaceAll(/"\s*\n\s*"/g, '');
    for (const [name, text] of Object.entries(cautions)) expect(template, name).toContain(text);
  });

  it('a fish sheet has each box once, with the brief’s own fins and tests', () => {
    const ids = boxesOf(fishParts(fieldSettings)).map((each) => each.id);
    expect(new Set(ids).size).toBe(ids.length);
    expect(ids.filter((id) => id.startsWith('fin.'))).toEqual(['fin.dorsal', 'fin.left_pectoral', 'fin.right_pectoral']);
    expect(ids).toContain('reflex.tail grab');
    expect(boxesOf(fishParts(fieldSettingsOf({ study: '', zone: '' }))).filter((each) => each.id.startsWith('fin.'))).toHaveLength(7);
  });
});
