// What was typed into the tables and not taken yet: kept while the pages are open, also while
// another page is shown; what was typed is kept on the device as well, where a crash does not reach it.
import { keep, kept } from '../../app/kept';
import { Typed } from '../../data/sheet';

export interface SheetMemory {
  typed: Typed;
  /** batches that found no way to the program, and why */
  unsent: Map<number, string>;
  /** what was sent of a batch, and the word by which the program knows it again if its answer was lost */
  words: Map<number, { wishes: string; word: string }>;
  /** typed before the pages were opened, and not yet held against the rows that there are now */
  isFromBefore: boolean;
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
const placeOf = (study: string, table: string) => `grid ${study} ${table}`;

/** `study`: a program on the same address may serve another study another day. */
export function sheetMemory(study: string, table: string): SheetMemory {
  const place = placeOf(study, table);
  const there = all.get(place);
  if (there) return there;
  const fresh: SheetMemory = { typed: new Typed(), unsent: new Map(), words: new Map(), isFromBefore: false };
  fresh.typed.take(kept(place));
  fresh.words = wordsKept(kept(`${place} words`));
  fresh.isFromBefore = fresh.typed.count > 0;
  for (const batch of fresh.typed.openBatches()) fresh.unsent.set(batch, 'This was typed before the page was closed');
  all.set(place, fresh);
  return fresh;
}

/** Keeps what is typed and not taken; forgets what was. */
export function keepSheet(study: string, table: string, { typed, words }: SheetMemory): void {
  const place = placeOf(study, table);
  keep(place, typed.text());
  const open = new Set(typed.openBatches());
  const sent = [...words].filter(([batch]) => open.has(batch));
  keep(`${place} words`, sent.length > 0 ? JSON.stringify(sent) : null);
}

/** By these a batch that was sent, and whose answer was lost with the page, is not written twice. */
function wordsKept(text: string | null): SheetMemory['words'] {
  try {
    return new Map(JSON.parse(text ?? '[]') as [number, { wishes: string; word: string }][]);
  } catch {
    return new Map();
  }
}

/** Whether anything typed would be lost with the page. */
export const isAnythingTyped = (): boolean => [...all.values()].some((each) => each.typed.count > 0);
