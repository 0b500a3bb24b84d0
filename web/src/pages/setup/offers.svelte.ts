// Files that somebody dropped on the page: sent one after another, looked at as often as asked, taken in by a word. They are
// kept while the pages are open, whatever page is shown.
import { placeFor, settingsOf, sizeText, traceNameOf, type ReadDraft } from '../../data/offer';
import type { Look, LookWish } from '../../server/api';
import { isAborted, Problem, problemOf } from '../../server/request';
import { lookAgain, mostOfferedBytes, offerFile, takeIn } from '../../server/setup';

export const mostText = `${mostOfferedBytes / 2 ** 20} MiB`;

/** Which [[trace]] takes the file: one of the brief's by its name, or a new one. */
export type Goal = { kind: 'there'; trace: string; place: string } | { kind: 'new' };

export class Offer {
  readonly file: File;
  readonly number: number;
  state = $state<'waiting' | 'sending' | 'looking' | 'seen' | 'taking' | 'taken' | 'failed'>('waiting');
  /** how much of it is sent, 0 to 1 */
  share = $state(0);
  look = $state.raw<Look | null>(null);
  problem = $state.raw<Problem | null>(null);
  draft = $state<ReadDraft>({ file: {}, columns: [] });
  goal = $state.raw<Goal>({ kind: 'new' });
  name = $state('');
  /** where it was taken in */
  place = $state('');
  private sending = new AbortController();
  private looking = new AbortController();

  constructor(file: File, number: number) {
    this.file = file;
    this.number = number;
    this.name = traceNameOf(file.name);
    if (file.size > mostOfferedBytes) {
      this.problem = new Problem(413, `${file.name} has ${sizeText(file.size)}; through this page go at most ${mostText}`,
        'Copy it below raw/ in the study’s folder by hand and say in the brief, as [[trace]], how it is read; or let the logger write a file a day.');
      this.state = 'failed';
    } else if (file.size === 0) {
      this.problem = new Problem(0, `${file.name} is empty`, 'Copy it from the logger again.');
      this.state = 'failed';
    }
  }

  async send(token: string): Promise<void> {
    this.state = 'sending';
    this.share = 0;
    this.problem = null;
    this.sending = new AbortController();
    try {
      this.look = await offerFile(this.file, token, (share) => (this.share = share), this.sending.signal);
      this.state = 'seen';
    } catch (error) {
      this.failed(error);
      return;
    }
    // Where one trace of the brief would take it, and no other, it is read as that one says.
    const [place, another] = this.look.places;
    if (place && !another) await this.aim({ kind: 'there', ...place }, token);
  }

  stop(): void {
    this.sending.abort();
    this.looking.abort();
  }

  async aim(goal: Goal, token: string): Promise<void> {
    this.goal = goal;
    await this.lookAgain(token);
  }

  private get wish(): LookWish {
    if (this.goal.kind === 'there') return { trace: this.goal.trace };
    const settings = settingsOf(this.draft);
    return Object.keys(settings).length === 0 ? {} : { settings };
  }

  async lookAgain(token: string): Promise<void> {
    if (!this.look) return;
    this.looking.abort();
    const looking = new AbortController();
    this.looking = looking;
    this.state = 'looking';
    this.problem = null;
    try {
      this.look = await this.held(token, (id) => lookAgain(id, this.wish, token, { signal: looking.signal }));
      this.state = 'seen';
    } catch (error) {
      if (isAborted(error)) return;
      this.problem = problemOf(error);
      this.state = 'seen';
    }
  }

  async take(token: string): Promise<void> {
    if (!this.look) return;
    this.state = 'taking';
    this.problem = null;
    const goal = this.goal;
    const wish = goal.kind === 'there' ? { place: goal.place } : { place: this.newPlace, settings: { name: this.name.trim(), ...settingsOf(this.draft) } };
    try {
      const taken = await this.held(token, (id) => takeIn(id, wish, token));
      this.place = taken.place;
      this.state = 'taken';
    } catch (error) {
      this.problem = problemOf(error);
      this.state = 'seen';
    }
  }

  get newPlace(): string {
    return placeFor(this.name, this.file.name);
  }

  /** The program holds only the last few files: one that it let go is sent again. */
  private async held<T>(token: string, act: (id: string) => Promise<T>): Promise<T> {
    try {
      return await act(this.look?.id ?? '');
    } catch (error) {
      if (!(error instanceof Problem) || error.status !== 404 || !error.message.includes('not held any more')) throw error;
      const again = await offerFile(this.file, token, (share) => (this.share = share), this.sending.signal);
      return act(again.id);
    }
  }

  private failed(error: unknown): void {
    this.state = isAborted(error) ? 'waiting' : 'failed';
    this.problem = isAborted(error) ? null : problemOf(error);
  }
}

class Offers {
  all = $state.raw<Offer[]>([]);
  chosen = $state.raw<Offer | null>(null);
  private count = 0;
  private line: Promise<unknown> = Promise.resolve();

  add(files: Iterable<File>, token: string): void {
    const fresh = [...files].map((file) => new Offer(file, ++this.count));
    this.all = [...this.all, ...fresh];
    this.chosen = fresh[0] ?? this.chosen;
    for (const offer of fresh) if (offer.state === 'waiting') this.send(offer, token);
  }

  /** One after another: two at once would only share the line. */
  send(offer: Offer, token: string): void {
    this.line = this.line.then(() => (this.all.includes(offer) ? offer.send(token) : undefined));
  }

  remove(offer: Offer): void {
    offer.stop();
    const at = this.all.indexOf(offer);
    this.all = this.all.filter((each) => each !== offer);
    if (this.chosen === offer) this.chosen = this.all[Math.min(at, this.all.length - 1)] ?? null;
  }
}

export const offers = new Offers();
