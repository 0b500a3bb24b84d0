// What the tests of Deck share: a shelf in memory that can fail, a program that keeps to the contract, phones, a study.
import { compareEntries, idOf, type Entry, type Role } from '../src/deck/entry';
import { Queue, type Clocks } from '../src/deck/queue';
import { freshKept, type Change, type Kept, type Photo, type Shelf } from '../src/deck/shelf';

export const base = {
  study: 'Skerry Voe', zone: 'UTC', identity: '00000000000000a1',
  permit: { number: 'SV-1', fish: 40, chases_per_fish: 1, air_s: 30, at_death: 'Stop and call the permit holder.' },
  rods: ['port bow', 'port aft', 'starboard bow', 'starboard aft'], rigs: ['single', 'treble'], unhooking: ['in water'], landing: ['net'],
  hook_locations: ['upper_jaw', 'lower_jaw'], lost_reasons: ['threw the hook', 'line broke'], handling: ['measured'], species: ['Salmo trutta'], anaesthetics: ['none'],
  blood: { ceiling_ml_per_kg: 1.5, ceiling_within_h: null, due_min: 45 }, seal_within_s: 120, assemblies: [{ assembly: 'tube 1', volume_l: 12 }, { assembly: 'tank 1', volume_l: 50 }],
  fins: { fins: ['dorsal', 'caudal'], scale: ['whole', 'slight', 'severe'] }, body: { scale: ['none', 'slight', 'heavy'] }, reflexes: ['righting', 'tail grab'],
  words: { role: ['after_capture', 'rest', 'after_chase'] },
  rows: {
    fish: [{ cells: { fish: 'T01', species: 'Salmo trutta', mass_g: '400.5' }, in_file: { mass_g: '400,5' } }],
    events: [{ cells: { at: '2026-05-01T08:00:00Z', event: 'released', fish: 'T01' }, in_file: { at: '01.05.2026 09:00' } }],
  },
};

export class MemoryShelf implements Shelf {
  kept: Kept | null = null;
  own: Entry[] = [];
  others = new Map<string, Entry>();
  pictures = new Map<string, Photo>();
  /** the disk refuses */
  isFull = false;
  private turn: Promise<unknown> = Promise.resolve();
  private readonly device: string;

  constructor(device: string) {
    this.device = device;
  }

  async load() {
    const kept = await this.change((each) => ({ kept: each, result: each }));
    return { kept, own: [...this.own], others: [...this.others.values()] };
  }

  change<T>(how: (kept: Kept) => Change<T>): Promise<T> {
    const mine = this.turn.then(async () => {
      await Promise.resolve();
      const change = how(structuredClone(this.kept ?? freshKept(this.device)));
      if (this.isFull) throw new Error('no room is left');
      this.kept = change.kept;
      for (const entry of change.own ?? []) {
        if (this.own.some((each) => each.sequence === entry.sequence)) throw new Error('a sequence twice');
        this.own.push(entry);
      }
      for (const entry of change.others ?? []) this.others.set(idOf(entry), entry);
      if (change.photo) this.pictures.set(change.photo.sha256, change.photo);
      return change.result;
    });
    this.turn = mine.catch(() => undefined);
    return mine;
  }

  ownAfter(sequence: number, most: number) {
    return Promise.resolve(this.own.filter((each) => each.sequence > sequence).slice(0, most));
  }

  ownOf(sequences: readonly number[]) {
    return Promise.resolve(this.own.filter(({ sequence }) => sequences.includes(sequence)).sort((a, b) => a.sequence - b.sequence));
  }

  photos(onlyUnsent: boolean) {
    return Promise.resolve([...this.pictures.values()].filter((each) => !onlyUnsent || !each.isSent));
  }
}

/** A program that keeps to the contract; `answers` lets a test have it fail. */
export class Program {
  identity = base.identity;
  arrived: Entry[] = [];
  role: Role = 'crew';
  name = 'A. Keen';
  label = '';
  nowUs = () => 0;
  /** by path: a status to answer instead, or 'away'; 'lost answer': done, and nobody hears of it */
  faults: Record<string, number | 'away' | 'lost answer'> = {};
  asked: string[] = [];
  /** takes only what who is signed in wrote */
  onlyOwn = false;
  /** no batch with this entry is taken */
  unreadable: { sequence: number; status: number } | null = null;

