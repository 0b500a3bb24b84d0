// What is changed on these pages: one road for every wish, the journal that it goes into, undo and redo, and the answer
// before the change, against which the new one is held.
import { keep, kept } from '../app/kept';
import { where } from '../app/where.svelte';
import { aboutOf, authorOf, backWords, lastDone, lastUndone, undoing } from '../data/journal';
import type { Results } from '../data/results';
import type { Known } from './feed';
import { isAborted, problemOf, type Problem } from './request';
import type { Entry, Wish } from './api';
import { askEntries, writeEntries } from './setup';
import { Unsent, type About, type Item, type Outcome } from './unsent';

/** What was written since the numbers were last as `before`. */
export interface Change {
  what: string[];
  about: About;
  before: Results;
  /** entries that the journal had when the last of it was written: the answer has looked at so many */
  entries: number;
}

/** A word that no other device makes. */
const newWord = (): string => [...crypto.getRandomValues(new Uint8Array(12))].map((byte) => byte.toString(16).padStart(2, '0')).join('');

class Changes {
  items = $state.raw<Item[]>([]);
  entries = $state.raw<Entry[]>([]);
  /** why the journal could not be read */
  problem = $state.raw<Problem | null>(null);
  shown = $state.raw<Change | null>(null);
  /** of the last key or button: "nothing of yours to undo" */
  said = $state('');
  isListOpen = $state(false);
  private known = $state.raw<Known | null>(null);
  private reading: AbortController | null = null;
  private sendsAs = '';
  private readonly unsent = new Unsent(
    {
      fetcher: (...args) => fetch(...args),
      load: () => kept('unsent'),
      save: (text) => keep('unsent', text),
      now: () => Date.now(),
      word: newWord,
      later: (call, ms) => {
        const id = setTimeout(call, ms);
        return () => clearTimeout(id);
      },
    },
    (items) => (this.items = items),
  );

  start(): void {
    addEventListener('storage', (event) => {
      if (event.key === 'backeddy unsent') this.unsent.look();
    });
  }

  /** Whenever something is known anew. */
  meet(known: Known): void {
    this.known = known;
    const { session, results } = known;
    const study = results?.study.title ?? '';
    const isMet = known.link === 'live' && session !== null && study !== '';
    const sendsAs = isMet ? JSON.stringify([study, session.name, session.change_token]) : '';
    if (sendsAs !== this.sendsAs) {
      this.sendsAs = sendsAs;
      this.unsent.meet(isMet ? { study, author: authorOf(session.name), changeToken: session.change_token } : null);
    }
  }

  get author(): string {
    return authorOf(this.known?.session?.name ?? '');
  }

  /** Reads the journal anew. */
  async read(): Promise<void> {
    this.reading?.abort();
    const reading = new AbortController();
    this.reading = reading;
    try {
      this.entries = await askEntries({ signal: reading.signal });
      this.problem = null;
      if (this.shown?.entries === Infinity) this.shown = { ...this.shown, entries: this.entries.length };
    } catch (error) {
      if (!isAborted(error)) this.problem = problemOf(error);
    }
  }

  /** One change, of one or several entries; what became of it. */
  async write(what: string, about: About, wishes: Wish[]): Promise<Outcome> {
    const results = this.known?.results;
    this.said = '';
    const outcome = await this.unsent.put({ study: results?.study.title ?? '', author: this.author }, what, about, wishes);
    if (outcome.kind === 'written') {
      // Nobody is told "no number moved" before the journal says what there is to wait for.
      if (results) this.expect(what, about, results, Infinity);
      await this.read();
    }
    return outcome;
  }

  /** Numbers are to come: those that are there now are what they are held against, or still those of before. */
  private expect(what: string, about: About, results: Results, entries: number): void {
    const open = this.shown;
    const goesOn = open !== null && this.waits && open.about.stay === about.stay && open.about.fish === about.fish;
    this.shown = goesOn ? { ...open, what: [...open.what, what], entries } : { what: [what], about, before: results, entries };
  }

  /** The answer to what was written last has not come. */
  get waits(): boolean {
    const { state, shownRevision } = this.known ?? {};
    return this.shown !== null && (state?.phase !== 'ready' || state.entries < this.shown.entries || state.revision !== shownRevision);
  }

  // ---- back and forth

  get toUndo(): Entry | null {
    return lastDone(this.entries, this.author);
  }
  get toRedo(): Entry | null {
    return lastUndone(this.entries, this.author);
  }

  /** Whether whoever is here may change anything; says so where not. */
  private mayWrite(): boolean {
    const isViewer = this.known?.session?.role === 'viewer';
    if (isViewer) this.say('you read here as a viewer: nothing can be changed');
    return !isViewer;
  }

  /** Stands for a while. */
  private say(what: string): void {
    this.said = what;
    clearTimeout(this.saying);
    this.saying = setTimeout(() => (this.said = ''), 12_000);
  }
  private saying: ReturnType<typeof setTimeout> | undefined;

  async undo(): Promise<void> {
    if (!this.mayWrite()) return;
    const unsent = this.items.filter((item) => item.author === this.author && item.study === (this.known?.results?.study.title ?? '')).at(-1);
    if (unsent && this.unsent.drop(unsent.id)) {
      this.say(`taken back before it was written: ${unsent.what}`);
      return;
    }
    await this.read();
    const entry = this.toUndo;
    if (entry) await this.revert(entry);
    else this.say(this.entries.some((each) => !each.is_undone) ? 'nothing of yours is left to undo; the list of all changes has those of others' : 'nothing was changed here yet');
  }

  async redo(): Promise<void> {
    if (!this.mayWrite()) return;
    await this.read();
    const entry = this.toRedo;
    if (entry) await this.revert(entry);
    else this.say('nothing to do again');
  }

  /** Undoes an entry, or an undo, with whatever was written in one with it. */
  async revert(entry: Entry): Promise<Outcome> {
    const results = this.known?.results ?? null;
    const what = backWords(this.entries, entry, results);
    const about = aboutOf(this.entries, entry, results);
    const wishes = undoing(this.entries, entry, '');
    const outcome = results ? await this.write(what, about, wishes) : await this.writeNow(wishes);
    // Where its numbers are shown, that says it.
    if (outcome.kind === 'written' && this.isShownHere(about)) return outcome;
    this.say(outcome.kind === 'refused' ? `refused, ${what}: ${outcome.problem.message}` : outcome.kind === 'waits' ? `kept on this device: ${what}` : what);
    return outcome;
  }

  /** Of a study that has no answer yet, in which nothing can wait for its numbers. */
  private async writeNow(wishes: Wish[]): Promise<Outcome> {
    const word = newWord();
    try {
      const ids = await writeEntries(wishes.map((wish, i) => ({ ...wish, content: { ...wish.content, wish: `${word}.${i}` } })), this.known?.session?.change_token ?? '');
      await this.read();
      return { kind: 'written', ids };
    } catch (error) {
      return { kind: 'refused', problem: problemOf(error), item: '' };
    }
  }

  /** A change of another page is said in words, wherever somebody is. */
  private isShownHere({ stay, fish }: About): boolean {
    const { route } = where;
    return (route.page === 'traces' && stay !== '') || (route.page === 'one_fish' && fish !== '' && (route.fish === fish || route.beside === fish));
  }

  again(item: Item): Promise<void> {
    return this.unsent.again(item.id);
  }
  /** By the item's id. */
  drop(id: string): void {
    this.unsent.drop(id);
  }
}

export const changes = new Changes();
