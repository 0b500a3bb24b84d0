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
}

const all = new Map<string, SheetMemory>();

export function sheetMemory(table: string): SheetMemory {
  const there = all.get(table) ?? { typed: new Typed(), done: [], undone: [], unsent: new Map<number, string>() };
  all.set(table, there);
  return there;
}

/** Whether anything typed would be lost with the page. */
export const isAnythingTyped = (): boolean => [...all.values()].some((each) => each.typed.count > 0);
