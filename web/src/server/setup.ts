// What Set-up asks of the program: tables, the brief, and files that are offered.
import type { Brief, Complaint, Entry, Grid, Look, LookWish, SettingSection, Table, TakeWish, Taken, Wish } from './api';
import { askFor, Problem, problemOf, sendFor, type Asking } from './request';
import { entriesOf, idsOf } from './wire';

export const mostOfferedBytes = 256 * 2 ** 20;
/** of one post of entries */
export const mostEntryBytes = 2 ** 20;

function listWith<T>(value: unknown, field: string, what: string): T[] {
  if (!Array.isArray(value)) throw new Error(`${what} is no list`);
  for (const each of value) having(each, [field], what);
  return value as T[];
}

export function having<T>(value: unknown, names: string[], what: string): T {
  const from = value as Record<string, unknown> | null;
  if (typeof from !== 'object' || from === null) throw new Error(`${what} is no object`);
  for (const name of names) if (from[name] === undefined) throw new Error(`${what}: no "${name}"`);
  return value as T;
}

export const tablesOf = (value: unknown): Table[] => listWith(value, 'columns', 'the list of tables');
export const gridOf = (value: unknown): Grid => having(value, ['file', 'columns', 'rows'], 'the table');
export const briefOf = (value: unknown): Brief => having(value, ['text', 'sha256'], 'the brief');
export const lookOf = (value: unknown): Look => having(value, ['id', 'stop', 'columns', 'first_rows', 'streams', 'places'], 'what the reader saw');
const settingsOf = (value: unknown): SettingSection[] => listWith(value, 'settings', 'the list of settings');
const complaintsOf = (value: unknown): Complaint[] => listWith(value, 'text', 'the list of complaints');

export const askTables = (asking?: Asking): Promise<Table[]> => askFor('/api/tables', tablesOf, asking);
export const askGrid = (table: string, asking?: Asking): Promise<Grid> => askFor(`/api/tables/${encodeURIComponent(table)}`, gridOf, asking);
export const askEntries = (asking?: Asking): Promise<Entry[]> => askFor('/api/entries', entriesOf, asking);
export const askBrief = (asking?: Asking): Promise<Brief> => askFor('/api/brief', briefOf, asking);
export const askSettings = (asking?: Asking): Promise<SettingSection[]> => askFor('/api/settings', settingsOf, asking);

export const writeEntries = (entries: Wish[], token: string): Promise<string[]> => sendFor('POST', '/api/entries', { entries }, token, idsOf);
export const tryBrief = (text: string, token: string, asking?: Asking): Promise<Complaint[]> => sendFor('POST', '/api/brief/try', { text }, token, complaintsOf, asking);
export const saveBrief = (text: string, was_sha256: string, token: string): Promise<Brief> => sendFor('PUT', '/api/brief', { text, was_sha256 }, token, briefOf);
export const lookAgain = (id: string, wish: LookWish, token: string, asking?: Asking): Promise<Look> => sendFor('POST', `/api/offered/${id}/look`, wish, token, lookOf, asking);
export const takeIn = (id: string, wish: TakeWish, token: string): Promise<Taken> =>
  sendFor('POST', `/api/offered/${id}/take`, wish, token, (value) => having<Taken>(value, ['place'], 'the answer'));

/** Sends a file, telling how much of it is sent. */
export function offerFile(file: File, token: string, told: (share: number) => void, signal: AbortSignal): Promise<Look> {
  return new Promise((done, failed) => {
    // fetch does not say how far an upload is.
    const sending = new XMLHttpRequest();
    sending.open('POST', `/api/offered?name=${encodeURIComponent(file.name)}`);
    sending.setRequestHeader('Content-Type', 'application/octet-stream');
    sending.setRequestHeader('Accept', 'application/json');
    if (token !== '') sending.setRequestHeader('Backeddy-Change-Token', token);
    sending.upload.onprogress = (event) => told(event.lengthComputable ? event.loaded / event.total : 0);
    sending.upload.onload = () => told(1);
    sending.onload = () => {
      try {
        const body: unknown = JSON.parse(sending.responseText || 'null');
        if (sending.status === 200) done(lookOf(body));
        else {
          const said = (body ?? {}) as { detail?: string; title?: string; remedy?: string };
          failed(new Problem(sending.status, said.detail || said.title || `The program answered ${sending.status}`, said.remedy ?? ''));
        }
      } catch (error) {
        failed(problemOf(error));
      }
    };
    sending.onerror = () => failed(problemOf(new Error('the line broke while the file was sent')));
    sending.onabort = () => failed(new DOMException('stopped', 'AbortError'));
    signal.addEventListener('abort', () => sending.abort());
    sending.send(file);
  });
}

