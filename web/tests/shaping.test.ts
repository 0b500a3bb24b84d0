// How the pages shape the results: lists, strips, the walk through what is doubtful, texts.
import { describe, expect, it } from 'vitest';
import { blankRows } from '../src/data/blanks';
import { dayAndTime, knownZone, offsetText, timeOfDay, utcText } from '../src/data/clock';
import { fishRows, matching, neighbours, sorted } from '../src/data/fish_list';
import { leavingLines } from '../src/data/leavings';
import { bytesText, measuredText } from '../src/data/measured';
import { isQuantity, seconds, sentence } from '../src/data/read';
import type { Quantity, Stay } from '../src/data/results';
import { countInDoubt, nextInDoubt, staysOf, stayTitle } from '../src/data/stays';
import { floorOxygen, residualsOf, saturationFloor, spellAt, stripPaths, stripScale, stripsOf } from '../src/data/strips';
import { bareText, listText, worryFiles } from '../src/data/worries';
import { leftOut, spellQuantity } from '../src/pages/fish_tables';
import { chanceText, foundQuantity } from '../src/pages/found_tables';
import type { Worry } from '../src/server/wire';
import { fixture } from './fixture';

const study = fixture();
const first = study.fish[0];
if (!first) throw new Error('a fixture without fish');
const night = first.stays.find((stay) => stay.roles.some((role) => role.role === 'rest')) as Stay;

function quantities(value: unknown, found: Quantity[] = []): Quantity[] {
  if (isQuantity(value)) found.push(value);
  if (typeof value === 'object' && value !== null) for (const each of Object.values(value)) quantities(each, found);
  return found;
}

describe('numbers as text', () => {
  it('are rounded as the program rounds them: its own texts in the document are met', () => {
    const printed = quantities(study).filter((q) => q.value !== null && (q.standard_uncertainty ?? 0) > 0 && /^-?[\d.]+ ± [\d.]+$/.test(q.text));
    expect(printed.length).toBeGreaterThan(100);
    const other = printed.filter((q) => measuredText(q.value ?? 0, q.standard_uncertainty ?? 0) !== q.text);
    expect(other.map((q) => `${q.value} ± ${q.standard_uncertainty}: ${q.text}, not ${measuredText(q.value ?? 0, q.standard_uncertainty ?? 0)}`)).toEqual([]);
  });

  it.each([
    [412.34, 18.2, '412 ± 18'], [71.04, 0.888, '71.04 ± 0.89'], [1234.5, 123, '1230 ± 120'], [5, 0.0996, '5.00 ± 0.10'], [50, 9.96, '50 ± 10'], [5200, 1000, '5200 ± 1000'], [7.5, 0, '7.5'],
  ])('%d ± %d', (value, uncertainty, text) => {
    expect(measuredText(value, uncertainty)).toBe(text);
  });

  it.each([[0, '0 B'], [999, '999 B'], [1200, '1.2 kB'], [33427, '33 kB'], [999_600, '1 MB'], [12_965_169, '13 MB'], [105_383, '105 kB']])('%d bytes', (bytes, text) => {
    expect(bytesText(bytes)).toBe(text);
  });

  it('sentences of the document begin and end as sentences', () => {
    expect(sentence('mean of 3 values at 12 degC')).toBe('Mean of 3 values at 12 °C.');
    expect(sentence('Done.')).toBe('Done.');
    expect(sentence('')).toBe('');
  });
});

describe('the clock', () => {
  const at = Date.parse('2026-06-14T02:12:00Z');
  it('shows the study’s own time and what it is off by', () => {
    expect(timeOfDay(at, 'Europe/London')).toBe('03:12');
    expect(offsetText(at, 'Europe/London')).toBe('UTC+1');
    expect(offsetText(at, 'Asia/Kolkata')).toBe('UTC+5:30');
    expect(dayAndTime(at, 'Europe/London')).toBe('14 Jun 2026, 03:12');
    expect(utcText('2026-06-14T15:07:34.250Z')).toBe('2026-06-14 15:07:34');
  });
  it('a zone that the browser does not know leaves the device’s own', () => {
    expect(knownZone('Atlantis/Deep')).toBeUndefined();
    expect(timeOfDay(at, 'Atlantis/Deep')).toMatch(/^\d\d:\d\d$/);
  });
});

