// What entries of the journal say, and what of them goes back and forth.
import { describe, expect, it } from 'vitest';
import { aboutOf, backWords, lastDone, lastUndone, sealedEnd, spellAtMoment, together, undoing, undoOf, wordsOf } from '../src/data/journal';
import { seconds } from '../src/data/read';
import type { Entry } from '../src/server/api';
import { entriesOf } from '../src/server/wire';
import { fixture } from './fixture';

const results = fixture();
const stay = results.fish.flatMap((fish) => fish.stays).find((each) => each.spells.number.length > 2)!;
const moment = stay.spells.from[1]!;

/** Writes entries and takes them back as the program does (docs/journal.md, "What entries do"). */
class Book {
  entries: Entry[] = [];
  add(act: string, content: Record<string, unknown>, author = 'A. Keen', reason = ''): Entry {
    const number = this.entries.length + 1;
    const entry: Entry = { number, id: `d:${number}`, at: '2026-06-14T08:00:00Z', author, role: 'scientist', act, content, reason, is_undone: false };
    this.entries = [...this.entries, entry];
    this.judge();
    return this.entries.at(-1)!;
  }
  decide(act: string, author = 'A. Keen', wish = ''): Entry {
    return this.add('add', { table: 'decisions', row: { stay: stay.id, moment, act }, ...(wish === '' ? {} : { wish }) }, author, 'a leak');
  }
  /** All of `entry`, as the pages wish it. */
  undo(entry: Entry, author = 'A. Keen'): Entry[] {
    const word = `u${this.entries.length}`;
    return undoing(this.entries, entry, '').map((each, i) => this.add(each.act, { ...each.content, wish: `${word}.${i}` }, author));
  }
  private judge(): void {
    const undone = new Set<string>();
    for (const each of [...this.entries].reverse()) if (each.act === 'undo' && !undone.has(each.id)) undone.add(String((each.content as { entry: string }).entry));
    this.entries = this.entries.map((each) => ({ ...each, is_undone: undone.has(each.id) }));
  }
  at = (number: number): Entry => this.entries[number - 1]!;
}

describe('back and forth', () => {
  it('undoes the last, then the one before, and does them again in their order', () => {
    const book = new Book();
    book.decide('mark');
    book.decide('exclude');
    expect(lastDone(book.entries, 'A. Keen')?.id).toBe('d:2');
    expect(lastUndone(book.entries, 'A. Keen')).toBeNull();
    book.undo(book.at(2));
    expect(lastDone(book.entries, 'A. Keen')?.id).toBe('d:1');
    book.undo(book.at(1));
    expect(lastDone(book.entries, 'A. Keen')).toBeNull();

    book.undo(lastUndone(book.entries, 'A. Keen')!);
    expect(book.entries.map((each) => each.is_undone)).toEqual([false, true, false, true, false]);
    book.undo(lastUndone(book.entries, 'A. Keen')!);
    expect(lastUndone(book.entries, 'A. Keen')).toBeNull();
    expect(lastDone(book.entries, 'A. Keen')?.id).toBe('d:2');
    book.undo(book.at(2));
    expect(book.at(2).is_undone).toBe(true);
    expect(lastUndone(book.entries, 'A. Keen')).not.toBeNull();
  });

  it('does nothing again once something new was done', () => {
    const book = new Book();
    book.decide('mark');
    book.undo(book.at(1));
    book.decide('exclude');
    expect(lastUndone(book.entries, 'A. Keen')).toBeNull();
    expect(lastDone(book.entries, 'A. Keen')?.id).toBe('d:3');
  });

  it('is one for all pages, in the order in which things were done, and says what and where', () => {
    const book = new Book();
    const mass = { table: 'fish', row: { fish: 'T01' }, cells: { mass_g: { was: '500', now: '512' } } };
    book.add('set', { ...mass, wish: 'g.0' });
    book.decide('exclude');
    const said: string[] = [];
    for (let i = 0; i < 2; ++i) {
      const last = lastDone(book.entries, 'A. Keen')!;
      said.push(backWords(book.entries, last, results));
      book.undo(last);
    }
    expect(lastDone(book.entries, 'A. Keen')).toBeNull();
    for (let i = 0; i < 2; ++i) {
      const last = lastUndone(book.entries, 'A. Keen')!;
      said.push(backWords(book.entries, last, results));
      book.undo(last);
    }
    expect(said[0]).toMatch(new RegExp(`^undone on Traces: stay ${stay.id}, .*left out$`));
    expect(said[1]).toMatch(/^undone in fish.csv: fish T01: mass_g 500 → 512$/);
    expect(said[2]).toBe(said[1]?.replace('undone', 'done again'));
    expect(said[3]).toBe(said[0]?.replace('undone', 'done again'));
  });

  it('takes a block of cells back as one, and says no more than three of them', () => {
    const book = new Book();
    for (let i = 0; i < 5; ++i) book.add('set', { table: 'fish', row: { fish: `T0${i}` }, cells: { mass_g: { was: '', now: '5' } }, wish: `g.${i}` });
    const last = lastDone(book.entries, 'A. Keen')!;
    expect(backWords(book.entries, last, results)).toMatch(/T00.*T01.*T02.*; and 2 more$/);
    expect(book.undo(last)).toHaveLength(5);
    expect(lastDone(book.entries, 'A. Keen')).toBeNull();
  });

  it('leaves alone what was pressed on Deck, of which the list takes back a whole press, and what tells of a file', () => {
    const book = new Book();
    book.decide('mark');
    book.undo(book.at(1));
    for (const table of ['events', 'blood']) book.add('add', { table, row: { fish: 'T01' }, press: 'p1' });
    book.add('record', { file: 'study.toml' });
    expect(lastDone(book.entries, 'A. Keen')).toBeNull();
    expect(lastUndone(book.entries, 'A. Keen')?.id).toBe('d:2');
    expect(undoing(book.entries, book.at(3), '').map((wish) => wish.content.entry)).toEqual(['d:4', 'd:3']);
  });

  it('leaves what others did to them', () => {
    const book = new Book();
    book.decide('mark');
    book.decide('exclude', 'B. Tide');
    expect(lastDone(book.entries, 'A. Keen')?.id).toBe('d:1');
    book.undo(book.at(1), 'B. Tide');
    expect(lastDone(book.entries, 'A. Keen')).toBeNull();
    expect(lastUndone(book.entries, 'A. Keen')).toBeNull();
    expect(undoOf(book.entries, book.at(1))?.author).toBe('B. Tide');
  });

  it('takes what was written in one as one', () => {
    const book = new Book();
    book.decide('move_start', 'A. Keen', 'w7.0');
    book.decide('move_end', 'A. Keen', 'w7.1');
    expect(together(book.entries, book.at(1)).map((each) => each.id)).toEqual(['d:1', 'd:2']);
    const undos = book.undo(book.at(1));
    expect(undos.map((each) => (each.content as { entry: string }).entry)).toEqual(['d:2', 'd:1']);
    expect([book.at(1).is_undone, book.at(2).is_undone]).toEqual([true, true]);
    book.undo(lastUndone(book.entries, 'A. Keen')!);
    expect([book.at(1).is_undone, book.at(2).is_undone]).toEqual([false, false]);
  });
});

