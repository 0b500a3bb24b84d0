// Entries read as changes of the study's tables, and laid over the rows of its files: the same reading as src/app/edits.cpp
// and src/intake/detail/overlay.cpp have, so that a phone without the program shows what the program will show.
import { compareEntries, idOf, type Entry, type Role } from './entry';

export type Cells = Record<string, string>;

export interface Edit {
  entry: Entry;
  table: string;
  act: 'add' | 'set' | 'withdraw';
  row: Cells;
  addedBy: string;
  cells: Record<string, { was: string; now: string }>;
}

/** A row of a file: as entries write its cells, and whole as it stands there (local times, decimal commas). */
export interface FileRow {
  cells: Cells;
  inFile: Cells;
}

export interface Row {
  /** the entry that added it; '' for a row of a file */
  addedBy: string;
  cells: Cells;
  /** those that changed it, in their order */
  changes: { entry: Entry; column: string; was: string; now: string }[];
  /** of a row of a file: its cells as they stand there */
  inFile: Cells | null;
}

/** An entry that counts for nothing, or a cell that was left as it is. */
export interface Complaint {
  entry: Entry;
  text: string;
}

export type Tables = Record<string, Row[]>;

export const tableWords = [
  'fish', 'encounters', 'stays', 'events', 'assemblies', 'calibrations', 'clock_checks', 'decisions', 'declarations', 'blood', 'samples', 'plates', 'wells',
  'fins', 'body', 'reflexes', 'fates',
];
const ofScientists = new Set(['decisions', 'declarations', 'assemblies', 'calibrations', 'plates', 'wells']);
export const mayEdit = (role: Role, table: string): boolean => role === 'scientist' || (role === 'crew' && !ofScientists.has(table));

class Unreadable extends Error {}

type Fields = Record<string, unknown>;
const isObject = (value: unknown): value is Fields => typeof value === 'object' && value !== null && !Array.isArray(value);

function fieldsOf(content: string): Fields {
  try {
    const value: unknown = JSON.parse(content);
    if (isObject(value)) return value;
  } catch {
    // told below
  }
  throw new Unreadable('content that is no JSON object');
}

function textAt(from: Fields, name: string): string {
  const value = from[name];
  if (typeof value !== 'string') throw new Unreadable(`no text "${name}" in its content`);
  return value;
}

function filled(value: unknown, what: string): Fields {
  if (!isObject(value) || Object.keys(value).length === 0) throw new Unreadable(`no "${what}" in its content`);
  if (Object.keys(value).some((column) => column === '' || /[\r\n]/.test(column))) throw new Unreadable('a cell without a column');
  return value;
}

function rowAt(from: Fields): Cells {
  const row = filled(from.row, 'row');
  for (const [column, cell] of Object.entries(row)) if (typeof cell !== 'string') throw new Unreadable(`a cell "${column}" that is no text`);
  return row as Cells;
}

function changesAt(from: Fields): Edit['cells'] {
  const out: Edit['cells'] = {};
  for (const [column, change] of Object.entries(filled(from.cells, 'cells'))) {
    if (!isObject(change)) throw new Unreadable(`a change of "${column}" that is none`);
    out[column] = { was: textAt(change, 'was'), now: textAt(change, 'now') };
  }
  return out;
}

function editOf(entry: Entry): Edit {
  const from = fieldsOf(entry.content);
  const table = textAt(from, 'table');
  if (!tableWords.includes(table)) throw new Unreadable(`a table "${table}"`);
  if (!mayEdit(entry.role, table)) throw new Unreadable(`a change of ${table} by ${entry.author} (${entry.role})`);
  const out: Edit = { entry, table, act: entry.act as Edit['act'], row: {}, addedBy: '', cells: {} };
  if (entry.act !== 'add' && from.added_by !== undefined) out.addedBy = textAt(from, 'added_by');
  else out.row = rowAt(from);
  if (entry.act === 'set') out.cells = changesAt(from);
  return out;
}

type Read = { edit: Edit } | { undoes: string } | { nothing: true } | { fault: string };
// Entries never change: each is read once.
const readings = new WeakMap<Entry, Read>();

function readOne(entry: Entry): Read {
  try {
    if (entry.act === 'undo') {
      const undoes = textAt(fieldsOf(entry.content), 'entry');
      if (!/^[0-9a-f]{16}:[1-9]\d*$/.test(undoes)) throw new Unreadable(`an entry "${undoes}"`);
      return { undoes };
    }
    if (entry.act === 'add' || entry.act === 'set' || entry.act === 'withdraw') return { edit: editOf(entry) };
    if (entry.act === 'record') return { nothing: true };
    return { fault: `an act "${entry.act}"` };
  } catch (error) {
    if (error instanceof Unreadable) return { fault: error.message };
    throw error;
  }
}

function reading(entry: Entry): Read {
  const known = readings.get(entry) ?? readOne(entry);
  readings.set(entry, known);
  return known;
}