describe('the list of fish', () => {
  const rows = fishRows(study);
  it('holds every fish with its numbers, doubts and fate', () => {
    expect(rows).toHaveLength(study.fish.length);
    const row = rows[0];
    expect(row?.capture?.text).toBe(first.metrics.peaks[0]?.uptake_mg_per_kg_h.text);
    expect(row?.spells).toBe(first.stays.reduce((sum, stay) => sum + stay.spells.number.length, 0));
    expect(row?.inDoubt).toBe(first.stays.flatMap((stay) => stay.spells.mark).filter((mark) => mark !== 'good').length);
  });
  it('is sorted both ways, fish without the number last in both', () => {
    const without = rows.filter((row) => row.chase === null || row.chase.value === null).map((row) => row.fish.id);
    expect(without.length).toBeGreaterThan(0);
    for (const isDown of [false, true]) {
      const order = sorted(rows, 'chase', isDown);
      expect(order.slice(-without.length).map((row) => row.fish.id)).toEqual(without);
      const values = order.flatMap((row) => (row.chase?.value == null ? [] : [row.chase.value]));
      expect(values).toEqual([...values].sort((a, b) => (isDown ? b - a : a - b)));
    }
    const ids = rows.map((row, i) => ({ ...row, fish: { ...row.fish, id: ['f10', 'f9', 'f1', 'f2', 'f11'][i] ?? '' } }));
    expect(sorted(ids, 'fish', false).map((row) => row.fish.id)).toEqual(['f1', 'f2', 'f9', 'f10', 'f11']);
  });
  it('is found by every typed word, in any order and case', () => {
    expect(matching(rows, '').length).toBe(rows.length);
    expect(matching(rows, 'DIED').map((row) => row.fish.fate.word)).toEqual(['died']);
    expect(matching(rows, 'deck barbless').map((row) => row.fish.group)).toEqual(['barbless/deck']);
    expect(matching(rows, 'deck nothing')).toEqual([]);
  });
  it('knows who stands before and after', () => {
    const ids = study.fish.map((fish) => fish.id);
    expect(neighbours(study, ids[0] ?? '')).toEqual({ before: null, after: ids[1] });
    expect(neighbours(study, ids.at(-1) ?? '')).toEqual({ before: ids.at(-2), after: null });
    expect(neighbours(study, 'nobody')).toEqual({ before: null, after: null });
  });
});

