// What the server says besides the results, checked at the door: a value of another shape is refused in words.
import type { DrawnTrace } from '../data/results';
import type { Copy } from './api';
import type { Entry } from './api';

export interface About {
  program: string;
  version: string;
  /** its title; empty where it is not said to strangers */
  study: string;
  /** where it lies; likewise */
  folder: string;
}

/** Who is signed in here. */
export interface Session {
  /** empty: whoever opened the printed address on the machine itself */
  name: string;
  role: string;
  /** goes back with whatever changes something */
  change_token: string;
}

export type Phase = 'reading' | 'computing' | 'ready' | 'stopped';

export interface Worry {
  severity: 'stops' | 'beware';
  text: string;
  file: string;
  line: number | null;
  column: string | null;
  remedy: string;
}

export interface ServerState {
  phase: Phase;
  /** what is being done, in words */
  what: string;
  done: number;
  total: number;
  unit: string;
  revision: string;
  /** when the results that are served were made; null while there are none */
  answered_at: string | null;
  /** of the journal: how many were looked at for the results, or for what stops them */
  entries: number;
  complaints: Worry[];
}

export interface SavedFile {
  name: string;
  bytes: number;
}

type Fields = Record<string, unknown>;

function fields(value: unknown, what: string): Fields {
  if (typeof value !== 'object' || value === null || Array.isArray(value)) throw new Error(`${what} is no object`);
  return value as Fields;
}

function text(from: Fields, name: string, what: string): string {
  const value = from[name];
  if (typeof value !== 'string') throw new Error(`${what}: "${name}" is no text`);
  return value;
}

const textOrNull = (value: unknown): string | null => (typeof value === 'string' && value !== '' ? value : null);
const numberOr = (value: unknown, otherwise: number): number => (typeof value === 'number' ? value : otherwise);

export function aboutOf(value: unknown): About {
  const from = fields(value, 'about');
  return {
    program: text(from, 'program', 'about'),
    version: text(from, 'version', 'about'),
    study: textOrNull(from.study) ?? '',
    folder: textOrNull(from.folder) ?? '',
  };
}

export function sessionOf(value: unknown): Session {
  const from = fields(value, 'session');
  return { name: text(from, 'name', 'session'), role: text(from, 'role', 'session'), change_token: text(from, 'change_token', 'session') };
}

const phases: readonly string[] = ['reading', 'computing', 'ready', 'stopped'];

function worryOf(value: unknown): Worry {
  const from = fields(value, 'complaint');
  return {
    severity: from.severity === 'stops' ? 'stops' : 'beware',
    text: text(from, 'text', 'complaint'),
    file: textOrNull(from.file) ?? '',
    line: typeof from.line === 'number' ? from.line : null,
    column: from.column === null || from.column === undefined ? null : textOrNull(String(from.column)),
    remedy: textOrNull(from.remedy) ?? '',
  };
}

export function stateOf(value: unknown): ServerState {
  const from = fields(value, 'state');
  const phase = text(from, 'phase', 'state');
  if (!phases.includes(phase)) throw new Error(`state: "${phase}" is no phase these pages know`);
  return {
    phase: phase as Phase,
    what: textOrNull(from.what) ?? '',
    done: numberOr(from.done, 0),
    total: numberOr(from.total, 0),
    unit: textOrNull(from.unit) ?? '',
    revision: String(from.revision ?? ''),
    answered_at: textOrNull(from.answered_at),
    entries: numberOr(from.entries, 0),
    complaints: Array.isArray(from.complaints) ? from.complaints.map(worryOf) : [],
  };
}

/** Where the journal's copy stands; null where there is none. */
export function copyOf(value: unknown): Copy | null {
  if (value === null) return null;
  const from = fields(value, 'copy');
  return {
    folder: text(from, 'folder', 'copy'),
    behind: numberOr(from.behind, 0),
    trouble: textOrNull(from.trouble) ?? '',
    complete: textOrNull(from.complete),
  };
}

export function filesOf(value: unknown): SavedFile[] {
  if (!Array.isArray(value)) throw new Error('the list of files is no list');
  return value.map((each) => {
    const from = fields(each, 'file');
    return { name: text(from, 'name', 'file'), bytes: numberOr(from.bytes, 0) };
  });
}

/** The words of numbers that have a road back. */
export function wordsOf(value: unknown): string[] {
  if (!Array.isArray(value)) throw new Error('the list of numbers is no list');
  return value.map(String);
}

export function roadOf(value: unknown): string {
  return text(fields(value, 'the road back'), 'text', 'the road back');
}

const columns = ['at_s', 'oxygen_mg_per_l', 'saturation_percent', 'temperature_celsius', 'states'] as const;

export function traceOf(value: unknown): DrawnTrace {
  const from = fields(value, 'trace');
  text(from, 'from', 'trace');
  for (const name of columns) if (!Array.isArray(from[name])) throw new Error(`trace: "${name}" is no list`);
  const { at_s, oxygen_mg_per_l } = from as unknown as DrawnTrace;
  if (at_s.length !== oxygen_mg_per_l.length) throw new Error('trace: times and oxygen are not of one length');
  return value as DrawnTrace;
}

export function entriesOf(value: unknown): Entry[] {
  const { entries } = fields(value, 'journal');
  if (!Array.isArray(entries)) throw new Error('journal: "entries" is no list');
  return entries.map((each) => {
    const from = fields(each, 'entry');
    return {
      number: numberOr(from.number, 0),
      id: text(from, 'id', 'entry'),
      at: text(from, 'at', 'entry'),
      author: text(from, 'author', 'entry'),
      role: text(from, 'role', 'entry') as Entry['role'],
      act: text(from, 'act', 'entry'),
      content: from.content ?? null,
      reason: textOrNull(from.reason) ?? '',
      is_undone: from.is_undone === true,
    };
  });
}

/** The ids of what was written. */
export function idsOf(value: unknown): string[] {
  const { ids } = fields(value, 'what was written');
  if (!Array.isArray(ids)) throw new Error('what was written: "ids" is no list');
  return ids.map(String);
}
