// What stands on a typed sheet as rows of the study's tables; what cannot be read is told at its cell.
import type { Column, Table } from '../../server/api';
import { cellRead, numberRead, plainName } from '../cells';
import { spoken } from '../read';
import { eventRead } from './event_words';
import { bodyAreas, bloodLines, sheetEvents, usualFins } from './fish_sheet';
import type { FieldSettings } from './settings';
import { dayAfter, dayRead, momentRead, timeOfDayRead, type Day, type Moment, type TimeOfDay } from './times';
import { isEmptyRow, textIn, type Cells, type Typing } from './typing';

export interface FieldRow {
  table: string;
  /** as entries have them: numbers with a decimal point, times in UTC */
  cells: Cells;
}

export interface SheetRead {
  rows: FieldRow[];
  /** by "head.date", "3.time" */
  faults: Map<string, string>;
  /** of each line; null where its time cannot be read */
  moments: (Moment | null)[];
}

/** The uncertainty of a time that was written to the minute: a watch that shows 06:12 may be anywhere in it. */
export const minuteUncertainty = '30';

class Reader {
  readonly rows: FieldRow[] = [];
  readonly faults = new Map<string, string>();
  private readonly tables: Table[];
  private readonly zone: string;
  readonly sure: string;
  readonly day: Day | null;
  readonly who: string;

  constructor(head: Cells, tables: Table[], zone: string) {
    this.tables = tables;
    this.zone = zone;
    this.who = textIn(head, 'who');
    const day = dayRead(textIn(head, 'date'));
    if (day.value === null) this.faults.set('head.date', day.fault);
    this.day = day.value;
    this.sure = this.cell('events', 'at_uncertainty_s', textIn(head, 'sure'), 'head.sure');
  }

  column(table: string, name: string): Column | null {
    return this.tables.find((each) => each.table === table)?.columns.find((each) => each.name === name) ?? null;
  }

  /** A cell as it is sent; '' and a fault where it cannot be. */
  cell(table: string, name: string, typed: string, place: string): string {
    if (typed === '') return '';
    const read = cellRead(typed, this.column(table, name), { zone: this.zone, decimal: '.' });
    if (read.text !== null) return read.text;
    this.faults.set(place, read.fault);
    return '';
  }

  time(typed: string, place: string): TimeOfDay | null {
    const read = timeOfDayRead(typed);
    if (read.value === null) this.faults.set(place, read.fault);
    return read.value;
  }

  moment(day: Day, time: TimeOfDay, place: string): Moment | null {
    const read = momentRead(day, time, this.zone);
    if (read.value === null) this.faults.set(place, read.fault);
    return read.value;
  }

  /** Empty cells are left away. */
  add(table: string, cells: Cells): void {
    this.rows.push({ table, cells: Object.fromEntries(Object.entries(cells).filter(([, text]) => text !== '')) });
  }

  event(event: string, { iso, time }: Moment, cells: Cells): void {
    this.add('events', { at: iso, at_uncertainty_s: this.sure !== '' ? this.sure : time.second === null ? minuteUncertainty : '', event, who: this.who, ...cells });
  }
}

/** what the number of an event is in, where no unit is written */
const usualUnits: Record<string, string> = { blood: 'mL', weighed: 'g' };

/** "0,8 mL", "512" */
function valueRead(typed: string, event: string): { value: string; unit: string; fault: string } {
  if (typed === '') return { value: '', unit: '', fault: '' };
  const [, digits, unit] = /^([+-]?[\d.,]+)\s*(.*)$/.exec(typed) ?? [];
  if (digits === undefined) return { value: '', unit: '', fault: `“${typed}” is no number with its unit: write 0,8 mL, or put words into the note` };
  const read = numberRead(digits, '.');
  return read.text === null ? { value: '', unit: '', fault: read.fault } : { value: read.text, unit: unit || (usualUnits[event] ?? ''), fault: '' };
}