  add(entries: readonly Entry[]): void {
    for (const entry of entries) if (!this.arrived.some((each) => idOf(each) === idOf(entry))) this.arrived.push(entry);
  }

  sorted(): Entry[] {
    return [...this.arrived].sort(compareEntries);
  }

  private carry(entries: Entry[]): unknown {
    if (entries.some(({ sequence }) => sequence === this.unreadable?.sequence)) return new Response(JSON.stringify({ detail: 'not readable', remedy: 'write it anew' }), { status: this.unreadable?.status ?? 400 });
    const refused = entries.filter(({ author }) => this.onlyOwn && author !== this.name);
    this.add(entries.filter((entry) => !refused.includes(entry)));
    return { through: this.arrived.length, refused: refused.map((entry) => ({ id: idOf(entry), detail: `written by ${entry.author}`, remedy: `let ${entry.author} sign in` })) };
  }

  private answer(path: string, after: number, body: string): unknown {
    switch (path) {
      case '/api/session':
        return { name: this.name, role: this.role, change_token: 'token', ...(this.label === '' ? {} : { label: this.label }) };
      case '/api/deck':
        return { ...base, identity: this.identity, study: this.identity === base.identity ? base.study : 'Another Voe' };
      case '/api/clock':
        return { now_us: this.nowUs() };
      case '/api/entries/arrived': {
        const entries = this.arrived.slice(after, after + 100);
        return { identity: this.identity, through: Math.min(this.arrived.length, after + 100), entries };
      }
      case '/api/entries/carried':
        return this.carry((JSON.parse(body) as { entries: Entry[] }).entries);
      default:
        return {};
    }
  }

  fetcher = (async (address: string, init: RequestInit = {}) => {
    await Promise.resolve();
    const [path = '', query = ''] = address.split('?');
    this.asked.push(`${init.method ?? 'GET'} ${path}`);
    const fault = this.faults[path] ?? this.faults['*'];
    if (fault === 'away') throw new TypeError('fetch failed');
    if (typeof fault === 'number') return new Response(JSON.stringify({ detail: 'refused', remedy: 'do this' }), { status: fault });
    const body = this.answer(path, Number(/after=(\d+)/.exec(query)?.[1] ?? 0), String(init.body ?? ''));
    if (body instanceof Response) return body;
    if (fault === 'lost answer') throw new TypeError('fetch failed');
    return new Response(JSON.stringify(body), { status: 200 });
  }) as typeof fetch;
}

export const start = Date.parse('2026-06-08T06:00:00Z');

export interface Phone {
  queue: Queue;
  shelf: MemoryShelf;
  clock: { ms: number };
}

let words = 0;

export async function phone(device: string, options: { ms?: number; shelf?: MemoryShelf; author?: string; role?: Role } = {}): Promise<Phone> {
  const clock = { ms: options.ms ?? start };
  const clocks: Clocks = { wall: () => clock.ms, monotonic: () => clock.ms - start, boot: `boot of ${device.slice(-2)}`, word: () => `p${++words}` };
  const shelf = options.shelf ?? new MemoryShelf(device);
  const queue = await Queue.open(shelf, clocks, () => undefined);
  await queue.note({ author: options.author ?? 'A. Keen', role: options.role ?? 'crew', identity: base.identity, study: base.study, base: JSON.stringify(base) });
  return { queue, shelf, clock };
}

/** A run of numbers from 0 to 1 that a seed makes the same again (xorshift32). */
export function chance(seed: number): () => number {
  let x = seed * 2654435761 || 1;
  return () => {
    x ^= x << 13;
    x ^= x >>> 17;
    x ^= x << 5;
    return (x >>> 0) / 2 ** 32;
  };
}

export function shuffled<T>(list: readonly T[], random: () => number): T[] {
  const out = [...list];
  for (let i = out.length - 1; i > 0; --i) {
    const j = Math.floor(random() * (i + 1));
    [out[i], out[j]] = [out[j] as T, out[i] as T];
  }
  return out;
}