describe('an entry in words', () => {
  it('names the spell that a decision means', () => {
    const book = new Book();
    const entry = book.decide('exclude');
    const number = stay.spells.number[1]!;
    expect(wordsOf(book.entries, entry, results)).toBe(`stay ${stay.id}, spell ${number}: left out`);
    expect(aboutOf(book.entries, entry, results)).toEqual({ fish: stay.fish, stay: stay.id, spell: number });
    const [undo] = book.undo(entry);
    expect(wordsOf(book.entries, undo!, results)).toBe(`undone: stay ${stay.id}, spell ${number}: left out`);
    expect(aboutOf(book.entries, undo!, results)).toEqual({ fish: stay.fish, stay: stay.id, spell: number });
    const [again] = book.undo(undo!);
    expect(wordsOf(book.entries, again!, results)).toBe(`done again: stay ${stay.id}, spell ${number}: left out`);
  });

  it('says what a cell was and is', () => {
    const book = new Book();
    const set = book.add('set', { table: 'fish', row: { fish: 'T01' }, cells: { mass_g: { was: '', now: '512' } } });
    expect(wordsOf(book.entries, set, results)).toBe('fish T01: mass_g empty → 512');
    expect(aboutOf(book.entries, set, results).fish).toBe('T01');
    const added = book.add('add', { table: 'events', row: { event: 'back_in_water', fish: 'T01', at: '2026-06-14T08:00:00Z' } });
    expect(wordsOf(book.entries, added, results)).toBe('added to events back in water, T01, 2026-06-14T08:00:00Z');
    const out = book.add('withdraw', { table: 'events', added_by: added.id });
    expect(wordsOf(book.entries, out, results)).toBe('events back in water, T01, 2026-06-14T08:00:00Z: taken out');
    expect(aboutOf(book.entries, out, results).fish).toBe('T01');
  });
});

describe('a moment', () => {
  it('lies in the spell that was sealed then, and in none in a flush', () => {
    stay.spells.number.forEach((number, i) => {
      // The first two of the example lie over each other, as no chamber's can.
      if (i < 2) return;
      expect(spellAtMoment(stay, stay.spells.sealed_from[i]!)).toBe(number);
      expect(spellAtMoment(stay, stay.spells.from[i]!)).toBe(number);
      expect(sealedEnd(stay, i)).toBeGreaterThanOrEqual(seconds(stay.spells.to[i]!));
      const next = stay.spells.sealed_from[i + 1];
      if (next) expect(sealedEnd(stay, i)).toBeLessThanOrEqual(seconds(next));
    });
    expect(spellAtMoment(stay, '1999-01-01T00:00:00Z')).toBeNull();
  });
});

describe('the program’s list of entries', () => {
  it('is read as it is sent, and refused where it is none', () => {
    const one = { number: 1, id: 'd:1', at: '2026-06-14T08:00:00Z', author: 'A. Keen', role: 'scientist', act: 'undo', content: { entry: 'd:0' }, reason: '', is_undone: false };
    expect(entriesOf({ entries: [one, { ...one, content: null }], complaints: [] }).map((each) => each.content)).toEqual([{ entry: 'd:0' }, null]);
    expect(() => entriesOf({})).toThrow('"entries" is no list');
    expect(() => entriesOf({ entries: [{ ...one, author: 3 }] })).toThrow('"author" is no text');
  });
});
