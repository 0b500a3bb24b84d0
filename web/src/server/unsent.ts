// What people wished to write and the program has not yet taken: kept on this device, sent in order as soon as it can be.
// Each wish carries a word of its own, so that one whose answer was lost on the way is written once however often it is
// sent. What is refused stays, with the reason, until somebody sends it again or takes it back.
import { patience } from './feed';
import { post, problemOf, type Fetch, type Problem } from './request';
import type { Wish } from './api';
import { idsOf } from './wire';

/** What a change is about: where it is shown, and whose numbers it may move. */
export interface About {
  fish: string;
  stay: string;
  spell: number | null;
}

/** Wishes that are written together or not at all. */
export interface Item {
  /** made at random on this device */
  id: string;
  /** a program on the same address may serve another study another day */
  study: string;
  /** whoever signs in next does not write in this name */
  author: string;
  /** when it was wished, by this device's clock */
  at: string;
  /** in words */
  what: string;
  about: About;
  wishes: Wish[];
  /** why it was refused; null while it waits */
  refusal: { what: string; whatToDo: string } | null;
}

export type Outcome = { kind: 'written'; ids: string[] } | { kind: 'waits'; problem: Problem | null } | { kind: 'refused'; problem: Problem; item: string };

export interface UnsentWorld {
  fetcher: Fetch;
  load: () => string | null;
  save: (text: string | null) => void;
  now: () => number;
  /** a word that no other device makes */
  word: () => string;
  later: (call: () => void, ms: number) => () => void;
}

/** Who may send, and what for. */
export interface Sender {
  study: string;
  author: string;
  changeToken: string;
}

const isItem = (value: unknown): value is Item => {
  const item = value as Partial<Item> | null;
  return typeof item === 'object' && item !== null && typeof item.id === 'string' && typeof item.study === 'string' && typeof item.author === 'string' && Array.isArray(item.wishes);
};

function itemsOf(text: string): Item[] {
  try {
    const list: unknown = JSON.parse(text);
    return Array.isArray(list) ? list.filter(isItem) : [];
  } catch {
    return [];
  }
}

/** Whether asking again may help: no answer, signed out, too many at once, a fault or a full disk of the other side. */
const mayHelp = (problem: Problem): boolean => problem.status === 0 || problem.status === 401 || problem.status === 429 || problem.status >= 500;

export class Unsent {
  private items: Item[];
  /** whether this browser keeps anything */
  private isKept = true;
  private sender: Sender | null = null;
  private sending: Promise<void> | null = null;
  /** of what was written or failed since it was put */
  private readonly outcomes = new Map<string, Outcome>();
  private failures = 0;
  private cancelWait: () => void = () => undefined;
  private readonly world: UnsentWorld;
  private readonly tell: (items: Item[]) => void;

  constructor(world: UnsentWorld, tell: (items: Item[]) => void) {
    this.world = world;
    this.tell = tell;
    this.items = itemsOf(world.load() ?? '[]');
    tell(this.items);
  }

  /** The line holds and somebody is signed in: what waits is sent. null: it does not hold. */
  meet(sender: Sender | null): void {
    this.sender = sender;
    this.cancelWait();
    this.failures = 0;
    if (sender) void this.send();
  }

  /** Keeps it, tries to send it, and says what became of that. */
  async put(sender: Pick<Sender, 'study' | 'author'>, what: string, about: About, wishes: Wish[]): Promise<Outcome> {
    const id = this.world.word();
    // The word goes into what is written, one for each.
    const marked = wishes.map((wish, i) => ({ ...wish, content: { ...wish.content, wish: `${id}.${i}` } }));
    const item: Item = { id, study: sender.study, author: sender.author, at: new Date(this.world.now()).toISOString(), what, about, wishes: marked, refusal: null };
    this.change((items) => [...items, item]);
    await this.send();
    // It may have come when the round before was just over.
    if (!this.outcomes.has(id) && this.sender) await this.send();
    const outcome = this.outcomes.get(id) ?? { kind: 'waits', problem: null };
    this.outcomes.delete(id);
    return outcome;
  }

  /** Sends a refused one once more, behind all that waits. */
  again(id: string): Promise<void> {
    this.change((items) => {
      const item = items.find((each) => each.id === id);
      return item ? [...items.filter((each) => each !== item), { ...item, refusal: null }] : items;
    });
    return this.send();
  }

  /** Takes back what has not been written; false where it is on its way. */
  drop(id: string): boolean {
    if (this.onItsWay === id) return false;
    this.change((items) => items.filter((each) => each.id !== id));
    return true;
  }

  /** Another page of this browser changed what is kept. */
  look(): void {
    this.change((items) => items);
  }

  private onItsWay = '';

  /** Everything that waits, one after the other, until none is left or the line fails. */
  send(): Promise<void> {
    this.sending ??= this.sendAll().finally(() => (this.sending = null));
    return this.sending;
  }

  private next(sender: Sender): Item | undefined {
    return this.items.find((item) => item.refusal === null && item.study === sender.study && item.author === sender.author);
  }

  private async sendAll(): Promise<void> {
    for (let sender = this.sender; sender !== null; sender = this.sender) {
      const item = this.next(sender);
      if (!item || !(await this.sendOne(item, sender))) return;
    }
  }

  /** false: no use to go on now. */
  private async sendOne(item: Item, sender: Sender): Promise<boolean> {
    this.onItsWay = item.id;
    try {
      const answer = await post('/api/entries', { entries: item.wishes }, sender.changeToken, { fetcher: this.world.fetcher });
      const ids = idsOf(await answer.json());
      this.outcomes.set(item.id, { kind: 'written', ids });
      this.failures = 0;
      this.change((items) => items.filter((each) => each.id !== item.id));
      return true;
    } catch (error) {
      const problem = problemOf(error);
      if (mayHelp(problem)) {
        this.outcomes.set(item.id, { kind: 'waits', problem });
        this.tryLater();
        return false;
      }
      this.outcomes.set(item.id, { kind: 'refused', problem, item: item.id });
      const refusal = { what: problem.message, whatToDo: problem.whatToDo };
      this.change((items) => items.map((each) => (each.id === item.id ? { ...each, refusal } : each)));
      return true;
    } finally {
      this.onItsWay = '';
    }
  }

  private tryLater(): void {
    this.failures += 1;
    this.cancelWait();
    this.cancelWait = this.world.later(() => void this.send(), patience(this.failures));
  }

  /** What is kept is the truth, since other pages of this browser add to it too. */
  private change(how: (items: Item[]) => Item[]): void {
    const before = this.isKept ? itemsOf(this.world.load() ?? '[]') : this.items;
    this.items = how(before);
    const text = this.items.length > 0 ? JSON.stringify(this.items) : null;
    this.world.save(text);
    this.isKept = this.world.load() === text;
    this.tell(this.items);
  }
}