describe('strips', () => {
  const strips = stripsOf(night);
  it('one for each sealed spell, begun when the chamber closed and ended with its fit', () => {
    expect(strips).toHaveLength(night.spells.number.length);
    strips.forEach((strip, i) => {
      expect(strip.settled).toBeCloseTo(seconds(night.spells.from[i] ?? '') - seconds(night.spells.sealed_from[i] ?? ''), 6);
      expect(strip.end).toBeCloseTo(seconds(night.spells.to[i] ?? '') - seconds(night.spells.sealed_from[i] ?? ''), 6);
      for (const point of strip.points) {
        expect(point.s).toBeGreaterThanOrEqual(-1e-6);
        expect(point.s).toBeLessThanOrEqual(strip.end + 1e-6);
      }
      expect(strip.points.map((point) => point.s)).toEqual([...strip.points.map((point) => point.s)].sort((a, b) => a - b));
    });
  });

  it('a thinned trace is drawn on to both ends of the spell, along its own line', () => {
    const stay = structuredClone(night);
    stay.trace.from = stay.spells.sealed_from[0] ?? '';
    stay.trace.at_s = [-100, 100, 300];
    stay.trace.oxygen_mg_per_l = [9, 8, 7];
    stay.spells.oxygen_start_mg_per_l[0] = 8;
    stay.spells.to[0] = new Date((seconds(stay.trace.from) + 200) * 1000).toISOString();
    const points = stripsOf(stay)[0]?.points ?? [];
    expect(points.map(({ s, drop }) => [s, drop])).toEqual([[0, 0.5], [100, 0], [200, -0.5]]);
  });

  it('a gap is not bridged at the ends', () => {
    const stay = structuredClone(night);
    stay.trace.from = stay.spells.sealed_from[0] ?? '';
    stay.trace.at_s = [-100, -50, 100, 300];
    stay.trace.oxygen_mg_per_l = [9, null, 8, 7];
    expect(stripsOf(stay)[0]?.points[0]?.s).toBe(100);
  });

  it('what the spells around it would have: the middle of their slopes, its own left out', () => {
    const stay = structuredClone(night);
    const ends = stay.spells.oxygen_start_mg_per_l.map((start) => (start ?? 0) - 0.2);
    stay.spells.oxygen_end_mg_per_l = ends;
    stay.spells.oxygen_end_mg_per_l[5] = (stay.spells.oxygen_start_mg_per_l[5] ?? 0) - 1;
    const odd = stripsOf(stay)[5];
    const span = (i: number) => seconds(stay.spells.to[i] ?? '') - seconds(stay.spells.from[i] ?? '');
    expect(span(5)).toBeCloseTo(span(4), 6);
    expect(odd?.around).toBeCloseTo(-0.2, 9);
    expect(odd?.fitEnd).toBeCloseTo(-1, 9);
  });

  it('are on one scale, made for most: one that falls much further runs out of its strip', () => {
    const tame = stripScale(strips);
    const wild = strips.map((strip, i) => (i === 3 ? { ...strip, fitEnd: -50 } : strip));
    expect(stripScale(wild).low).toBeGreaterThan(3 * tame.low);
    const path = stripPaths({ ...(wild[3] ?? strips[0]!) }, stripScale(wild), 100, 20);
    expect(Number(path.fit.split(',').at(-1))).toBeGreaterThan(20);
    expect(path.end).toBeLessThanOrEqual(100);
    expect(`${path.trace}${path.fit}${path.around}`).not.toMatch(/NaN|Infinity/);
  });

  it('the floor is that of the setting for what the stretch is for, at the spell’s own saturation', () => {
    const settings = [
      { section: 'roles', key: 'lowest_oxygen_rest_percent', value: '75', unit: '', default_value: '80', why: '', is_default: false },
      { section: 'roles', key: 'lowest_oxygen_peak_percent', value: '60', unit: '', default_value: '80', why: '', is_default: false },
    ];
    expect(saturationFloor({ ...study, settings }, 'rest')?.percent).toBe(75);
    expect(saturationFloor({ ...study, settings }, 'after_chase')?.percent).toBe(60);
    expect(saturationFloor({ ...study, settings: [] }, 'rest')).toBeNull();
    const stay = structuredClone(night);
    stay.spells.oxygen_start_mg_per_l[0] = 9;
    stay.spells.saturation_start_percent[0] = 90;
    expect(floorOxygen(stay, 0, 80)).toBeCloseTo(8, 9);
    stay.spells.saturation_start_percent[0] = null;
    expect(floorOxygen(stay, 0, 80)).toBeNull();
  });

  it('the spell at an hour is the one sealed then, else the nearest', () => {
    const spells = [{ sealed: 1, to: 2 }, { sealed: 3, to: 4 }];
    expect([0, 1.5, 2.4, 2.6, 9].map((hour) => spellAt(spells, hour))).toEqual([0, 0, 0, 1, 1]);
  });

  it('residuals are readings less the line, within the fit alone', () => {
    const found = residualsOf([0, 1, 1.5, 2, 3], [9, 8, null, 6.9, 5], { from: 1, to: 2, start: 8, end: 7 });
    expect(found.map((each) => (each === null ? null : Number(each.toFixed(6))))).toEqual([null, 0, null, -0.1, null]);
  });

  it('a spell’s uptake as a number keeps its sources: their squares make up the whole', () => {
    const q = spellQuantity(first, night, 0);
    expect(q.value).toBe(night.spells.uptake_mg_per_kg_h[0]);
    const shares = (q.contributions ?? []).reduce((sum, each) => sum + each.share, 0);
    expect(shares).toBeCloseTo(1, 9);
    const total = Math.sqrt((q.contributions ?? []).reduce((sum, each) => sum + each.effect ** 2, 0));
    expect(total / (q.standard_uncertainty ?? 1)).toBeCloseTo(1, 2);
  });
});

