// Where a phone keeps its queue: one transaction at a time, whole or not at all. In the browser that is IndexedDB; `change`
// is done when the disk is asked to have it, not before.
import type { Entry, HybridTime } from './entry';

/** Why the program did not take an entry, and what to do. */
export interface Refused {
  sequence: number;
  why: string;
  whatToDo: string;
}

/** What is known beside the entries themselves. */
export interface Kept {
  /** this queue's own device; made once, never used again elsewhere */
  device: string;
  /** of the last own entry; 0: none yet */
  sequence: number;
  hybrid: HybridTime;
  /** of the study's journal; '' until the program was met */
  identity: string;
  study: string;
  /** all own entries up to this one are acknowledged, or refused */
  sent: number;
  /** own entries that the program did not take, in their order: they wait here, the others go past them */
  refused: Refused[];
  /** the program's count of arrivals that were taken */
  arrived: number;
  offsetUs: number | null;
  /** the program's last answer about the study, as JSON; '' for none */
  base: string;
  /** who logs on this phone */
  author: string;
  role: Entry['role'] | '';
  /** who it is paired for, where it may go from hand to hand: paired, for the crew; '' for no such phone */
  holder: string;
  /** who has such a phone in hand, where that is not its holder; '' for the holder */
  inHand: string;
  /** stands in the names of fish that this phone lands */
  mark: string;
}

export interface Photo {
  sha256: string;
  type: string;
  bytes: ArrayBuffer;
  isSent: boolean;
}

export interface Change<T> {
  kept: Kept;
  own?: Entry[];
  others?: Entry[];
  photo?: Photo;
  result: T;
}

export interface Shelf {
  load(): Promise<{ kept: Kept; own: Entry[]; others: Entry[] }>;
  /** One transaction: `how` sees what stands and says what shall stand. Other tabs wait for their turn. */
  change<T>(how: (kept: Kept) => Change<T>): Promise<T>;
  /** Own entries after this one, in order, at most so many. */
  ownAfter(sequence: number, most: number): Promise<Entry[]>;
  /** Own entries of these numbers, in order. */
  ownOf(sequences: readonly number[]): Promise<Entry[]>;
  photos(onlyUnsent: boolean): Promise<Photo[]>;
}

const letters = 'ABCDEFGHJKLMNPQRSTUVWXYZ';

/** Two letters that another phone is not likely to have. */
export const markOf = (device: string): string =>
  [device.slice(0, 4), device.slice(4, 8)].map((part) => letters[parseInt(part, 16) % letters.length] ?? 'A').join('');

export const freshKept = (device: string): Kept => ({
  device, sequence: 0, hybrid: { wall_us: 0, count: 0 }, identity: '', study: '', sent: 0, refused: [], arrived: 0, offsetUs: null, base: '', author: '', role: '',
  holder: '', inHand: '', mark: markOf(device),
});

// ---- IndexedDB

const done = <T>(request: IDBRequest<T>): Promise<T> =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error ?? new Error('the phone did not answer'));
  });

const stores = { about: 'about', own: 'own', others: 'others', photos: 'photos' } as const;

export function openDatabase(name: string): Promise<IDBDatabase> {
  const opening = indexedDB.open(name, 1);
  opening.onupgradeneeded = () => {
    const database = opening.result;
    database.createObjectStore(stores.about);
    database.createObjectStore(stores.own, { keyPath: 'sequence' });
    database.createObjectStore(stores.others, { keyPath: ['device', 'sequence'] });
    database.createObjectStore(stores.photos, { keyPath: 'sha256' });
  };
  return done(opening);
}

export class DatabaseShelf implements Shelf {
  private readonly database: IDBDatabase;
  private readonly newDevice: () => string;

  constructor(database: IDBDatabase, newDevice: () => string) {
    this.database = database;
    this.newDevice = newDevice;
  }

  async load(): Promise<{ kept: Kept; own: Entry[]; others: Entry[] }> {
    // The first opening gives the device its name, on disk before it is used.
    const kept = await this.change((each) => ({ kept: each, result: each }));
    const transaction = this.database.transaction([stores.own, stores.others]);
    const [own, others] = await Promise.all([done<Entry[]>(transaction.objectStore(stores.own).getAll()), done<Entry[]>(transaction.objectStore(stores.others).getAll())]);
    return { kept, own, others };
  }

  change<T>(how: (kept: Kept) => Change<T>): Promise<T> {
    return new Promise((resolve, reject) => {
      // strict: complete means that the disk has it, not that the system will write it some day.
      const transaction = this.database.transaction(Object.values(stores), 'readwrite', { durability: 'strict' });
      let result: { value: T } | null = null;
      let fault: unknown = null;
      transaction.oncomplete = () => (result ? resolve(result.value) : reject(new Error('nothing was kept')));
      transaction.onabort = () => reject(fault ?? transaction.error ?? new Error('this phone did not keep it'));
      const about = transaction.objectStore(stores.about);
      const asked = about.get('kept') as IDBRequest<(Partial<Kept> & Pick<Kept, 'device'>) | undefined>;
      asked.onsuccess = () => {
        try {
          // What an older page kept lacks what has come since.
          const change = how(asked.result ? { ...freshKept(asked.result.device), ...asked.result } : freshKept(this.newDevice()));
          about.put(change.kept, 'kept');
          // add, not put: an own entry that stands is never written over.
          for (const entry of change.own ?? []) transaction.objectStore(stores.own).add(entry);
          for (const entry of change.others ?? []) transaction.objectStore(stores.others).put(entry);
          if (change.photo) transaction.objectStore(stores.photos).put(change.photo);
          result = { value: change.result };
        } catch (error) {
          fault = error;
          transaction.abort();
        }
      };
    });
  }

  async ownAfter(sequence: number, most: number): Promise<Entry[]> {
    return done<Entry[]>(this.database.transaction(stores.own).objectStore(stores.own).getAll(IDBKeyRange.lowerBound(sequence, true), most));
  }

  async ownOf(sequences: readonly number[]): Promise<Entry[]> {
    const store = this.database.transaction(stores.own).objectStore(stores.own);
    const found = await Promise.all([...sequences].sort((a, b) => a - b).map((sequence) => done<Entry | undefined>(store.get(sequence))));
    return found.filter((entry) => entry !== undefined);
  }

  async photos(onlyUnsent: boolean): Promise<Photo[]> {
    const all = await done<Photo[]>(this.database.transaction(stores.photos).objectStore(stores.photos).getAll());
    return onlyUnsent ? all.filter((photo) => !photo.isSent) : all;
  }
}
