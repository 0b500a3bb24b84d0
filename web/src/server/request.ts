// The one way to the server.

/** What went wrong, what it means and what to do (RFC 9457). */
export class Problem extends Error {
  readonly status: number;
  readonly whatToDo: string;
  constructor(status: number, what: string, whatToDo: string) {
    super(what);
    this.name = 'Problem';
    this.status = status;
    this.whatToDo = whatToDo;
  }
}

export const isAborted = (error: unknown): boolean => error instanceof DOMException && error.name === 'AbortError';

/** Any failure as a problem: one without an answer has status 0. */
export function problemOf(error: unknown): Problem {
  if (error instanceof Problem) return error;
  const detail = error instanceof Error ? error.message : String(error);
  return new Problem(0, `The program did not answer (${detail})`, 'See that it still runs on the laptop and that this device is on its network.');
}

async function refusal(answer: Response): Promise<Problem> {
  const body: unknown = await answer.json().catch(() => null);
  const told = (typeof body === 'object' && body !== null ? body : {}) as Record<string, unknown>;
  const word = (name: string) => (typeof told[name] === 'string' ? told[name] : '');
  const remedy = word('remedy');
  const detail = word('detail') || word('title') || `The program answered ${answer.status}`;
  // A complaint ends with what to do, which is said once.
  const what = remedy !== '' && detail.endsWith(remedy) ? detail.slice(0, -remedy.length).replace(/[;,.:\s]+$/, '') : detail;
  return new Problem(answer.status, what || detail, remedy);
}

export type Fetch = typeof fetch;

export interface Asking {
  signal?: AbortSignal;
  headers?: Record<string, string>;
  fetcher?: Fetch;
  /** goes out even though the page is closed */
  keepalive?: boolean;
}

/** The answer where there is one; a refusal throws a Problem, but for those of `expected`. */
export async function ask(path: string, { signal, headers = {}, fetcher = fetch }: Asking = {}, expected: number[] = []): Promise<Response> {
  const answer = await fetcher(path, {
    headers: { Accept: 'application/json', ...headers },
    credentials: 'same-origin',
    cache: 'no-store',
    ...(signal ? { signal } : {}),
  });
  if (!answer.ok && !expected.includes(answer.status)) throw await refusal(answer);
  return answer;
}

/** A JSON answer, read by `check`. */
export async function askFor<T>(path: string, check: (value: unknown) => T, asking: Asking = {}): Promise<T> {
  return check(await (await ask(path, asking)).json());
}

/** What changes something carries the session's change token. */
export async function send(method: 'POST' | 'PUT' | 'DELETE', path: string, body: unknown, changeToken: string, { fetcher = fetch, signal, keepalive = false }: Asking): Promise<Response> {
  const answer = await fetcher(path, {
    method,
    headers: { Accept: 'application/json', 'Content-Type': 'application/json', ...(changeToken === '' ? {} : { 'Backeddy-Change-Token': changeToken }) },
    credentials: 'same-origin',
    cache: 'no-store',
    ...(body === undefined ? {} : { body: JSON.stringify(body) }),
    ...(keepalive ? { keepalive } : {}),
    ...(signal ? { signal } : {}),
  });
  if (!answer.ok) throw await refusal(answer);
  return answer;
}

/** Takes something away; there is nothing to read in the answer. */
export const remove = (path: string, changeToken: string, asking: Asking = {}): Promise<Response> => send('DELETE', path, undefined, changeToken, asking);

export const post = (path: string, body: unknown, changeToken: string, asking: Asking = {}): Promise<Response> => send('POST', path, body, changeToken, asking);

/** A file as it is, whose answer is read by `check`. */
export async function sendFile<T>(path: string, file: Blob, changeToken: string, check: (value: unknown) => T, { fetcher = fetch, signal }: Asking = {}): Promise<T> {
  const answer = await fetcher(path, {
    method: 'POST',
    headers: { Accept: 'application/json', 'Content-Type': 'application/octet-stream', ...(changeToken === '' ? {} : { 'Backeddy-Change-Token': changeToken }) },
    credentials: 'same-origin',
    cache: 'no-store',
    body: file,
    ...(signal ? { signal } : {}),
  });
  if (!answer.ok) throw await refusal(answer);
  return check(await answer.json());
}

/** A change whose answer is read by `check`. */
export async function sendFor<T>(method: 'POST' | 'PUT', path: string, body: unknown, changeToken: string, check: (value: unknown) => T, asking: Asking = {}): Promise<T> {
  return check(await (await send(method, path, body, changeToken, asking)).json());
}
