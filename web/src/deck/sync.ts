// The line between a phone's queue and the program: sends what is unsent in its order, takes what others wrote, measures
// the clocks' difference, waits longer after each failure. Without the program nothing is lost and nothing stops.
import { baseOf } from './base';
import { entryOf, idOf, type Entry, type Role } from './entry';
import type { Queue } from './queue';
import { markOf, type Refused } from './shelf';
import { ask, askFor, Problem, problemOf, type Fetch } from '../server/request';
import { patience } from '../server/feed';

export type Line = 'asking' | 'held' | 'away' | 'signed_out' | 'refused' | 'other_study';

export interface Told {
  line: Line;
  /** why, and what to do; null while all is well */
  problem: Problem | null;
  /** of another study, whose program answers at this address */
  served: { study: string; identity: string } | null;
  /** ms since 1970: last time that the program answered */
  lastAnswer: number | null;
  changeToken: string;
  name: string;
  role: Role | '';
  /** by a pairing, and not by name and passphrase */
  isPaired: boolean;
  /** that this phone was paired with; '' for none that can stand in a fish's name */
  mark: string;
}

export const fresh: Told = { line: 'asking', problem: null, served: null, lastAnswer: null, changeToken: '', name: '', role: '', isPaired: false, mark: '' };

export interface SyncWorld {
  fetcher: Fetch;
  now: () => number;
  monotonic: () => number;
  later: (call: () => void, ms: number) => () => void;
}

export const mostEntries = 500;
const mostBytes = 3 * 2 ** 20;
/** between two rounds, ms */
export const pause = 4000;
/** until what was refused is tried again by itself, ms */
export const refusedPause = 300_000;
/** of an answer that is about what was sent, and not about the line or who is signed in */
const aboutContent = [400, 413, 422, 500];

type Fields = Record<string, unknown>;
const fields = (value: unknown): Fields => (typeof value === 'object' && value !== null ? (value as Fields) : {});
const whole = (value: unknown): number => (Number.isSafeInteger(value) ? (value as number) : 0);

const sessionOf = (value: unknown): Pick<Told, 'name' | 'changeToken' | 'isPaired' | 'mark'> & { role: Role } => {
  const from = fields(value);
  const label = typeof from.label === 'string' && /^[A-Za-z]{1,3}$/.test(from.label) ? from.label.toUpperCase() : '';
  return { name: String(from.name ?? ''), role: from.role as Role, changeToken: String(from.change_token ?? ''), isPaired: typeof from.label === 'string', mark: label };
};

/** The first that fit into one sending. */
export function batchOf(entries: readonly Entry[]): Entry[] {
  let bytes = 0;
  const out: Entry[] = [];
  for (const entry of entries) {
    bytes += new TextEncoder().encode(JSON.stringify(entry)).length + 1;
    if (out.length > 0 && (bytes > mostBytes || out.length >= mostEntries)) break;
    out.push(entry);
  }
  return out;
}

/** Which of `batch` the program did not take, by its answer. */
export function refusedOf(answer: unknown, batch: readonly Entry[]): Refused[] {
  const { refused } = fields(answer);
  return (Array.isArray(refused) ? refused : []).flatMap((each) => {
    const { id, detail, remedy } = fields(each);
    const entry = batch.find((one) => idOf(one) === id);
    return entry ? [{ sequence: entry.sequence, why: String(detail ?? ''), whatToDo: String(remedy ?? '') }] : [];
  });
}

/** Server minus device in µs: of several askings the one with the shortest way there and back. */
export async function clockOffset(world: Pick<SyncWorld, 'fetcher' | 'now' | 'monotonic'>, times = 5): Promise<number | null> {
  let best: { trip: number; offset: number } | null = null;
  for (let i = 0; i < times; ++i) {
    const sent = world.monotonic();
    const wall = world.now();
    const serverUs = await askFor('/api/clock', (value) => Number(fields(value).now_us), { fetcher: world.fetcher });
    const trip = world.monotonic() - sent;
    if (Number.isFinite(serverUs) && (best === null || trip < best.trip)) best = { trip, offset: Math.round(serverUs - (wall + trip / 2) * 1000) };
  }
  return best && best.offset;
}

