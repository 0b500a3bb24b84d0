// The queue keeps before it says so, numbers without a gap or a repetition, and is sent in order, once, to its own study.
import { describe, expect, it } from 'vitest';
import { idOf } from '../src/deck/entry';
import { rodEvent } from '../src/deck/presses';
import { pressOf, Queue, queueFile } from '../src/deck/queue';
import { batchOf, clockOffset, Sync, type Told } from '../src/deck/sync';
import { refusedGroups } from '../src/deck/refused';
import { base, MemoryShelf, phone, Program, start, type Phone } from './deck_bench';

const bite = (it: Phone) => it.queue.put(rodEvent('bite', 'port bow', '', { at: it.clock.ms, who: 'A. Keen' }));

function syncOf(it: Phone, program: Program): { sync: Sync; told: () => Told; waits: number[] } {
  const waits: number[] = [];
  const world = {
    fetcher: program.fetcher, now: () => it.clock.ms, monotonic: () => it.clock.ms - start,
    later: (_: () => void, ms: number) => {
      waits.push(ms);
      return () => undefined;
    },
  };
  const sync = new Sync(world, it.queue, () => undefined);
  return { sync, told: () => sync.told, waits };
}

describe('the queue', () => {
  it('numbers from 1 without a gap, in two tabs at once too', async () => {
    const shelf = new MemoryShelf('00000000000000aa');
    const [one, two] = [await phone('00000000000000aa', { shelf }), await phone('00000000000000bb', { shelf })];
    expect(two.queue.kept.device).toBe('00000000000000aa');
    await Promise.all(Array.from({ length: 40 }, (_, i) => bite(i % 2 === 0 ? one : two)));
    expect(shelf.own.map(({ sequence }) => sequence)).toEqual(Array.from({ length: 40 }, (_, i) => i + 1));
    await one.queue.reload();
    expect(one.queue.entries).toHaveLength(40);
  });

  it('says nothing is saved where the phone did not keep it, and goes on after that', async () => {
    const it = await phone('00000000000000aa');
    it.shelf.isFull = true;
    await expect(bite(it)).rejects.toThrow('no room');
    expect(it.queue.entries).toEqual([]);
    it.shelf.isFull = false;
    expect((await bite(it))[0]?.sequence).toBe(1);
  });

  it('is there again after the tab was killed', async () => {
    const it = await phone('00000000000000aa');
    await bite(it);
    const again = await phone('00000000000000ff', { shelf: it.shelf });
    expect(again.queue.entries.map(idOf)).toEqual(['00000000000000aa:1']);
    expect((await bite(again))[0]?.sequence).toBe(2);
  });

  it('asks who logs before it keeps anything', async () => {
    const queue = await Queue.open(new MemoryShelf('00000000000000aa'), { wall: () => start, monotonic: () => 0, boot: 'b', word: () => 'w' }, () => undefined);
    await expect(queue.put(rodEvent('bite', 'a', '', { at: start, who: '' }))).rejects.toThrow('who logs');
  });

  it('stamps later than all it has seen', async () => {
    const [ahead, it] = [await phone('00000000000000aa', { ms: start + 3_600_000 }), await phone('00000000000000bb')];
    await it.queue.took(await bite(ahead), 1);
    const [entry] = await bite(it);
    expect([entry?.hybrid_wall_us, entry?.wall_us]).toEqual([(start + 3_600_000) * 1000, start * 1000]);
    expect(entry?.hybrid_count).toBeGreaterThan(0);
  });

  it('orders by the program’s clock where that is known, and says when by its own', async () => {
    const it = await phone('00000000000000aa', { ms: start + 48 * 3_600_000 });
    await it.queue.note({ offsetUs: -48 * 3_600_000_000 });
    const [entry] = await bite(it);
    expect([entry?.hybrid_wall_us, entry?.wall_us, entry?.clock_offset_us]).toEqual([start * 1000, (start + 48 * 3_600_000) * 1000, -48 * 3_600_000_000]);
  });

  it('writes one press under one word', async () => {
    const it = await phone('00000000000000aa');
    const made = await it.queue.put([...rodEvent('bite', 'a', '', { at: start, who: '' }), ...rodEvent('hook_up', 'a', '', { at: start, who: '' })]);
    expect(new Set(made.map(pressOf)).size).toBe(1);
    expect(pressOf(made[0] as (typeof made)[0])).not.toBe('');
  });

  it('goes into a file whole', async () => {
    const it = await phone('00000000000000aa');
    await bite(it);
    await it.queue.keepPhoto({ sha256: 'ab', type: 'image/png', bytes: new Uint8Array([1, 2, 255]).buffer, isSent: false });
    expect(JSON.parse(await queueFile(it.queue, start))).toEqual({
      backeddy_queue: 1, study: base.study, identity: base.identity, device: '00000000000000aa', made_us: start * 1000, entries: it.shelf.own, photos: { ab: 'AQL/' },
    });
  });
});

