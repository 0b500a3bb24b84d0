// Wishes that wait: their order, that each is written once, what a refusal leaves, and what a reload finds again.
import { describe, expect, it } from 'vitest';
import { patience } from '../src/server/feed';
import type { Wish } from '../src/server/api';
import { Unsent, type Item, type Sender } from '../src/server/unsent';

const study = 'Skerry Voe';
const keen: Sender = { study, author: 'A. Keen', changeToken: 'token' };
const about = { fish: 'T01', stay: 's1', spell: 2 };
const wish = (word: string): Wish => ({ act: 'add', content: { table: 'decisions', row: { stay: 's1', act: word } }, reason: 'a leak' });

type Answer = { status: number; body?: unknown } | 'no answer';
interface Entry {
  content: { wish: string; row: { act: string } };
}

class Bench {
  /** one for each time the program is asked; the last one holds on */
  answers: Answer[] = [{ status: 200, body: { ids: ['d:1'] } }];
  asked: { entries: Entry[]; token: string | undefined }[] = [];
  kept: string | null = null;
  keeps = true;
  items: Item[] = [];
  waits: { call: () => void; ms: number }[] = [];
  words = 0;
  unsent = this.open();

  open(): Unsent {
    return new Unsent(
      {
        fetcher: (async (_: string, init: RequestInit) => {
          this.asked.push({ entries: (JSON.parse(String(init.body)) as { entries: Entry[] }).entries, token: (init.headers as Record<string, string>)['Backeddy-Change-Token'] });
          const answer = this.answers.length > 1 ? this.answers.shift() : this.answers[0];
          if (!answer || answer === 'no answer') throw new TypeError('fetch failed');
          return new Response(JSON.stringify(answer.body ?? {}), { status: answer.status });
        }) as typeof fetch,
        load: () => this.kept,
        save: (text) => {
          if (this.keeps) this.kept = text;
        },
        now: () => Date.parse('2026-06-14T08:00:00Z'),
        word: () => `w${++this.words}`,
        later: (call, ms) => {
          const wait = { call, ms };
          this.waits.push(wait);
          return () => (this.waits = this.waits.filter((each) => each !== wait));
        },
      },
      (items) => (this.items = items),
    );
  }

  put(word: string, sender: Sender = keen) {
    return this.unsent.put(sender, word, about, [wish(word)]);
  }
  get sent(): string[] {
    return this.asked.map((each) => each.entries.map((entry) => entry.content.row.act).join(' '));
  }
}

/** Lets every promise run that can. */
const settle = async () => {
  for (let i = 0; i < 30; ++i) await Promise.resolve();
  await new Promise((done) => setTimeout(done, 0));
};

