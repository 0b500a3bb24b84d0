// What was typed into the tables and not taken yet, and what can be undone: kept while the pages are open, also while
// another page is shown.
import { Typed } from '../../data/sheet';

export interface SheetMemory {
  typed: Typed;
  /** ids of the entries that each act wrote, the youngest last */
  done: string[][];
  /** of what was undone: the entries themselves, and those that undo them */
  undone: { ids: string[]; by: string[] }[];
  /** batches that found no way to the program, and why */
  unsent: Map<number, string>;
  /** what was sent of a batch, and the word by which the program knows it again if its answer was lost */
  words: Map<number, { wishes: string; word: string }>;
}

/** A word that no other device makes. */
export const newWord = (): string => [...crypto.getRandomValues(new Uint8Array(12))].map((byte) => byte.toString(16).padStart(2, '0')).join('');

/** The same wishes of a batch have one word, however often they are sent; others have another. */
export function wordOf(memory: SheetMemory, batch: number, wishes: string): string {
  const there = memory.words.get(batch);
  const word = there?.wishes === wishes ? there.word : newWord();
  memory.words.set(batch, { wishes, word });
  return word;
}

const all = new Map<string, SheetMemory>();

export function sheetMemory(table: string): SheetMemory {
  const there: SheetMemory = all.get(table) ?? { typed: new Typed(), done: [], undone: [], unsent: new Map(), words: new Map() };
  all.set(table, there);
  return there;
}

/** Whether anything typed would be lost with the page. */
export const isAnythingTyped = (): boolean => [...all.values()].some((each) => each.typed.count > 0);