describe('the line', () => {
  it('sends in order and takes what others wrote', async () => {
    const [it, other] = [await phone('00000000000000aa'), await phone('00000000000000bb')];
    const program = new Program();
    for (let i = 0; i < 3; ++i) program.add(await bite(other));
    for (let i = 0; i < 5; ++i) await bite(it);
    const { sync, told, waits } = syncOf(it, program);
    await sync.kick();
    expect(told().line).toBe('held');
    expect(program.arrived.slice(3).map(idOf)).toEqual([1, 2, 3, 4, 5].map((n) => `00000000000000aa:${n}`));
    expect([it.queue.unsent, it.queue.entries.length, it.shelf.others.size]).toEqual([0, 8, 3]);
    expect(waits).toHaveLength(1);
  });

  it('writes nothing twice when the answer was lost', async () => {
    const it = await phone('00000000000000aa');
    const program = new Program();
    await bite(it);
    program.faults['/api/entries/carried'] = 'lost answer';
    const { sync, told } = syncOf(it, program);
    await sync.kick();
    expect([told().line, it.queue.unsent, program.arrived.length]).toEqual(['away', 1, 1]);
    program.faults = {};
    await sync.kick();
    expect([told().line, it.queue.unsent, program.arrived.length]).toEqual(['held', 0, 1]);
  });

  it('keeps everything and says so, whatever the program answers', async () => {
    for (const [status, line] of [[401, 'signed_out'], [403, 'refused'], [503, 'away'], ['away', 'away']] as const) {
      const it = await phone('00000000000000aa');
      const program = new Program();
      await bite(it);
      program.faults = { '/api/entries/carried': status };
      const { sync, told, waits } = syncOf(it, program);
      for (let i = 0; i < 3; ++i) await sync.kick();
      expect([told().line, it.queue.unsent, it.shelf.own.length]).toEqual([line, 1, 1]);
      expect(told().problem?.message).not.toBe('');
      expect(waits).toEqual([500, 1000, 2000]);
    }
  });

  it('lets no entry hold up the others: the refused one stays, is told, and goes when somebody else is signed in', async () => {
    const it = await phone('00000000000000aa');
    const program = new Program();
    for (const author of ['A. Keen', 'B. Storm', 'A. Keen']) {
      await it.queue.note({ author });
      await bite(it);
    }
    program.onlyOwn = true;
    const { sync, told } = syncOf(it, program);
    await sync.kick();
    expect(told().line).toBe('held');
    expect(program.arrived.map(idOf)).toEqual(['00000000000000aa:1', '00000000000000aa:3']);
    expect(it.queue.kept.refused).toEqual([{ sequence: 2, why: 'written by B. Storm', whatToDo: 'let B. Storm sign in' }]);
    expect([it.queue.unsent, refusedGroups(it.queue.kept, it.queue.entries)]).toMatchObject([1, [{ author: 'B. Storm', count: 1, why: 'written by B. Storm' }]]);
    // Kept by the phone, not by the page.
    expect((await phone('00000000000000ff', { shelf: it.shelf })).queue.unsent).toBe(1);
    const asked = program.asked.length;
    await sync.kick();
    expect(program.asked.slice(asked)).not.toContain('POST /api/entries/carried');
    program.name = 'B. Storm';
    await sync.kick();
    expect(program.arrived.map(idOf)).toContain('00000000000000aa:2');
    expect([it.queue.unsent, it.queue.kept.refused]).toEqual([0, []]);
  });

  it('sends past an entry that the program cannot read', async () => {
    for (const status of [400, 413, 422, 500]) {
      const it = await phone('00000000000000aa');
      const program = new Program();
      for (let i = 0; i < 40; ++i) await bite(it);
      program.unreadable = { sequence: 17, status };
      const { sync, told } = syncOf(it, program);
      await sync.kick();
      expect([told().line, program.arrived.length, it.queue.unsent]).toEqual(['held', 39, 1]);
      expect(it.queue.kept.refused).toEqual([{ sequence: 17, why: 'not readable', whatToDo: 'write it anew' }]);
      program.unreadable = null;
      await sync.again();
      expect([program.arrived.length, it.queue.unsent]).toEqual([40, 0]);
    }
  });

  it('takes nothing for refused where nobody may send', async () => {
    const it = await phone('00000000000000aa');
    const program = new Program();
    await bite(it);
    program.faults = { '/api/entries/carried': 403 };
    const { sync } = syncOf(it, program);
    await sync.kick();
    expect([it.queue.kept.sent, it.queue.kept.refused]).toEqual([0, []]);
  });

  it('sends the other photos past one that is refused', async () => {
    const it = await phone('00000000000000aa');
    const program = new Program();
    for (const sha256 of ['ab', 'cd']) await it.queue.keepPhoto({ sha256, type: 'image/png', bytes: new Uint8Array([1]).buffer, isSent: false });
    program.faults = { '/api/photos/ab': 413 };
    const { sync, told } = syncOf(it, program);
    await sync.kick();
    expect([...it.shelf.pictures.values()].map(({ isSent }) => isSent)).toEqual([false, true]);
    expect(told().line).toBe('refused');
  });

  it('logs in the name of who has a paired phone in hand, and of nobody else where it is not paired', async () => {
    const it = await phone('00000000000000aa');
    const program = new Program();
    program.label = 'K';
    const { sync } = syncOf(it, program);
    await sync.kick();
    expect(it.queue.kept.holder).toBe('A. Keen');
    await it.queue.note({ inHand: 'B. Storm' });
    await sync.kick();
    expect((await bite(it))[0]?.author).toBe('B. Storm');
    program.role = 'scientist';
    await sync.kick();
    expect((await bite(it))[0]).toMatchObject({ author: 'A. Keen', role: 'scientist' });
    program.role = 'crew';
    program.label = '';
    await it.queue.note({ inHand: 'B. Storm' });
    await sync.kick();
    expect([it.queue.kept.author, it.queue.kept.inHand]).toEqual(['A. Keen', '']);
  });

  it('sends nothing to another study', async () => {
    const it = await phone('00000000000000aa');
    await bite(it);
    const program = new Program();
    program.identity = '00000000000000b2';
    const { sync, told } = syncOf(it, program);
    await sync.kick();
    expect([told().line, told().served?.study, program.arrived.length, it.queue.unsent]).toEqual(['other_study', 'Another Voe', 0, 1]);
    expect(it.queue.kept.base).toContain('Skerry Voe');
  });

  it('notices another study that was opened while the line held', async () => {
    const it = await phone('00000000000000aa');
    const program = new Program();
    const { sync, told } = syncOf(it, program);
    await sync.kick();
    expect(told().line).toBe('held');
    program.identity = '00000000000000b2';
    await bite(it);
    await sync.kick();
    expect([told().line, program.arrived.length]).toEqual(['other_study', 0]);
  });

  it('tells everything anew to a journal that was restored and is shorter', async () => {
    const it = await phone('00000000000000aa');
    const program = new Program();
    const { sync } = syncOf(it, program);
    for (let i = 0; i < 4; ++i) await bite(it);
    await sync.kick();
    program.arrived = program.arrived.slice(0, 1);
    await sync.kick();
    expect(program.arrived.map(idOf)).toEqual([1, 2, 3, 4].map((n) => `00000000000000aa:${n}`));
  });

  it('knows the clocks’ difference by the quickest asking', async () => {
    let ms = 1000;
    let asked = 0;
    const trips = [400, 20, 90];
    const fetcher = (async () => {
      const trip = trips[asked++] ?? 500;
      ms += trip;
      return new Response(JSON.stringify({ now_us: (ms - trip / 2 + 7000 + (trip > 50 ? 30 : 0)) * 1000 }));
    }) as unknown as typeof fetch;
    expect(await clockOffset({ fetcher, now: () => ms, monotonic: () => ms }, 3)).toBe(7_000_000);
  });

  it('takes the mark that the phone was paired with, and leaves one that was typed', async () => {
    const it = await phone('00000000000000aa');
    const program = new Program();
    program.label = 'b';
    await syncOf(it, program).sync.kick();
    expect(it.queue.kept.mark).toBe('B');
    await it.queue.note({ mark: 'Q' });
    await syncOf(it, program).sync.kick();
    expect(it.queue.kept.mark).toBe('Q');
    const odd = await phone('00000000000000bb');
    program.label = 'the blue phone';
    await syncOf(odd, program).sync.kick();
    expect(odd.queue.kept.mark).toMatch(/^[A-Z]{2}$/);
  });

  it('fits what it sends into what the program takes', () => {
    const entry = { content: 'x'.repeat(2 ** 20) } as never;
    expect(batchOf([entry, entry, entry, entry])).toHaveLength(2);
    expect(batchOf(Array.from({ length: 900 }, () => ({ content: '' }) as never))).toHaveLength(500);
  });
});
