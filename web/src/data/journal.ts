// What the journal's entries say to people: what was done, what of it can be undone and done again.
import type { Results, Stay } from './results';
import type { Entry, Wish } from '../server/api';
import type { About } from '../server/unsent';
import { seconds, spoken } from './read';

/** Whoever opened the program on the machine itself has no name of their own; so the program writes it. */
export const authorOf = (sessionName: string): string => (sessionName === '' ? 'somebody at this machine' : sessionName);

/** What stands under a name in an entry's content, which these pages may not be able to read. */
const inContent = (content: unknown, name: string): unknown => (typeof content === 'object' && content !== null ? (content as Record<string, unknown>)[name] : undefined);

const textIn = (content: unknown, name: string): string => {
  const value = inContent(content, name);
  return typeof value === 'string' ? value : '';
};

const lastOf = <T>(list: readonly T[], is: (each: T, i: number) => boolean): T | undefined => {
  for (let i = list.length - 1; i >= 0; --i) {
    const each = list[i] as T;
    if (is(each, i)) return each;
  }
  return undefined;
};

type Texts = Record<string, string>;
const textsIn = (content: unknown, name: string): Texts => {
  const value = inContent(content, name);
  return typeof value === 'object' && value !== null ? (value as Texts) : {};
};

/** Entries that were wished together share the word before the last dot, those of one press on Deck its word. */
const groupWord = (entry: Entry): string => {
  const word = textIn(entry.content, 'wish');
  return word === '' ? textIn(entry.content, 'press') || entry.id : word.replace(/\.\d+$/, '');
};

/** Done on these pages: what was pressed on Deck is taken back there, and a note of what became of a file changes nothing. */
const isOfPages = (entry: Entry): boolean => textIn(entry.content, 'press') === '' && entry.act !== 'record';

export const isUndo = (entry: Entry): boolean => entry.act === 'undo';

/** The entries written in one with this one, itself included, in their order. */
export const together = (entries: Entry[], entry: Entry): Entry[] => entries.filter((each) => groupWord(each) === groupWord(entry) && each.author === entry.author);

/** What `author` did last on any of the pages and still holds; null where there is nothing. */
export function lastDone(entries: Entry[], author: string): Entry | null {
  return lastOf(entries, (each) => each.author === author && isOfPages(each) && !isUndo(each) && !each.is_undone) ?? null;
}

/** What `author` undid last, and nothing new was done since: the undo entry that would be undone. */
export function lastUndone(entries: Entry[], author: string): Entry | null {
  const own = entries.filter((each) => each.author === author && isOfPages(each));
  const lastNew = lastOf(own, (each) => !isUndo(each))?.number ?? 0;
  return lastOf(own, (each) => isUndo(each) && !each.is_undone && each.number > lastNew && !isUndoOfUndo(entries, each)) ?? null;
}

const targetOf = (entries: Entry[], undo: Entry): Entry | undefined => entries.find((each) => each.id === textIn(undo.content, 'entry'));

function isUndoOfUndo(entries: Entry[], undo: Entry): boolean {
  const target = targetOf(entries, undo);
  return target !== undefined && isUndo(target);
}

/** The undo that holds an entry undone, or undefined. */
export const undoOf = (entries: Entry[], entry: Entry): Entry | undefined =>
  lastOf(entries, (each) => isUndo(each) && !each.is_undone && textIn(each.content, 'entry') === entry.id);

/** Wishes that undo an entry and what was written in one with it, the last first. */
export const undoing = (entries: Entry[], entry: Entry, reason: string): Wish[] =>
  together(entries, entry)
    .filter((each) => !each.is_undone)
    .reverse()
    .map((each) => ({ act: 'undo', content: { entry: each.id }, reason }));

// ---- in words

const stayOf = (results: Results | null, id: string): Stay | undefined =>
  results?.fish.flatMap((fish) => fish.stays).find((stay) => stay.id === id) ?? results?.blanks.find((stay) => stay.id === id);

/** The spell of a stay that was sealed at a moment; null where none was. */
export function spellAtMoment(stay: Stay, moment: string): number | null {
  const at = seconds(moment);
  return lastOf(stay.spells.number, (_, i) => at >= seconds(stay.spells.sealed_from[i] ?? '') && at <= sealedEnd(stay, i)) ?? null;
}