/** `fishThere`: fish of the study; `encounterOf`: what a fish's encounter is called where none stands. */
export function readDeck(typing: Pick<Typing, 'head' | 'rows'>, settings: FieldSettings, tables: Table[], fishThere: ReadonlySet<string>, encounterOf: (fish: string) => string): SheetRead {
  const reader = new Reader(typing.head, tables, settings.zone);
  const moments: (Moment | null)[] = [];
  const known = reader.column('events', 'event')?.words ?? settings.events;
  let before: { day: Day; time: TimeOfDay } | null = null;
  const newFish = new Set<string>();
  const rigs = new Map<string, string>();
  const hookUps = new Map<string, string>();
  const landings: FieldRow[] = [];
  typing.rows.forEach((row, i) => {
    moments.push(null);
    if (isEmptyRow(row)) return;
    const place = (name: string) => `${i}.${name}`;
    const time = reader.time(textIn(row, 'time'), place('time'));
    const read = eventRead(textIn(row, 'event'), known);
    if (read.event === null) reader.faults.set(place('event'), read.fault);
    const value = valueRead(textIn(row, 'value'), read.event ?? '');
    if (value.fault !== '') reader.faults.set(place('value'), value.fault);
    if (!time || !reader.day) return;
    const day = dayAfter(before, reader.day, time);
    before = { day, time };
    const moment = reader.moment(day, time, place('time'));
    moments[i] = moment;
    if (!moment || read.event === null) return;
    const cell = (name: string) => reader.cell('events', name, textIn(row, name), place(name));
    const fish = cell('fish');
    if (fish !== '' && !fishThere.has(fish)) newFish.add(fish);
    const rig = cell('rig');
    if (fish !== '' && rig !== '') rigs.set(fish, rig);
    if (fish !== '' && read.event === 'hook_up') hookUps.set(fish, moment.iso);
    // As Deck has it: an encounter is a landed fish, from its hook-up on.
    if (fish !== '' && read.event === 'landed') landings.push({ table: 'encounters', cells: { encounter: encounterOf(fish), fish, at: hookUps.get(fish) ?? moment.iso, method: 'angling', ...(reader.who === '' ? {} : { who: reader.who }) } });
    reader.event(read.event, moment, { fish, rod: cell('rod'), rig, assembly: cell('assembly'), value: value.value && reader.cell('events', 'value', value.value, place('value')), unit: value.unit, note: cell('note') });
  });
  const [species = ''] = settings.species;
  const fishRows = [...newFish].map((fish): FieldRow => ({ table: 'fish', cells: species === '' ? { fish } : { fish, species } }));
  const encounters = landings.map(({ table, cells }): FieldRow => {
    const rig = rigs.get(cells.fish ?? '');
    return { table, cells: rig === undefined ? cells : { ...cells, rig } };
  });
  return { rows: [...fishRows, ...encounters, ...reader.rows], faults: reader.faults, moments };
}

const marks: Record<string, string> = { s: 'split', f: 'fray', n: 'net_marks' };

/** "s n" → split, net marks */
function marksRead(typed: string): { marks: string[]; fault: string } {
  const letters = typed.toLowerCase().replaceAll(/[\s,;.]/g, '').split('').filter(Boolean);
  const strange = letters.find((each) => !(each in marks));
  return strange === undefined ? { marks: letters.map((each) => marks[each] ?? ''), fault: '' } : { marks: [], fault: `“${strange}” is no mark: s split, f frayed, n net marks` };
}

/** A level by its number, or by its word. */
function levelRead(typed: string, scale: string[]): { level: string; fault: string } {
  if (typed === '') return { level: '', fault: '' };
  const word = scale.find((each) => plainName(each) === plainName(typed));
  const level = /^\d+$/.test(typed) ? Number(typed) : -1;
  if (word !== undefined) return { level: word, fault: '' };
  if (level >= 0 && (scale.length === 0 || level < scale.length)) return { level: String(level), fault: '' };
  return { level: '', fault: `“${typed}” is no level: ${scale.map((each, i) => `${i} ${each}`).join(', ') || 'a number from 0'}` };
}