export class Sync {
  private readonly world: SyncWorld;
  private readonly queue: Queue;
  private readonly tell: (told: Told) => void;
  told: Told = fresh;
  private failures = 0;
  private running: Promise<void> | null = null;
  private wantsMore = false;
  private isStopped = false;
  private cancelWait: () => void = () => undefined;
  /** when the clocks were compared last, and the study asked for */
  private comparedAt = -Infinity;
  private askedAt = -Infinity;
  /** who was signed in when what was refused was tried last, and when that was */
  private triedAs = '';
  private triedAt = -Infinity;

  constructor(world: SyncWorld, queue: Queue, tell: (told: Told) => void) {
    this.world = world;
    this.queue = queue;
    this.tell = tell;
  }

  /** A round at once, or another one after that which runs. */
  kick(): Promise<void> {
    this.cancelWait();
    if (this.running) {
      this.wantsMore = true;
      return this.running;
    }
    this.running = this.rounds().finally(() => (this.running = null));
    return this.running;
  }

  stop(): void {
    this.isStopped = true;
    this.cancelWait();
  }

  /** Somebody has just signed in, or was paired. */
  again(): Promise<void> {
    this.failures = 0;
    this.askedAt = -Infinity;
    this.triedAt = -Infinity;
    this.change({ line: 'asking', problem: null });
    return this.kick();
  }

  private change(part: Partial<Told>): void {
    this.told = { ...this.told, ...part };
    this.tell(this.told);
  }

  private async rounds(): Promise<void> {
    do {
      this.wantsMore = false;
      await this.round();
    } while (this.wantsMore && this.failures === 0 && !this.isStopped);
    if (!this.isStopped) this.cancelWait = this.world.later(() => void this.kick(), this.failures === 0 ? pause : patience(this.failures));
  }

  private async round(): Promise<void> {
    try {
      const session = await askFor('/api/session', sessionOf, { fetcher: this.world.fetcher });
      this.change(session);
      if (!(await this.meet()) || !(await this.exchange())) return;
      await this.tryRefused();
      await this.sendPhotos();
      this.failures = 0;
      this.change({ line: 'held', problem: null, served: null, lastAnswer: this.world.now() });
    } catch (error) {
      this.failed(problemOf(error));
    }
  }

  private failed(problem: Problem): void {
    this.failures += 1;
    const line: Line = problem.status === 401 ? 'signed_out' : problem.status === 403 || problem.status === 413 || problem.status === 422 || problem.status === 400 ? 'refused' : 'away';
    this.change({ line, problem });
  }

  /** Whether the program serves the study of this queue; what it says of the study is kept. */
  private async meet(): Promise<boolean> {
    if (this.world.monotonic() - this.askedAt > 60_000) {
      const text = await (await ask('/api/deck', { fetcher: this.world.fetcher })).text();
      const base = baseOf(JSON.parse(text));
      if (this.queue.kept.identity !== '' && this.queue.kept.identity !== base.identity) {
        this.otherStudy(base.study, base.identity);
        return false;
      }
      if (text !== this.queue.kept.base) await this.queue.note({ base: text, identity: base.identity, study: base.study });
      this.askedAt = this.world.monotonic();
    }
    await this.keepPerson();
    if (this.world.monotonic() - this.comparedAt > 600_000) {
      const offsetUs = await clockOffset(this.world);
      if (offsetUs !== null) await this.queue.note({ offsetUs });
      this.comparedAt = this.world.monotonic();
    }
    return true;
  }

  private otherStudy(study: string, identity: string): void {
    this.failures += 1;
    const problem = new Problem(409, `The program serves “${study}”; the entries on this phone are of “${this.queue.kept.study}”`, 'Nothing is sent. Have that study opened on the laptop, or save the queue as a file.');
    this.change({ line: 'other_study', problem, served: { study, identity } });
  }

  /** Who is signed in logs, or has the paired phone in hand; on the laptop itself nobody has a name, and the page asks for one. */
  private async keepPerson(): Promise<void> {
    const { name, role } = this.told;
    const { kept } = this.queue;
    const holder = this.told.isPaired && role === 'crew' ? name : '';
    const inHand = holder === '' ? '' : kept.inHand;
    const author = name === '' ? kept.author : inHand === '' ? name : inHand;
    // A mark that somebody has typed on the phone stays.
    const mark = this.told.mark !== '' && kept.mark === markOf(kept.device) ? this.told.mark : kept.mark;
    if (role !== '' && (author !== kept.author || role !== kept.role || mark !== kept.mark || inHand !== kept.inHand || holder !== kept.holder)) await this.queue.note({ author, role, mark, inHand, holder });
  }