describe('the walk through what is doubtful', () => {
  const stays = staysOf(study).map(({ stay, fish }) => ({ stay: { ...stay, spells: { ...stay.spells, mark: stay.spells.mark.map(() => 'good' as const) } } as Stay, fish }));
  const mark = (s: number, i: number, word: 'doubtful' | 'unusable') => {
    const marks = stays[s]?.stay.spells.mark as string[];
    marks[i] = word;
  };
  it('ends where everything is good', () => {
    expect(nextInDoubt(stays, { stay: 0, spell: 0 }, 1)).toBeNull();
  });
  it('goes on in the next stay, round the end, both ways, and to itself when it is the only one', () => {
    mark(0, 2, 'doubtful');
    mark(2, 1, 'unusable');
    expect(nextInDoubt(stays, { stay: 0, spell: 0 }, 1)).toEqual({ stay: 0, spell: 2 });
    expect(nextInDoubt(stays, { stay: 0, spell: 2 }, 1)).toEqual({ stay: 2, spell: 1 });
    expect(nextInDoubt(stays, { stay: 2, spell: 1 }, 1)).toEqual({ stay: 0, spell: 2 });
    expect(nextInDoubt(stays, { stay: 0, spell: 2 }, -1)).toEqual({ stay: 2, spell: 1 });
    expect(countInDoubt(stays).inDoubt).toBe(2);
    (stays[2]?.stay.spells.mark as string[])[1] = 'good';
    expect(nextInDoubt(stays, { stay: 0, spell: 2 }, 1)).toEqual({ stay: 0, spell: 2 });
  });
  it('a stay’s title says nothing of the treatment', () => {
    for (const placed of staysOf(study)) {
      const title = stayTitle(placed);
      for (const level of study.columns.flatMap((column) => column.levels)) expect(title).not.toContain(level);
    }
  });
});

describe('complaints and leavings', () => {
  const worry = (part: Partial<Worry>): Worry => ({ severity: 'beware', file: 'blood.csv', line: 17, column: 'value', remedy: 'look', text: 'blood.csv line 17, column "value": odd; look', ...part });
  it('say each thing once, without its place and what to do', () => {
    expect(bareText(worry({}))).toBe('odd');
    expect(bareText(worry({ text: 'a thing: as such', file: '', remedy: '' }))).toBe('a thing: as such');
    const files = worryFiles([
      worry({}), worry({ line: 19, text: 'blood.csv line 19, column "value": odd; look' }), worry({ file: 'stays.csv', line: null, column: null, severity: 'stops', text: 'stays.csv: missing; look' }),
      worry({ line: 18, text: 'blood.csv line 18, column "value": odd; look' }),
    ]);
    expect(files.map((each) => each.file)).toEqual(['blood.csv', 'stays.csv']);
    expect(files[0]?.said).toEqual([{ place: 'lines 17, 19 and 18, column “value”', said: 'odd', remedy: 'look', isStopping: false }]);
    expect(files[1]?.said[0]).toMatchObject({ place: 'as a whole', isStopping: true });
    expect(listText([1, 2])).toBe('1 and 2');
  });
  it('those without a name are counted, nobody is lost', () => {
    const lines = leavingLines(study.accounting);
    const counted = lines.flatMap((each) => each.lines).reduce((sum, line) => sum + (line.who.endsWith('×') ? Number(line.who.split(' ')[0]) : 1), 0);
    expect(counted).toBe(study.accounting.stages.reduce((sum, stage) => sum + stage.left.length, 0));
  });
  it('everything left out of a fish stands there, decisions by hand first', () => {
    const all = leftOut(study, first);
    const byHand = study.exclusions.filter((each) => each.by === 'human' && each.fish === first.id);
    expect(byHand.length).toBeGreaterThan(0);
    expect(all.slice(0, byHand.length).map((each) => each.trace.spell)).toEqual(byHand.map((each) => each.spell));
    const marked = first.stays.flatMap((stay) => stay.spells.mark.filter((mark, i) => mark !== 'good' && !stay.spells.is_excluded_by_hand[i]));
    expect(all).toHaveLength(byHand.length + marked.length);
  });
});

describe('findings and blanks', () => {
  it('a finding’s number keeps its interval and says how it was made', () => {
    const finding = study.findings[0];
    const effect = finding?.effects[0];
    if (!finding || !effect) throw new Error('a fixture without findings');
    expect(foundQuantity(effect, finding)).toMatchObject({ value: effect.value, text: effect.text, method: finding.method, interval: { low: effect.lower, high: effect.upper, level: 0.95 } });
    expect(chanceText(0.0004)).toBe('< 0.001');
    expect(chanceText(0.0193)).toBe('0.019');
    expect(chanceText(null)).toBe('');
  });
  it('blanks stand chamber by chamber, with a point for every spell that has a number', () => {
    const blank: Stay = { ...structuredClone(night), id: 'B1', fish: '', assembly: 'tube 2' };
    blank.spells.total_mg_per_h[1] = null;
    const rows = blankRows({ ...study, blanks: [blank, { ...blank, id: 'B2', assembly: 'tube 10' }, { ...blank, id: 'B3' }] });
    expect(rows.map((row) => [row.assembly, row.stays])).toEqual([['tube 2', 2], ['tube 10', 1]]);
    expect(rows[1]?.points).toHaveLength(night.spells.number.length - 1);
  });
});