/** `encounter`: its name where the sheet has none. */
export function readFish(typing: Pick<Typing, 'head' | 'rows'>, settings: FieldSettings, tables: Table[], encounter: string): SheetRead {
  const { head } = typing;
  const boxes = typing.rows[0] ?? {};
  const reader = new Reader(head, tables, settings.zone);
  const text = (id: string) => textIn(boxes, id);
  const place = (id: string) => `0.${id}`;
  const fish = reader.cell('fish', 'fish', textIn(head, 'fish'), 'head.fish');
  if (fish === '' && !reader.faults.has('head.fish')) reader.faults.set('head.fish', 'the fish’s name is missing');
  const cell = (table: string, id: string, name = id) => reader.cell(table, name, text(id), place(id));

  // Times follow each other down the sheet.
  let before: { day: Day; time: TimeOfDay } | null = null;
  const at = (id: string): Moment | null => {
    if (text(id) === '' || !reader.day) return null;
    const time = reader.time(text(id), place(id));
    if (!time) return null;
    const day = dayAfter(before, reader.day, time);
    before = { day, time };
    return reader.moment(day, time, place(id));
  };
  const moments = new Map(sheetEvents.map(({ event }) => [event, at(`at.${event}`)]));
  const lookedAt = at('at.reflexes');
  const drawnAt = at('at.blood');
  const fateAt = at('at.fate');
  const landed = moments.get('landed') ?? moments.get('hook_up') ?? null;
  const met = moments.get('hook_up') ?? landed;

  reader.add('fish', { fish, species: cell('fish', 'species') || (settings.species[0] ?? ''), mass_g: cell('fish', 'mass_g'), fork_length_mm: cell('fish', 'fork_length_mm'), tag: cell('fish', 'tag') });
  const caught = ['rig', 'landing', 'unhooking', 'hook_location', 'water_temperature_c'].map((name): [string, string] => [name, cell('encounters', name)]);
  const name = reader.cell('encounters', 'encounter', textIn(head, 'encounter'), 'head.encounter') || encounter;
  if (landed || caught.some(([, each]) => each !== '')) reader.add('encounters', { encounter: name, fish, at: met?.iso ?? '', method: 'angling', who: reader.who, ...Object.fromEntries(caught) });

  for (const { event, place: hasPlace } of sheetEvents) {
    const moment = moments.get(event);
    const assembly = hasPlace ? cell('events', `in.${event}`, 'assembly') : '';
    if (moment) reader.event(event, moment, { fish, assembly, rod: event === 'hook_up' ? cell('events', 'rod') : '', rig: event === 'hook_up' ? text('rig') : '' });
    else if (assembly !== '') reader.faults.set(place(`in.${event}`), `${spoken(event)}: the time is missing`);
  }
  fins(reader, settings, boxes, fish, landed);
  body(reader, settings, boxes, fish, landed);

  const tests = settings.reflexes.map((test) => ({ test, typed: text(`reflex.${test}`).toLowerCase() })).filter((each) => each.typed !== '');
  if (tests.length > 0 && !lookedAt && !reader.faults.has(place('at.reflexes'))) reader.faults.set(place('at.reflexes'), 'when the reflexes were looked at is missing');
  for (const { test, typed } of tests) {
    const there = ['y', 'yes'].includes(typed) ? 'yes' : ['n', 'no'].includes(typed) ? 'no' : '';
    if (there === '') reader.faults.set(place(`reflex.${test}`), `“${typed}” is neither y nor n`);
    else if (lookedAt) reader.add('reflexes', { fish, at: lookedAt.iso, test, there, who: reader.who });
  }
  blood(reader, boxes, fish, drawnAt);

  const fate = text('fate') === '' ? '' : (['released', 'held', 'died'].filter((each) => each.startsWith(plainName(text('fate'))))[0] ?? null);
  if (fate === null) reader.faults.set(place('fate'), `“${text('fate')}” is none of released, held, died`);
  else if (fate !== '' && !fateAt && !reader.faults.has(place('at.fate'))) reader.faults.set(place('at.fate'), `${fate}: the time is missing`);
  else if (fate === '' && fateAt) reader.faults.set(place('fate'), 'what became of it at that time?');
  else if (fate && fateAt && fate === 'held') reader.add('fates', { fish, at: fateAt.iso, what: 'held', note: text('note') });
  else if (fate && fateAt) reader.event(fate, fateAt, { fish, note: text('note') });
  else if (text('note') !== '' && fate === '') {
    const fishRow = reader.rows.find((row) => row.table === 'fish');
    if (fishRow) fishRow.cells.note = text('note');
  }
  return { rows: reader.rows, faults: reader.faults, moments: [landed] };
}