/** s since 1970: when a spell's chamber was opened again, as far as the states tell; its last used reading otherwise. */
export function sealedEnd(stay: Stay, spell: number): number {
  const last = seconds(stay.spells.to[spell] ?? '');
  const run = lastOf(stay.trace.states, (each) => each.state === 'sealed' && seconds(each.from) <= last);
  return run ? Math.max(last, seconds(run.to)) : last;
}

const rowOf = (entries: Entry[], entry: Entry): Texts => {
  const adding = textIn(entry.content, 'added_by');
  const found = adding === '' ? undefined : entries.find((each) => each.id === adding);
  return textsIn((found ?? entry).content, 'row');
};

/** What an entry is about, for its numbers and the way there. */
export function aboutOf(entries: Entry[], entry: Entry, results: Results | null): About {
  const meant = isUndo(entry) ? targetOf(entries, entry) : entry;
  if (!meant) return { fish: '', stay: '', spell: null };
  if (isUndo(meant)) return aboutOf(entries, meant, results);
  const row = rowOf(entries, meant);
  const stay = stayOf(results, row.stay ?? '');
  return { fish: row.fish ?? stay?.fish ?? '', stay: row.stay ?? '', spell: stay && row.moment ? spellAtMoment(stay, row.moment) : null };
}

function decisionWords(row: Texts): string {
  switch (row.act) {
    case 'mark':
      return `marked ${row.value ?? ''}`;
    case 'exclude':
      return 'left out';
    case 'include':
      return 'taken in again';
    case 'move_start':
      return 'first used reading moved';
    case 'move_end':
      return 'last used reading moved';
    default:
      return 'note';
  }
}

function placeWords(row: Texts, results: Results | null): string {
  const stay = stayOf(results, row.stay ?? '');
  const spell = stay && row.moment ? spellAtMoment(stay, row.moment) : null;
  return spell === null ? `stay ${row.stay ?? ''}` : `stay ${row.stay ?? ''}, spell ${spell}`;
}

const rowWords = (table: string, row: Texts): string =>
  table === 'events' ? [spoken(row.event ?? 'event'), row.fish, row.at].filter(Boolean).join(', ') : Object.values(row).slice(0, 2).join(', ');

/** "stay s03, spell 12: excluded"; "fish T01: mass_g 500 → 512"; "undone: ..." */
export function wordsOf(entries: Entry[], entry: Entry, results: Results | null): string {
  if (isUndo(entry)) {
    const target = targetOf(entries, entry);
    if (!target) return 'undone: what is not here';
    return isUndo(target) ? `done again: ${wordsOf(entries, targetOf(entries, target) ?? target, results)}` : `undone: ${wordsOf(entries, target, results)}`;
  }
  const table = textIn(entry.content, 'table');
  const row = rowOf(entries, entry);
  if (table === 'decisions' && entry.act === 'add') return `${placeWords(row, results)}: ${decisionWords(row)}`;
  const whose = table === 'decisions' ? placeWords(row, results) : `${table} ${rowWords(table, row)}`;
  if (entry.act === 'add') return `added to ${whose}`;
  if (entry.act === 'withdraw') return `${whose}: taken out`;
  const cells = textsIn(entry.content, 'cells') as unknown as Record<string, { was: string; now: string }>;
  return `${whose}: ${Object.entries(cells).map(([column, { was, now }]) => `${column} ${was || 'empty'} → ${now || 'empty'}`).join('; ')}`;
}

/** On which page an entry was made: "on Traces", "in fish.csv". */
function whereOf(entry: Entry): string {
  const table = textIn(entry.content, 'table');
  return table === '' ? '' : table === 'decisions' ? ' on Traces' : ` in ${table}.csv`;
}

/** "undone in fish.csv: fish T01: mass_g 500 → 512"; of an undo that is taken back: "done again ...". */
export function backWords(entries: Entry[], entry: Entry, results: Results | null): string {
  const meant = isUndo(entry) ? (targetOf(entries, entry) ?? entry) : entry;
  const all = together(entries, meant).filter((each) => !isUndo(each));
  const words = all.map((each) => wordsOf(entries, each, results));
  const told = words.length > 3 ? `${words.slice(0, 3).join('; ')}; and ${words.length - 3} more` : words.join('; ');
  return `${isUndo(entry) ? 'done again' : 'undone'}${whereOf(meant)}: ${told || 'what is not here'}`;
}
