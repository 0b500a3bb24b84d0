// A field sheet as it is typed in: its head, its lines or boxes as texts, once or twice.
import type { FieldSettings } from './settings';
import { boxesOf, fishParts, type Box } from './fish_sheet';

export type TypedKind = 'deck' | 'fish';
export type Cells = Record<string, string>;

export interface Typing {
  /** who typed it */
  by: string;
  head: Cells;
  /** of a deck sheet its lines; of a fish sheet one, its boxes */
  rows: Cells[];
  isDone: boolean;
}

export interface SheetDraft {
  id: string;
  /** of the journal that it is for */
  study: string;
  kind: TypedKind;
  begunAt: string;
  first: Typing;
  second: Typing | null;
  /** how differences were settled, by their keys */
  settled: Cells;
  /** rows of the study that were said to be entered or not, against what is proposed */
  said: Record<string, boolean>;
  /** what was sent last, and the word by which the program knows it again if its answer was lost */
  sent: { wishes: string; word: string } | null;
  entered: { at: string; rows: number } | null;
}

export type CellKind = Box['kind'] | 'event' | 'date' | 'value';

export interface TypedColumn {
  name: string;
  title: string;
  kind: CellKind;
  words: string[];
}

const column = (name: string, title: string, kind: CellKind, words: string[] = []): TypedColumn => ({ name, title, kind, words });

export const headColumns = (kind: TypedKind): TypedColumn[] => [
  column('sheet', 'Sheet no.', 'text'),
  ...(kind === 'fish' ? [column('fish', 'Fish', 'name'), column('encounter', 'Encounter', 'name')] : []),
  column('date', 'Date', 'date'),
  column('who', 'Who', 'text'),
  column('sure', 'Watch ± s', 'number'),
];

export const deckColumns = (settings: FieldSettings): TypedColumn[] => [
  column('time', 'Time', 'time'),
  column('event', 'What', 'event'),
  column('rod', 'Rod', 'text', settings.rods),
  column('rig', 'Rig', 'text', settings.rigs),
  column('fish', 'Fish', 'name'),
  column('assembly', 'Chamber', 'name', settings.assemblies),
  column('value', 'Value, unit', 'value'),
  column('note', 'Note; lost: why', 'text', settings.lost_reasons),
];

export const columnsOf = (kind: TypedKind, settings: FieldSettings): TypedColumn[] =>
  kind === 'deck' ? deckColumns(settings) : boxesOf(fishParts(settings)).map(({ id, title, unit, kind: of, words }) => column(id, unit === '' ? title : `${title}, ${unit}`, of, words));

export const emptyTyping = (kind: TypedKind, by: string, date: string): Typing => ({ by, head: { date }, rows: kind === 'deck' ? [] : [{}], isDone: false });

export const textIn = (cells: Cells, name: string): string => (cells[name] ?? '').trim();
export const isEmptyRow = (row: Cells): boolean => Object.values(row).every((each) => each.trim() === '');

/** "Deck sheet 3 of 2026-06-08" */
export function sheetName(draft: Pick<SheetDraft, 'kind'>, head: Cells): string {
  const what = draft.kind === 'deck' ? 'deck sheet' : textIn(head, 'fish') === '' ? 'fish sheet' : `fish sheet of ${textIn(head, 'fish')}`;
  return [what, textIn(head, 'sheet') === '' ? '' : `no. ${textIn(head, 'sheet')}`, textIn(head, 'date')].filter(Boolean).join(', ');
}

// ---------------------------------------------------------------- kept on the device

const isCells = (value: unknown): value is Cells => typeof value === 'object' && value !== null && Object.values(value).every((each) => typeof each === 'string');
const isTyping = (value: unknown): value is Typing => {
  const typing = value as Partial<Typing> | null;
  return typeof typing === 'object' && typing !== null && typeof typing.by === 'string' && isCells(typing.head) && Array.isArray(typing.rows) && typing.rows.every(isCells) && typeof typing.isDone === 'boolean';
};

/** What was kept, where it can be read. */
export function draftOf(text: string | null): SheetDraft | null {
  try {
    const draft = JSON.parse(text ?? 'null') as Partial<SheetDraft> | null;
    const isOne = typeof draft === 'object' && draft !== null && typeof draft.id === 'string' && typeof draft.study === 'string' && (draft.kind === 'deck' || draft.kind === 'fish')
      && isTyping(draft.first) && (draft.second === null || isTyping(draft.second)) && isCells(draft.settled) && typeof draft.said === 'object' && draft.said !== null;
    return isOne ? { ...(draft as SheetDraft), sent: draft.sent ?? null, entered: draft.entered ?? null } : null;
  } catch {
    return null;
  }
}
