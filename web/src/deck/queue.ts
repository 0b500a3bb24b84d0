// This phone's entries: made here, kept here before anything says "saved", sent in order, and the others' entries beside
// them. Nothing is ever taken out of it.
import { compareTimes, inOrder, receive, tick, type Entry } from './entry';
import type { Draft } from './presses';
import type { Kept, Photo, Refused, Shelf } from './shelf';

export interface Clocks {
  /** ms since 1970 by this device */
  wall: () => number;
  /** ms since the page was opened */
  monotonic: () => number;
  /** names that opening */
  boot: string;
  /** a word that no other press has */
  word: () => string;
}

/** Longest content and reason that the journal takes, bytes. */
const mostContent = 2 ** 20;
const mostReason = 10_000;
const bytesOf = (text: string): number => new TextEncoder().encode(text).length;

const toEntry = (draft: Draft, press: string, kept: Kept, clocks: Clocks, i: number, wallUs: number): Entry => ({
  device: kept.device,
  sequence: kept.sequence + 1 + i,
  hybrid_wall_us: 0,
  hybrid_count: 0,
  wall_us: wallUs,
  monotonic_us: Math.round(clocks.monotonic() * 1000),
  boot: clocks.boot,
  clock_offset_us: kept.offsetUs,
  author: kept.author,
  role: kept.role === '' ? 'crew' : kept.role,
  act: draft.act,
  content: JSON.stringify({ ...draft.content, press }),
  reason: draft.reason,
});

/** Entries for `drafts`, and what is kept after them. One press carries one word, so that it is undone as a whole. */
export function made(kept: Kept, drafts: readonly Draft[], clocks: Clocks): { kept: Kept; entries: Entry[] } {
  const wallUs = Math.round(clocks.wall() * 1000);
  const press = clocks.word();
  let hybrid = kept.hybrid;
  const entries = drafts.map((draft, i) => {
    // By the program's clock where it is known: nobody follows a phone that is a day ahead.
    hybrid = tick(hybrid, wallUs + (kept.offsetUs ?? 0));
    const entry = { ...toEntry(draft, press, kept, clocks, i, wallUs), hybrid_wall_us: hybrid.wall_us, hybrid_count: hybrid.count };
    if (bytesOf(entry.content) > mostContent || bytesOf(entry.reason) > mostReason) throw new Error('This text is too long to be kept: shorten it.');
    return entry;
  });
  return { kept: { ...kept, sequence: kept.sequence + entries.length, hybrid }, entries };
}

/** Own entries that the program does not have: those that wait for their turn, and those that it refused. */
export const unsentOf = (kept: Kept): number => kept.sequence - kept.sent + kept.refused.length;

/** The word that the entries of one press share; its id for an entry made elsewhere. */
export function pressOf(entry: Entry): string {
  try {
    const content = JSON.parse(entry.content) as { press?: unknown } | null;
    return typeof content?.press === 'string' ? content.press : '';
  } catch {
    return '';
  }
}

export class Queue {
  readonly shelf: Shelf;
  private readonly clocks: Clocks;
  private readonly tell: () => void;
  kept: Kept;
  /** own and others', in their order */
  entries: Entry[];

  private constructor(shelf: Shelf, clocks: Clocks, tell: () => void, kept: Kept, entries: Entry[]) {
    this.shelf = shelf;
    this.clocks = clocks;
    this.tell = tell;
    this.kept = kept;
    this.entries = entries;
  }

  static async open(shelf: Shelf, clocks: Clocks, tell: () => void): Promise<Queue> {
    const { kept, own, others } = await shelf.load();
    return new Queue(shelf, clocks, tell, kept, inOrder([...own, ...others]));
  }

  /** Another tab of this browser wrote. */
  async reload(): Promise<void> {
    const { kept, own, others } = await this.shelf.load();
    this.kept = kept;
    this.entries = inOrder([...own, ...others]);
    this.tell();
  }

