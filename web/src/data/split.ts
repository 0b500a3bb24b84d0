// A stay that is cut at a moment: what is before and what is after belong together no more. In rows of the tables that are
// there already: the stay's row ends at the moment, a new stay begins there, and what was said of the later part goes with it.
import type { Wish } from '../server/api';
import { instantOf } from './cells';
import type { CellWish, SheetRow } from './sheet';
import { canBeNamed, textOf, writing, type StudyTable } from './tables';

export type Happening = 'opened' | 'disturbance' | 'anaesthetic' | '';

/** What people say of it, and the event that tells it. */
export const happenings: { event: Happening; words: string }[] = [
  { event: 'opened', words: 'the chamber was opened' },
  { event: 'disturbance', words: 'the fish was disturbed' },
  { event: 'anaesthetic', words: 'an anaesthetic was given' },
  { event: '', words: 'something else, as the reason says' },
];

export interface SplitTables {
  stays: StudyTable;
  decisions: StudyTable;
  events: StudyTable;
}

export type Splitting = { wishes: Wish[]; name: string; fault: '' } | { wishes: null; name: ''; fault: string };

const refused = (fault: string): Splitting => ({ wishes: null, name: '', fault });

/** "s05-2", or the next number that no stay has. */
export function newStayName(stay: string, taken: string[]): string {
  const base = stay.replace(/-\d+$/, '');
  let n = Number(/-(\d+)$/.exec(stay)?.[1] ?? 1) + 1;
  while (taken.includes(`${base}-${n}`)) ++n;
  return `${base}-${n}`;
}

/** `moment`: ISO 8601 with its offset. */
export function splitting({ stays, decisions, events }: SplitTables, stay: string, moment: string, what: Happening, reason: string): Splitting {
  const zone = stays.habits.zone;
  const cut = Date.parse(moment);
  if (!Number.isFinite(cut)) return refused(`“${moment}” is no moment: write it like 2026-06-14T21:05:30Z`);
  const timeOf = (table: StudyTable, row: SheetRow, name: string) => instantOf(textOf(table, row, name), zone);
  const own = stays.rows.filter((row) => textOf(stays, row, 'stay') === stay);
  const inner = own.find((row) => (timeOf(stays, row, 'from') ?? Infinity) < cut && cut < (timeOf(stays, row, 'to') ?? -Infinity));
  if (!inner) return refused(`the moment lies in no stretch of the stay ${stay}`);
  const lastGood = own.map((row) => timeOf(stays, row, 'last_good')).find((at) => at !== null) ?? null;
  if (lastGood !== null && lastGood <= cut) return refused(`nothing after the stay’s last good moment is used: there is nothing to split off`);

  const later = own.filter((row) => row !== inner && (timeOf(stays, row, 'from') ?? -Infinity) > cut);
  const name = newStayName(stay, stays.rows.map((row) => textOf(stays, row, 'stay')));
  const ofStay = (table: StudyTable) => table.rows.filter((row) => textOf(table, row, 'stay') === stay);
  const movedDecisions = ofStay(decisions).filter((row) => (timeOf(decisions, row, 'moment') ?? -Infinity) >= cut);
  const wholeDecisions = ofStay(decisions).filter((row) => textOf(decisions, row, 'moment') === '');
  const movedEvents = ofStay(events).filter((row) => (timeOf(events, row, 'at') ?? -Infinity) > cut);
  const nameless: [StudyTable, SheetRow] | undefined = (
    [...[inner, ...later].map((row) => [stays, row]), ...movedDecisions.map((row) => [decisions, row]), ...movedEvents.map((row) => [events, row])] as [StudyTable, SheetRow][]
  ).find(([, row]) => !canBeNamed(row));
  if (nameless) return refused(`line ${nameless[1].line} of ${nameless[0].table}.csv stands there twice: mend that first`);

  const at = new Date(cut).toISOString().replace('.000Z', 'Z');
  const set = (table: StudyTable, row: SheetRow, column: string, text: string): CellWish[] => {
    const found = table.columns.find((each) => each.name === column);
    return found && textOf(table, row, column) !== text ? [{ row, draft: 'new', column: found, text }] : [];
  };
  const cellsOf = (table: StudyTable, row: SheetRow): Record<string, string> =>
    Object.fromEntries(table.columns.map((column) => [column.name, textOf(table, row, column.name)] as const).filter(([, text]) => text !== ''));
  const added = (table: string, row: Record<string, string>): Wish => ({ act: 'add', content: { table, row }, reason });
  const fish = textOf(stays, inner, 'fish');

  const wishes: Wish[] = [
    // How a stay ended is told of its last stretch, and its last good moment may be in any: both go with the later part.
    ...writing(stays, [...set(stays, inner, 'to', at), ...set(stays, inner, 'ended', ''), ...set(stays, inner, 'last_good', ''), ...later.flatMap((row) => set(stays, row, 'stay', name))], reason),
    added('stays', { ...cellsOf(stays, inner), stay: name, from: at }),
    ...writing(decisions, movedDecisions.flatMap((row) => set(decisions, row, 'stay', name)), reason),
    ...wholeDecisions.map((row) => added('decisions', { ...cellsOf(decisions, row), stay: name })),
    ...writing(events, movedEvents.flatMap((row) => set(events, row, 'stay', name)), reason),
    // It lies at the bounds of both stays, and is told of the fish, or of the chamber.
    ...(what === '' ? [] : [added('events', { at, event: what, ...(fish === '' ? { assembly: textOf(stays, inner, 'assembly') } : { fish }), note: reason })]),
  ];
  return { wishes, name, fault: '' };
}