  /** Takes what others wrote and sends what is unsent, in turns; false where the program serves another study now. What is
   *  taken says whose journal this is, so that nothing is sent into another one. */
  private async exchange(): Promise<boolean> {
    while (!this.isStopped) {
      if (!(await this.takeAll())) return false;
      const batch = batchOf(await this.queue.shelf.ownAfter(this.queue.kept.sent, mostEntries));
      const last = batch.at(-1);
      if (!last) return true;
      await this.queue.acknowledge(last.sequence, await this.send(batch));
    }
    return true;
  }

  /** What was refused of them: of a batch that the program cannot take as it is, the others go all the same. */
  private async send(batch: readonly Entry[]): Promise<Refused[]> {
    try {
      const answer = await this.request('POST', '/api/entries/carried?each=yes', JSON.stringify({ entries: batch }), 'application/json');
      return refusedOf(await answer.json().catch(() => null), batch);
    } catch (error) {
      const problem = problemOf(error);
      const [first] = batch;
      if (!first || !aboutContent.includes(problem.status)) throw error;
      if (batch.length === 1) return [{ sequence: first.sequence, why: problem.message, whatToDo: problem.whatToDo }];
      const half = Math.ceil(batch.length / 2);
      return [...(await this.send(batch.slice(0, half))), ...(await this.send(batch.slice(half)))];
    }
  }

  /** What was refused goes once more when somebody else is signed in, when somebody says so, and now and then. */
  private async tryRefused(): Promise<void> {
    const { name, role, isPaired } = this.told;
    const as = JSON.stringify([name, role, isPaired]);
    const { refused } = this.queue.kept;
    if (refused.length === 0 || (as === this.triedAs && this.world.monotonic() - this.triedAt < refusedPause)) return;
    let left = await this.queue.shelf.ownOf(refused.map(({ sequence }) => sequence));
    while (left.length > 0) {
      const batch = batchOf(left);
      await this.queue.triedAgain(batch.map(({ sequence }) => sequence), await this.send(batch));
      left = left.slice(batch.length);
    }
    this.triedAs = as;
    this.triedAt = this.world.monotonic();
  }

  private async takeAll(): Promise<boolean> {
    for (;;) {
      const after = this.queue.kept.arrived;
      const answer = fields(await (await ask(`/api/entries/arrived?after=${after}`, { fetcher: this.world.fetcher })).json());
      if (answer.identity !== this.queue.kept.identity) {
        this.askedAt = -Infinity;
        if (await this.meet()) continue;
        return false;
      }
      const through = whole(answer.through);
      const entries = (Array.isArray(answer.entries) ? answer.entries : []).map(entryOf);
      if (entries.some((entry) => entry === null)) throw new Problem(0, 'The program sent an entry that this page cannot read', 'Reload the page when the program is near, so that both are of one version.');
      // A journal that was restored may be shorter than what we saw: then everything is told to it anew.
      if (through < after) await this.queue.note({ arrived: 0, sent: 0, refused: [] });
      else if (through === after) return true;
      else await this.queue.took(entries as Entry[], through);
    }
  }

  private async sendPhotos(): Promise<void> {
    let refusal: Problem | null = null;
    for (const photo of await this.queue.shelf.photos(true)) {
      try {
        await this.request('PUT', `/api/photos/${photo.sha256}`, photo.bytes, photo.type);
        await this.queue.keepPhoto({ ...photo, isSent: true });
      } catch (error) {
        const problem = problemOf(error);
        if (!aboutContent.includes(problem.status)) throw error;
        refusal ??= problem;
      }
    }
    // Told when the others are through.
    if (refusal) throw refusal;
  }

  private async request(method: 'POST' | 'PUT', path: string, body: string | ArrayBuffer, type: string): Promise<Response> {
    const answer = await this.world.fetcher(path, {
      method, body, credentials: 'same-origin', cache: 'no-store',
      headers: { Accept: 'application/json', 'Content-Type': type, 'Backeddy-Change-Token': this.told.changeToken },
    });
    if (answer.ok) return answer;
    const told = fields(await answer.json().catch(() => null));
    throw new Problem(answer.status, String(told.detail ?? `The program answered ${answer.status}`), String(told.remedy ?? ''));
  }
}