  get unsent(): number {
    return unsentOf(this.kept);
  }

  /** Resolves when this device's disk has them; only then anything may call them saved. */
  async put(drafts: readonly Draft[]): Promise<Entry[]> {
    if (drafts.length === 0) return [];
    const { kept, entries } = await this.shelf.change((now) => {
      if (now.author === '') throw new Error('Say first who logs on this phone.');
      const after = made(now, drafts, this.clocks);
      return { kept: after.kept, own: after.entries, result: after };
    });
    this.take(kept, entries);
    return entries;
  }

  /** What others wrote has come; `through` is the program's count of arrivals. */
  async took(others: readonly Entry[], through: number): Promise<void> {
    const wallUs = Math.round(this.clocks.wall() * 1000);
    const kept = await this.shelf.change((now) => {
      const byProgram = wallUs + (now.offsetUs ?? 0);
      const foreign = others.filter((entry) => entry.device !== now.device);
      const newest = foreign.map((entry) => ({ wall_us: entry.hybrid_wall_us, count: entry.hybrid_count }));
      const hybrid = newest.sort(compareTimes).reduce((last, seen) => (compareTimes(seen, last) > 0 ? receive(last, seen, byProgram) : last), now.hybrid);
      const after = { ...now, hybrid, arrived: through };
      return { kept: after, others: foreign, result: after };
    });
    this.take(kept, others);
  }

  async note(part: Partial<Omit<Kept, 'device' | 'sequence' | 'hybrid'>>): Promise<void> {
    const kept = await this.shelf.change((now) => {
      const after = { ...now, ...part };
      return { kept: after, result: after };
    });
    this.take(kept, []);
  }

  /** All up to here are on the program's disk, but for these. */
  acknowledge(sequence: number, refused: readonly Refused[] = []): Promise<void> {
    return this.settle((now) => ({ sent: Math.max(now.sent, Math.min(sequence, now.sequence)) }), [], refused);
  }

  /** Of those that were refused, these were sent once more, and these refused again. */
  triedAgain(tried: readonly number[], refused: readonly Refused[]): Promise<void> {
    return this.settle(() => ({}), tried, refused);
  }

  private async settle(part: (now: Kept) => Partial<Kept>, tried: readonly number[], refused: readonly Refused[]): Promise<void> {
    const gone = new Set([...tried, ...refused.map(({ sequence }) => sequence)]);
    const kept = await this.shelf.change((now) => {
      const left = [...now.refused.filter(({ sequence }) => !gone.has(sequence)), ...refused].sort((a, b) => a.sequence - b.sequence);
      const after = { ...now, ...part(now), refused: left };
      return { kept: after, result: after };
    });
    this.take(kept, []);
  }

  async keepPhoto(photo: Photo): Promise<void> {
    this.take(await this.shelf.change((now) => ({ kept: now, photo, result: now })), []);
  }

  private take(kept: Kept, more: readonly Entry[]): void {
    this.kept = kept;
    if (more.length > 0) this.entries = inOrder([...this.entries, ...more]);
    this.tell();
  }
}

/** A file that the laptop takes in, when no network ever comes. */
export async function queueFile({ shelf, kept }: { shelf: Shelf; kept: Kept }, nowMs: number): Promise<string> {
  const own = await shelf.ownAfter(0, 2 ** 31);
  const photos: Record<string, string> = {};
  for (const photo of await shelf.photos(false)) photos[photo.sha256] = base64(new Uint8Array(photo.bytes));
  const { study, identity, device } = kept;
  return JSON.stringify({ backeddy_queue: 1, study, identity, device, made_us: Math.round(nowMs * 1000), entries: own, photos });
}

function base64(bytes: Uint8Array): string {
  let text = '';
  for (let i = 0; i < bytes.length; i += 0x8000) text += String.fromCharCode(...bytes.subarray(i, i + 0x8000));
  return btoa(text);
}
