// Entries as the journal knows them, their order, and what they do to the study's rows: the same as the program does.
import { createHash } from 'node:crypto';
import { describe, expect, it } from 'vitest';
import { layOver, readEntries } from '../src/deck/edits';
import { canonicalText, compareEntries, entryOf, idOf, inOrder, mostAheadUs, receive, tick, type Entry } from '../src/deck/entry';
import { chance, shuffled } from './deck_bench';

const device = '00c0ffee00c0ffee';
const entry = (sequence: number, act: string, content: unknown, more: Partial<Entry> = {}): Entry => ({
  device, sequence, hybrid_wall_us: 1000 + sequence, hybrid_count: 0, wall_us: 1000 + sequence, monotonic_us: 0, boot: 'b', clock_offset_us: null,
  author: 'A. Keen', role: 'crew', act, content: typeof content === 'string' ? content : JSON.stringify(content), reason: '', ...more,
});
const over = (files: Record<string, Record<string, string>[]>, entries: Entry[]) =>
  layOver(Object.fromEntries(Object.entries(files).map(([table, list]) => [table, list.map((cells) => ({ cells, inFile: cells }))])), entries);
const rows = (files: Record<string, Record<string, string>[]>, entries: Entry[], table: string) => (over(files, entries).tables[table] ?? []).map((row) => row.cells);

describe('an entry', () => {
  it('has the canonical bytes of docs/journal.md', () => {
    const text = canonicalText({
      device, sequence: 12, hybrid_wall_us: 1781428203000000, hybrid_count: 2, wall_us: 1781428202750000, monotonic_us: 90500000, boot: 'b7', clock_offset_us: null,
      author: 'A. Keen', role: 'crew', act: 'hook_up', content: '{"rig":"ä"}', reason: '',
    });
    expect(createHash('sha256').update(text).digest('hex')).toBe('03e7c7f47298ca2bb236b715866dd4babd40e731ca0cd7d1f9b0cee85c0e76c5');
  });

  it('stands by hybrid time, then count, then device, then sequence', () => {
    const a = entry(1, 'add', '{}');
    const chain = [a, { ...a, sequence: 2 }, { ...a, device: '10c0ffee00c0ffee' }, { ...a, hybrid_count: 1 }, { ...a, hybrid_wall_us: 2000 }];
    for (let seed = 1; seed < 20; ++seed) expect(shuffled(chain, chance(seed)).sort(compareEntries)).toEqual(chain);
    const alone = [entry(3, 'add', '{}', { hybrid_wall_us: 1 }), entry(1, 'add', '{}'), entry(2, 'add', '{}')];
    expect(inOrder([...alone, ...alone].reverse())).toEqual(alone);
  });

  it('is not read where a field is none', () => {
    const good = entry(1, 'add', '{}');
    expect(entryOf(good)).toEqual(good);
    const bad: Partial<Record<keyof Entry, unknown>>[] = [
      { device: '00C0FFEE00C0FFEE' }, { sequence: 0 }, { sequence: 1.5 }, { hybrid_wall_us: -1 }, { author: '' }, { role: 'captain' }, { content: {} }, { clock_offset_us: undefined }, { boot: 'x'.repeat(101) }, { reason: 'a\0b' },
    ];
    for (const fault of bad) expect(entryOf({ ...good, ...fault })).toBeNull();
  });
});

describe('the hybrid clock', () => {
  it('is later each time, whatever the wall shows', () => {
    let last = { wall_us: 0, count: 0 };
    const random = chance(3);
    for (let i = 0; i < 1000; ++i) {
      const wall = Math.floor(random() * 1e6);
      const next = random() < 0.5 ? tick(last, wall) : receive(last, { wall_us: Math.floor(random() * 1e6), count: Math.floor(random() * 5) }, wall);
      expect(next.wall_us > last.wall_us || (next.wall_us === last.wall_us && next.count > last.count)).toBe(true);
      last = next;
    }
  });

  it('is later than what it has seen, but does not follow a clock a day ahead', () => {
    expect(receive({ wall_us: 5, count: 0 }, { wall_us: 100, count: 7 }, 50)).toEqual({ wall_us: 100, count: 8 });
    expect(receive({ wall_us: 5, count: 0 }, { wall_us: 60 + mostAheadUs, count: 7 }, 50)).toEqual({ wall_us: 50, count: 0 });
    expect(tick({ wall_us: 9, count: 2 ** 32 - 1 }, 3)).toEqual({ wall_us: 10, count: 0 });
  });
});

