// The queues of this browser: one for each study that this phone has logged for. A queue is never thrown away.
import { newDevice } from './entry';
import { DatabaseShelf, openDatabase, type Kept } from './shelf';
import { keep, kept } from '../app/kept';

const first = 'backeddy-deck';
const isOurs = (name: string): boolean => name === first || /^backeddy-deck-\d+$/.test(name);

export const currentName = (): string => {
  const name = kept('deck queue') ?? first;
  return isOurs(name) ? name : first;
};

const openShelf = async (name: string): Promise<DatabaseShelf> => new DatabaseShelf(await openDatabase(name), newDevice);
export const openCurrent = (): Promise<DatabaseShelf> => openShelf(currentName());

async function names(): Promise<string[]> {
  const found = typeof indexedDB.databases === 'function' ? (await indexedDB.databases()).map(({ name }) => name ?? '') : [];
  return [...new Set([first, currentName(), ...found.filter(isOurs)])];
}

export interface KnownQueue {
  name: string;
  shelf: DatabaseShelf;
  kept: Kept;
}

export async function allQueues(): Promise<KnownQueue[]> {
  return Promise.all((await names()).map(async (name) => {
    const shelf = await openShelf(name);
    return { name, shelf, kept: (await shelf.load()).kept };
  }));
}

/** The queue of that study, or a new one; the page has to be loaded anew. */
export async function changeTo(identity: string): Promise<void> {
  const all = await allQueues();
  const known = all.find((each) => each.kept.identity === identity);
  const numbers = all.map(({ name }) => Number(/\d+$/.exec(name)?.[0] ?? 1));
  keep('deck queue', known?.name ?? `${first}-${Math.max(1, ...numbers) + 1}`);
}