function fins(reader: Reader, settings: FieldSettings, boxes: Cells, fish: string, landed: Moment | null): void {
  const occasion = occasionOf(reader, boxes);
  for (const fin of settings.fins.length > 0 ? settings.fins : usualFins) {
    const [score, marked] = [levelRead(textIn(boxes, `fin.${fin}`), settings.fin_scale), marksRead(textIn(boxes, `marks.${fin}`))];
    if (score.fault !== '') reader.faults.set(`0.fin.${fin}`, score.fault);
    if (marked.fault !== '') reader.faults.set(`0.marks.${fin}`, marked.fault);
    if (score.level === '' && marked.marks.length === 0) continue;
    // A fin that was looked at and has no mark written: none was seen.
    const seen = Object.fromEntries(marked.marks.map((mark) => [mark, 'yes']));
    reader.add('fins', { fish, occasion, fin, score: score.level, ...seen, scorer: textIn(boxes, 'scorer') || reader.who, at: occasion === 'landing' ? (landed?.iso ?? '') : '' });
  }
}

function body(reader: Reader, settings: FieldSettings, boxes: Cells, fish: string, landed: Moment | null): void {
  const occasion = occasionOf(reader, boxes);
  for (const area of [...bodyAreas, 'hook_wound']) {
    const typed = textIn(boxes, `body.${area}`);
    if (typed === '') continue;
    const scale = area === 'hook_wound' ? ['none', 'slight', 'moderate', 'heavy'] : settings.body_scale;
    const score = area === 'hook_wound' ? (scale.find((each) => each.startsWith(plainName(typed))) ?? '') : levelRead(typed, scale).level;
    if (score === '') reader.faults.set(`0.body.${area}`, area === 'hook_wound' ? `“${typed}” is none of ${scale.join(', ')}` : levelRead(typed, scale).fault);
    else reader.add('body', { fish, occasion, area, score, scorer: textIn(boxes, 'scorer') || reader.who, at: occasion === 'landing' ? (landed?.iso ?? '') : '' });
  }
}

function occasionOf(reader: Reader, boxes: Cells): string {
  const typed = plainName(textIn(boxes, 'occasion'));
  if (typed === '') return 'landing';
  const found = ['landing', 'before_holding', 'after_holding'].filter((each) => each.startsWith(typed));
  const [only, another] = found;
  if (only !== undefined && another === undefined) return only;
  reader.faults.set('0.occasion', `“${textIn(boxes, 'occasion')}” is none of landing, before holding, after holding`);
  return 'landing';
}

function blood(reader: Reader, boxes: Cells, fish: string, drawnAt: Moment | null): void {
  const text = (id: string) => textIn(boxes, id);
  const volume = reader.cell('blood', 'volume_ml', text('blood.volume_ml'), '0.blood.volume_ml');
  const lines = bloodLines.filter((n) => ['analyte', 'value'].some((name) => text(`blood.${n}.${name}`) !== ''));
  if (volume === '' && lines.length === 0 && !drawnAt) return;
  if (!drawnAt) {
    if (!reader.faults.has('0.at.blood')) reader.faults.set('0.at.blood', 'when the blood was drawn is missing');
    return;
  }
  reader.event('blood', drawnAt, { fish, value: volume, unit: volume === '' ? '' : 'mL' });
  lines.forEach((n, i) => {
    const cell = (name: string) => reader.cell('blood', name, text(`blood.${n}.${name}`), `0.blood.${n}.${name}`);
    const [analyte, value, unit] = [cell('analyte'), cell('value'), cell('unit')];
    if (analyte === '' && value !== '') reader.faults.set(`0.blood.${n}.analyte`, 'of what is this the value?');
    if (value !== '' && unit === '') reader.faults.set(`0.blood.${n}.unit`, 'the unit is missing');
    reader.add('blood', { fish, drawn_at: drawnAt.iso, analyte, value, unit, device: cell('device'), volume_ml: i === 0 ? volume : '', who: reader.who });
  });
  if (lines.length === 0) reader.add('blood', { fish, drawn_at: drawnAt.iso, volume_ml: volume, who: reader.who });
}