describe('entries over the rows of files', () => {
  const files = { fish: [{ fish: 'T01', mass_g: '' }, { fish: 'T02', mass_g: '300' }] };

  it('add, set, withdraw and undo', () => {
    const add = entry(1, 'add', { table: 'events', row: { at: 'a', event: 'landed', fish: '' } });
    const set = entry(2, 'set', { table: 'events', added_by: idOf(add), cells: { fish: { was: '', now: 'T01' } } });
    expect(rows(files, [add, set], 'events')).toEqual([{ at: 'a', event: 'landed', fish: 'T01' }]);
    expect(rows(files, [add, set, entry(3, 'undo', { entry: idOf(set) })], 'events')).toEqual([{ at: 'a', event: 'landed' }]);
    expect(rows(files, [add, set, entry(3, 'undo', { entry: idOf(set) }), entry(4, 'undo', { entry: `${device}:3` })], 'events')).toEqual([{ at: 'a', event: 'landed', fish: 'T01' }]);
    expect(rows(files, [add, set, entry(3, 'withdraw', { table: 'events', added_by: idOf(add) })], 'events')).toEqual([]);
    expect(rows(files, [entry(1, 'set', { table: 'fish', row: { fish: 'T01' }, cells: { mass_g: { was: '', now: '512' } } })], 'fish')[0]).toEqual({ fish: 'T01', mass_g: '512' });
  });

  it('finds rows of a file by what stands there, whatever entries made of them', () => {
    const first = entry(1, 'set', { table: 'fish', row: { fish: 'T01' }, cells: { fish: { was: 'T01', now: 'T09' } } });
    const second = entry(2, 'set', { table: 'fish', row: { fish: 'T01' }, cells: { mass_g: { was: '', now: '7' } } });
    expect(rows(files, [first, second], 'fish')[0]).toEqual({ fish: 'T09', mass_g: '7' });
  });

  it('know a cell by what the file has until somebody changed it', () => {
    const file = { fish: [{ cells: { fish: 'T01', mass_g: '400.5' }, inFile: { fish: 'T01', mass_g: '400,5' } }] };
    const set = (n: number, was: string, now: string) => entry(n, 'set', { table: 'fish', row: { fish: 'T01', mass_g: '400,5' }, cells: { mass_g: { was, now } } });
    const mass = (...entries: Entry[]) => layOver(file, entries).tables.fish?.[0]?.cells.mass_g;
    expect([mass(set(1, '400,5', '7')), mass(set(1, '400.5', '7')), mass(set(1, '400,5', '7'), set(2, '400,5', '8')), mass(set(1, '400,5', '7'), set(2, '7', '8'))]).toEqual(['7', '7', '7', '8']);
  });

  it('leaves a cell that no longer holds what was replaced, and says so', () => {
    const { tables, complaints } = over(files, [entry(1, 'set', { table: 'fish', row: { fish: 'T02' }, cells: { mass_g: { was: '299', now: '512' } } })]);
    expect(tables.fish?.[1]?.cells.mass_g).toBe('300');
    expect(complaints.map(({ text }) => text).join()).toContain('holds "300" now');
  });

  it('count for nothing where nobody may, or nothing can be read', () => {
    const cases = [
      entry(1, 'add', { table: 'decisions', row: { stay: 's' } }), entry(1, 'add', { table: 'fish', row: { fish: 'x' } }, { role: 'viewer' }), entry(1, 'add', { table: 'boats', row: { a: 'b' } }),
      entry(1, 'add', 'no json'), entry(1, 'add', { table: 'fish', row: {} }), entry(1, 'add', { table: 'fish', row: { fish: 3 } }), entry(1, 'dance', {}), entry(1, 'undo', { entry: 'x' }), entry(1, 'undo', { entry: `${device}:9` }),
    ];
    for (const each of cases) {
      const read = readEntries([each]);
      expect(read.edits).toEqual([]);
      expect(read.complaints).toHaveLength(1);
    }
  });

  it('let nobody undo a scientist but a scientist', () => {
    const judged = entry(1, 'add', { table: 'fish', row: { fish: 'x' } }, { role: 'scientist' });
    const undone = entry(2, 'undo', { entry: idOf(judged) });
    expect(readEntries([judged, undone]).edits).toHaveLength(1);
    expect(readEntries([judged, { ...undone, role: 'scientist' }]).edits).toHaveLength(0);
  });

  it('put the parts of a stay behind each other', () => {
    const stays = [{ stay: 'a', role: 'rest' }, { stay: 'b', role: 'rest' }];
    expect(rows({ stays }, [entry(1, 'add', { table: 'stays', row: { stay: 'a', role: 'after_chase' } })], 'stays').map((row) => row.stay)).toEqual(['a', 'a', 'b']);
  });
});
