// Keeps what the pages know up to date: who and what the server is, how far the computing is, and the results, fetched
// anew when their revision changes. When the line breaks it tries again, waiting longer each time, and says since when.
import { parseResults } from '../data/read';
import type { Results } from '../data/results';
import { ask, askFor, isAborted, Problem, type Fetch } from './request';
import type { Copy } from './api';
import { aboutOf, copyOf, sessionOf, stateOf, type About, type ServerState, type Session } from './wire';

export type Link = 'connecting' | 'live' | 'lost' | 'signed_out';

export interface Known {
  about: About | null;
  session: Session | null;
  state: ServerState | null;
  results: Results | null;
  /** of the state that they are of; null while there are none */
  shownRevision: string | null;
  /** of the journal; null while there is none or nothing is known of it */
  copy: Copy | null;
  /** how often it was told that a paired phone has come or gone */
  phones: number;
  link: Link;
  /** ms since 1970; null while the line holds */
  lostSince: number | null;
  /** when the next try begins, ms since 1970; null when none waits */
  nextTry: number | null;
  /** why the results that are there cannot be shown; empty when they can */
  fault: string;
}

/** The part of a WebSocket that is used here. */
export interface Line {
  onopen: (() => void) | null;
  onmessage: ((event: { data: unknown }) => void) | null;
  onclose: (() => void) | null;
  close(): void;
}

export interface World {
  fetcher: Fetch;
  openLine: () => Line;
  now: () => number;
  /** calls back after so many ms; the value cancels */
  later: (call: () => void, ms: number) => () => void;
  /** what the watch says, several times a second: apart from what is known of the study, which changes seldom */
  hearWatch?: (told: unknown) => void;
}

/** ms to wait after so many failures in a row */
export const patience = (failures: number): number => Math.min(20_000, 500 * 2 ** Math.max(0, failures - 1));

export class Feed {
  known: Known = { about: null, session: null, state: null, results: null, shownRevision: null, copy: null, phones: 0, link: 'connecting', lostSince: null, nextTry: null, fault: '' };
  private readonly world: World;
  private readonly tell: (known: Known) => void;
  private line: Line | null = null;
  private failures = 0;
  private cancelWait: () => void = () => undefined;
  private tag = '';
  /** of those that are being fetched */
  private wanted: string | null = null;
  private fetching: AbortController | null = null;
  private isStopped = false;
  /** of the beginnings: one that was overtaken by another goes no further */
  private turn = 0;

  constructor(world: World, tell: (known: Known) => void) {
    this.world = world;
    this.tell = tell;
  }

  /** Begins, or tries again at once. */
  async start(): Promise<void> {
    if (this.isStopped) return;
    this.cancelWait();
    this.dropLine();
    this.change({ nextTry: null });
    const turn = ++this.turn;
    const isOvertaken = () => this.isStopped || turn !== this.turn;
    try {
      const about = await askFor('/api/about', aboutOf, { fetcher: this.world.fetcher });
      if (isOvertaken()) return;
      this.change({ about });
      const session = await askFor('/api/session', sessionOf, { fetcher: this.world.fetcher });
      if (isOvertaken()) return;
      this.change({ session });
      const state = await askFor('/api/state', stateOf, { fetcher: this.world.fetcher });
      if (isOvertaken()) return;
      this.take(state);
      this.listen();
      const copy = await askFor('/api/copy', copyOf, { fetcher: this.world.fetcher }).catch(() => null);
      if (!isOvertaken()) this.change({ copy });
    } catch (error) {
      if (!isOvertaken()) this.failed(error);
    }
  }

  stop(): void {
    this.isStopped = true;
    this.cancelWait();
    this.fetching?.abort();
    this.dropLine();
  }

  private change(part: Partial<Known>): void {
    this.known = { ...this.known, ...part };
    this.tell(this.known);
  }

  private dropLine(): void {
    const line = this.line;
    this.line = null;
    if (!line) return;
    line.onopen = line.onmessage = line.onclose = null;
    line.close();
  }

  private listen(): void {
    const line = this.world.openLine();
    this.line = line;
    line.onopen = () => {
      this.failures = 0;
      this.change({ link: 'live', lostSince: null, nextTry: null });
    };
    line.onmessage = (event) => this.heard(event.data);
    line.onclose = () => {
      this.line = null;
      this.failed(new Problem(0, 'The line to the program broke', ''));
    };
  }

  private heard(data: unknown): void {
    try {
      const told = JSON.parse(String(data)) as { state?: unknown; copy?: unknown; pairing?: unknown; watch?: unknown } | null;
      if (told?.state !== undefined) this.take(stateOf(told.state));
      if (told?.copy !== undefined) this.change({ copy: copyOf(told.copy) });
      if (told?.pairing !== undefined) this.change({ phones: this.known.phones + 1 });
      if (told?.watch !== undefined) this.world.hearWatch?.(told.watch);
    } catch (error) {
      this.change({ fault: `The program sent what these pages cannot read (${error instanceof Error ? error.message : String(error)}).` });
    }
  }

  private take(state: ServerState): void {
    this.change({ state });
    // While work goes on, states come several times a second: what is not there yet is not asked for.
    const isThere = state.answered_at !== null;
    if (isThere && state.revision !== this.known.shownRevision && state.revision !== this.wanted) void this.fetchResults(state.revision);
  }

  private async fetchResults(revision: string): Promise<void> {
    this.fetching?.abort();
    const fetching = new AbortController();
    this.fetching = fetching;
    this.wanted = revision;
    try {
      const headers: Record<string, string> = this.tag === '' ? {} : { 'If-None-Match': this.tag };
      const answer = await ask('/api/results', { fetcher: this.world.fetcher, signal: fetching.signal, headers }, [304]);
      if (answer.status === 200) {
        const results = parseResults(await answer.text());
        this.tag = answer.headers.get('ETag') ?? '';
        this.change({ results, shownRevision: revision, fault: '' });
      } else this.change({ shownRevision: revision });
    } catch (error) {
      if (isAborted(error)) return;
      if (error instanceof Problem || error instanceof TypeError) this.failed(error);
      else {
        this.change({ shownRevision: revision, fault: `The results cannot be shown: ${error instanceof Error ? error.message : String(error)}. Reload the page; if that does not help, run a program and pages of one version.` });
      }
    } finally {
      if (this.fetching === fetching) this.wanted = null;
    }
  }

  private failed(error: unknown): void {
    if (this.isStopped) return;
    this.dropLine();
    if (error instanceof Problem && error.status === 401) {
      this.tag = '';
      this.change({ link: 'signed_out', lostSince: null, nextTry: null, session: null, results: null, shownRevision: null, state: null });
      return;
    }
    this.failures += 1;
    const now = this.world.now();
    const wait = patience(this.failures);
    this.change({ link: 'lost', lostSince: this.known.lostSince ?? now, nextTry: now + wait });
    this.cancelWait();
    this.cancelWait = this.world.later(() => void this.start(), wait);
  }
}