export interface ReadEntries {
  /** that count, in their order */
  edits: Edit[];
  undone: ReadonlySet<string>;
  complaints: Complaint[];
}

/** `entries` in their order. An undo that is undone itself undoes nothing. */
export function readEntries(entries: readonly Entry[]): ReadEntries {
  const places = new Map(entries.map((entry, i) => [idOf(entry), i]));
  const undone = new Set<string>();
  const complaints: Complaint[] = [];
  const edits: Edit[] = [];
  // From the last: what undoes it comes later and has been seen.
  for (let i = entries.length - 1; i >= 0; --i) {
    const entry = entries[i] as Entry;
    const read = reading(entry);
    if ('edit' in read) {
      if (!undone.has(idOf(entry))) edits.push(read.edit);
    } else if ('undoes' in read) {
      const place = places.get(read.undoes);
      const target = place === undefined ? undefined : entries[place];
      const fault = target === undefined ? `an undo of ${read.undoes}, which is not here` : compareEntries(target, entry) >= 0 ? `an undo of ${read.undoes}, which comes later`
        : entry.role === 'viewer' || (entry.role !== 'scientist' && target.role === 'scientist') ? `${entry.author} (${entry.role}) undoes what a ${target.role} did` : '';
      if (fault !== '') complaints.push({ entry, text: fault });
      else if (!undone.has(idOf(entry))) undone.add(read.undoes);
    } else if ('fault' in read) complaints.push({ entry, text: read.fault });
  }
  return { edits: edits.reverse(), undone, complaints: complaints.reverse() };
}

class Overlay {
  private readonly rows: Row[];
  private readonly byEntry = new Map<string, Row>();
  private readonly withdrawn = new Set<Row>();
  readonly complaints: Complaint[] = [];
  private readonly table: string;

  constructor(table: string, file: readonly FileRow[]) {
    this.table = table;
    this.rows = file.map(({ cells, inFile }) => ({ addedBy: '', cells: { ...cells }, changes: [], inFile }));
  }

  take(edit: Edit): void {
    if (edit.act === 'add') return this.add(edit);
    const row = this.find(edit);
    if (!row) return;
    if (edit.act === 'withdraw') this.withdrawn.add(row);
    else this.set(row, edit);
  }

  left(): Row[] {
    return this.rows.filter((row) => !this.withdrawn.has(row));
  }

  private add(edit: Edit): void {
    const row: Row = { addedBy: idOf(edit.entry), cells: Object.fromEntries(Object.entries(edit.row).filter(([, cell]) => cell !== '')), changes: [], inFile: null };
    let place = this.rows.length;
    // At the end, but for the parts of one stay, which stand together.
    if (this.table === 'stays') this.rows.forEach((each, i) => (place = (each.cells.stay ?? '') === (row.cells.stay ?? '') ? i + 1 : place));
    this.rows.splice(place, 0, row);
    this.byEntry.set(row.addedBy, row);
  }

  private find(edit: Edit): Row | undefined {
    // Its adding was undone: nothing to change, and no word needed.
    if (edit.addedBy !== '') return this.byEntry.get(edit.addedBy);
    const found = this.rows.filter(({ inFile }) => inFile !== null && Object.entries(edit.row).every(([column, cell]) => (inFile[column] ?? '') === cell));
    if (found.length === 1) return found[0];
    const cells = Object.entries(edit.row).map(([column, cell]) => `${column} = "${cell}"`).join(', ');
    this.complaints.push({ entry: edit.entry, text: found.length === 0 ? `the row it changes (${cells}) is not in ${this.table} any more` : `${found.length} rows of ${this.table} are the row it changes` });
    return undefined;
  }

  private set(row: Row, edit: Edit): void {
    for (const [column, { was, now }] of Object.entries(edit.cells)) {
      const there = row.cells[column] ?? '';
      const asInFile = row.changes.some((change) => change.column === column) ? there : (row.inFile?.[column] ?? there);
      if (there === was || asInFile === was) {
        row.cells[column] = now;
        row.changes.push({ entry: edit.entry, column, was, now });
      } else this.complaints.push({ entry: edit.entry, text: `${column} of ${this.table} holds "${there}" now, not "${was}" which was to become "${now}"` });
    }
  }
}

export interface LaidOver {
  tables: Tables;
  complaints: Complaint[];
  undone: ReadonlySet<string>;
}

/** The rows of the files with the entries, in their order, laid over them. */
export function layOver(files: Record<string, readonly FileRow[]>, entries: readonly Entry[]): LaidOver {
  const read = readEntries(entries);
  const overlays = new Map(tableWords.map((word) => [word, new Overlay(word, files[word] ?? [])]));
  for (const edit of read.edits) overlays.get(edit.table)?.take(edit);
  const tables: Tables = {};
  const complaints = [...read.complaints];
  for (const [word, overlay] of overlays) {
    tables[word] = overlay.left();
    complaints.push(...overlay.complaints);
  }
  return { tables, complaints, undone: read.undone };
}