describe('unsent wishes', () => {
  it('are written at once where the line holds, with the change token and a word each', async () => {
    const bench = new Bench();
    bench.unsent.meet(keen);
    const outcome = await bench.unsent.put(keen, 'two', about, [wish('exclude'), wish('note')]);
    expect(outcome).toEqual({ kind: 'written', ids: ['d:1'] });
    expect(bench.sent).toEqual(['exclude note']);
    expect(bench.asked[0]?.token).toBe('token');
    expect(bench.asked[0]?.entries.map((entry) => entry.content.wish)).toEqual(['w1.0', 'w1.1']);
    expect(bench.items).toEqual([]);
    expect(bench.kept).toBeNull();
  });

  it('wait while the line does not hold, and go out in their order when it does', async () => {
    const bench = new Bench();
    for (const word of ['first', 'second', 'third']) expect((await bench.put(word)).kind).toBe('waits');
    expect(bench.asked).toEqual([]);
    bench.unsent.meet(keen);
    await settle();
    expect(bench.sent).toEqual(['first', 'second', 'third']);
    expect(bench.items).toEqual([]);
  });

  it('are found again after a reload', async () => {
    const bench = new Bench();
    await bench.put('first');
    await bench.put('second');
    const before = bench.items;
    bench.items = [];
    bench.unsent = bench.open();
    expect(bench.items).toEqual(before);
    bench.unsent.meet(keen);
    await settle();
    expect(bench.sent).toEqual(['first', 'second']);
  });

  it('carry the same word when they come again, since their answer may have been lost', async () => {
    const bench = new Bench();
    bench.answers = ['no answer', { status: 502 }, { status: 200, body: { ids: ['d:1'] } }];
    bench.unsent.meet(keen);
    expect(await bench.put('first')).toMatchObject({ kind: 'waits', problem: { status: 0 } });
    expect(bench.waits.map((each) => each.ms)).toEqual([patience(1)]);
    bench.waits[0]?.call();
    await settle();
    expect(bench.waits.at(-1)?.ms).toBe(patience(2));
    bench.waits.at(-1)?.call();
    await settle();
    expect(new Set(bench.asked.map((each) => JSON.stringify(each.entries))).size).toBe(1);
    expect(bench.asked).toHaveLength(3);
    expect(bench.items).toEqual([]);
  });

  it('are sent one at a time, however often somebody asks', async () => {
    const bench = new Bench();
    await bench.put('first');
    await bench.put('second');
    bench.unsent.meet(keen);
    await Promise.all([bench.unsent.send(), bench.unsent.send(), bench.put('third')]);
    await settle();
    expect(bench.sent).toEqual(['first', 'second', 'third']);
  });

  it('stay where they are refused, with the reason, and stop none behind them', async () => {
    const bench = new Bench();
    await bench.put('bad');
    await bench.put('good');
    bench.answers = [{ status: 409, body: { detail: 'no stay "s9"', remedy: 'did you mean "s1"?' } }, { status: 200, body: { ids: ['d:1'] } }];
    bench.unsent.meet(keen);
    await settle();
    expect(bench.sent).toEqual(['bad', 'good']);
    expect(bench.items).toMatchObject([{ what: 'bad', refusal: { what: 'no stay "s9"', whatToDo: 'did you mean "s1"?' } }]);
    // Not by itself again, not after a reload either; by somebody's wish it is.
    bench.unsent = bench.open();
    bench.unsent.meet(keen);
    await settle();
    expect(bench.asked).toHaveLength(2);
    await bench.unsent.again(bench.items[0]?.id ?? '');
    expect(bench.sent).toEqual(['bad', 'good', 'bad']);
    expect(bench.items).toEqual([]);
  });

  it('tell whoever made them that they were refused', async () => {
    const bench = new Bench();
    // The complaint ends with what to do: it is said once.
    bench.answers = [{ status: 409, body: { detail: 'without a reason; fill it in', remedy: 'fill it in' } }];
    bench.unsent.meet(keen);
    const outcome = await bench.put('bad');
    expect(outcome).toMatchObject({ kind: 'refused', item: 'w1', problem: { message: 'without a reason', whatToDo: 'fill it in' } });
    expect(bench.unsent.drop('w1')).toBe(true);
    expect(bench.items).toEqual([]);
  });

  it('are nobody else’s, and of no other study', async () => {
    const bench = new Bench();
    await bench.put('mine');
    bench.unsent.meet({ ...keen, author: 'B. Tide' });
    await settle();
    bench.unsent.meet({ ...keen, study: 'another' });
    await settle();
    expect(bench.asked).toEqual([]);
    bench.unsent.meet(keen);
    await settle();
    expect(bench.sent).toEqual(['mine']);
  });

  it('can be taken back, but not on their way', async () => {
    const bench = new Bench();
    await bench.put('first');
    bench.unsent.meet(keen);
    const sending = bench.unsent.send();
    expect(bench.unsent.drop('w1')).toBe(false);
    await sending;
    bench.unsent.meet(null);
    await bench.put('second');
    expect(bench.unsent.drop('w2')).toBe(true);
    bench.unsent.meet(keen);
    await settle();
    expect(bench.sent).toEqual(['first']);
  });

  it('of two pages of one browser are kept beside each other', async () => {
    const bench = new Bench();
    const other = bench.open();
    await bench.put('here');
    await other.put(keen, 'there', about, [wish('there')]);
    await bench.put('here too');
    expect(bench.items.map((item) => item.what)).toEqual(['here', 'there', 'here too']);
  });

  it('hold until the page is closed where the browser keeps nothing', async () => {
    const bench = new Bench();
    bench.keeps = false;
    bench.unsent = bench.open();
    await bench.put('first');
    await bench.put('second');
    bench.unsent.meet(keen);
    await settle();
    expect(bench.sent).toEqual(['first', 'second']);
    expect(bench.items).toEqual([]);
  });

  it('leave alone what is kept there and is none of them', () => {
    const bench = new Bench();
    bench.kept = '{"what":';
    bench.unsent = bench.open();
    expect(bench.items).toEqual([]);
  });
});
