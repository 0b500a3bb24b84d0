// The line to the program, with a server, a clock and a WebSocket that the test holds in its hands.
import { beforeEach, describe, expect, it } from 'vitest';
import { Feed, patience, type Known, type Line } from '../src/server/feed';
import { fixture, fixtureText } from './fixture';

interface Answer {
  status?: number;
  body?: string;
  headers?: Record<string, string>;
}

const about = { program: 'backeddy', version: '0.1.0' };
const session = { name: 'mate', role: 'viewer', change_token: 'abc' };
const state = (part: object = {}) => ({
  phase: 'ready', what: '', done: 0, total: 0, unit: '', revision: 1, answered_at: '2026-06-14T03:12:00Z', complaints: [], ...part,
});

class Bench {
  answers: Record<string, Answer | 'no answer'> = {};
  asked: { path: string; headers: Record<string, string> }[] = [];
  lines: (Line & { isClosed: boolean })[] = [];
  waits: { call: () => void; ms: number; isCancelled: boolean }[] = [];
  now = 1_000_000;
  seen: Known[] = [];
  watch: unknown[] = [];
  feed = new Feed(
    {
      fetcher: (async (path: string, init: RequestInit) => {
        this.asked.push({ path, headers: init.headers as Record<string, string> });
        const answer = this.answers[path];
        if (answer === undefined || answer === 'no answer') throw new TypeError('fetch failed');
        const isEmpty = answer.status === 304;
        return new Response(isEmpty ? null : (answer.body ?? '{}'), { status: answer.status ?? 200, headers: answer.headers ?? {} });
      }) as typeof fetch,
      openLine: () => {
        const line = { onopen: null, onmessage: null, onclose: null, isClosed: false, close: () => (line.isClosed = true) } as Line & { isClosed: boolean };
        this.lines.push(line);
        return line;
      },
      now: () => this.now,
      later: (call, ms) => {
        const wait = { call, ms, isCancelled: false };
        this.waits.push(wait);
        return () => (wait.isCancelled = true);
      },
      hearWatch: (told) => this.watch.push(told),
    },
    (known) => this.seen.push(known),
  );

  get known(): Known {
    return this.feed.known;
  }

  get line(): Line & { isClosed: boolean } {
    const line = this.lines.at(-1);
    if (!line) throw new Error('no line was opened');
    return line;
  }

  /** Lets every promise run that can. */
  async settle(): Promise<void> {
    for (let i = 0; i < 20; ++i) await new Promise((done) => setImmediate(done));
  }

  async start(): Promise<void> {
    void this.feed.start();
    await this.settle();
  }

  countAsked(path: string): number {
    return this.asked.filter((each) => each.path === path).length;
  }
}

let bench: Bench;
beforeEach(() => {
  bench = new Bench();
  bench.answers = {
    '/api/about': { body: JSON.stringify(about) },
    '/api/session': { body: JSON.stringify(session) },
    '/api/state': { body: JSON.stringify(state()) },
    '/api/results': { body: fixtureText, headers: { ETag: '"1"' } },
  };
});

describe("the journal's copy", () => {
  const behind = { folder: '/media/stick/voe', behind: 3, trouble: 'the disk is full', complete: null };

  it('is asked for at the start, and followed', async () => {
    bench.answers['/api/copy'] = { body: JSON.stringify(behind) };
    await bench.start();
    expect(bench.known.copy).toEqual(behind);
    bench.line.onmessage?.({ data: JSON.stringify({ copy: { ...behind, behind: 0, trouble: '', complete: '2026-06-14T03:12:00Z' } }) });
    expect(bench.known.copy?.trouble).toBe('');
    expect(bench.known.copy?.complete).toBe('2026-06-14T03:12:00Z');
  });

  it('stops nothing where there is none, or no word of it', async () => {
    await bench.start();
    expect(bench.known.copy).toBeNull();
    expect(bench.known.results).not.toBeNull();
    bench.answers['/api/copy'] = { body: 'null' };
    await bench.start();
    expect(bench.known.copy).toBeNull();
  });
});

describe('a good day', () => {
  it('who, state and results are there, and the line is live once it is open', async () => {
    await bench.start();
    expect(bench.known.about?.program).toBe('backeddy');
    expect(bench.known.shownRevision).toBe('1');
    expect(bench.known.session).toEqual(session);
    expect(bench.known.results?.fish).toHaveLength(fixture().fish.length);
    expect(bench.known.link).toBe('connecting');
    bench.line.onopen?.();
    expect(bench.known).toMatchObject({ link: 'live', lostSince: null, nextTry: null, fault: '' });
  });

  it('a new revision is fetched once, with the tag of what is held; the same again is not', async () => {
    await bench.start();
    bench.line.onopen?.();
    bench.line.onmessage?.({ data: JSON.stringify({ state: state({ phase: 'computing', done: 4, total: 9, unit: 'stays' }) }) });
    await bench.settle();
    expect(bench.known.state).toMatchObject({ phase: 'computing', done: 4, total: 9 });
    expect(bench.countAsked('/api/results')).toBe(1);
    bench.answers['/api/results'] = { status: 304 };
    bench.line.onmessage?.({ data: JSON.stringify({ state: state({ revision: 2 }) }) });
    await bench.settle();
    bench.line.onmessage?.({ data: JSON.stringify({ state: state({ revision: 2 }) }) });
    await bench.settle();
    expect(bench.countAsked('/api/results')).toBe(2);
    expect(bench.asked.at(-1)?.headers['If-None-Match']).toBe('"1"');
    expect(bench.known.results).not.toBeNull();
  });

  it('results that are not there yet are not asked for, however often the state changes; once they are, they are', async () => {
    bench.answers['/api/state'] = { body: JSON.stringify(state({ phase: 'reading', revision: '', answered_at: null })) };
    await bench.start();
    bench.line.onopen?.();
    for (let done = 0; done < 5; ++done) bench.line.onmessage?.({ data: JSON.stringify({ state: state({ phase: 'computing', revision: '', answered_at: null, done }) }) });
    await bench.settle();
    expect(bench.countAsked('/api/results')).toBe(0);
    expect(bench.known.link).toBe('live');
    bench.line.onmessage?.({ data: JSON.stringify({ state: state() }) });
    bench.line.onmessage?.({ data: JSON.stringify({ state: state() }) });
    await bench.settle();
    expect(bench.countAsked('/api/results')).toBe(1);
    expect(bench.known.results).not.toBeNull();
  });

  it('an earlier answer is shown while the study is computed anew', async () => {
    bench.answers['/api/state'] = { body: JSON.stringify(state({ phase: 'computing' })) };
    await bench.start();
    expect(bench.known.results).not.toBeNull();
  });
});

describe('a bad one', () => {
  it('stopped: the last good results stay, and what stops the run is known', async () => {
    await bench.start();
    bench.line.onopen?.();
    const complaint = { severity: 'stops', text: 'stays.csv line 3: ...', file: 'stays.csv', line: 3, column: 'assembly', remedy: 'mend it' };
    bench.answers['/api/results'] = { status: 304 };
    bench.line.onmessage?.({ data: JSON.stringify({ state: state({ phase: 'stopped', revision: 2, complaints: [complaint] }) }) });
    await bench.settle();
    expect(bench.known.state?.phase).toBe('stopped');
    expect(bench.known.state?.complaints).toEqual([complaint]);
    expect(bench.known.results).not.toBeNull();
    expect(bench.known.link).toBe('live');
  });

  it('a line that breaks is opened again, after longer and longer waits, and since when it is broken is not forgotten', async () => {
    await bench.start();
    bench.line.onopen?.();
    bench.now = 2_000_000;
    bench.line.onclose?.();
    expect(bench.known).toMatchObject({ link: 'lost', lostSince: 2_000_000, nextTry: 2_000_000 + patience(1) });
    for (const path of Object.keys(bench.answers)) bench.answers[path] = 'no answer';
    const waited: number[] = [];
    for (let i = 0; i < 8; ++i) {
      const wait = bench.waits.at(-1);
      waited.push(wait?.ms ?? 0);
      bench.now += wait?.ms ?? 0;
      wait?.call();
      await bench.settle();
    }
    expect(waited).toEqual([500, 1000, 2000, 4000, 8000, 16000, 20000, 20000]);
    expect(bench.known).toMatchObject({ link: 'lost', lostSince: 2_000_000 });
    expect(bench.known.results).not.toBeNull();
  });

  it('after it came back everything is asked anew and patience begins again', async () => {
    await bench.start();
    bench.line.onopen?.();
    bench.line.onclose?.();
    bench.waits.at(-1)?.call();
    await bench.settle();
    expect(bench.lines).toHaveLength(2);
    bench.line.onopen?.();
    expect(bench.known).toMatchObject({ link: 'live', lostSince: null });
    bench.line.onclose?.();
    expect(bench.waits.at(-1)?.ms).toBe(500);
  });

  it('asking by hand cancels the wait and leaves one line', async () => {
    await bench.start();
    bench.line.onopen?.();
    bench.line.onclose?.();
    const wait = bench.waits.at(-1);
    await bench.start();
    expect(wait?.isCancelled).toBe(true);
    await bench.start();
    // The first broke by itself; of the two asked for by hand the later stays.
    expect(bench.lines.map((line) => line.isClosed)).toEqual([false, true, false]);
  });

  it('two beginnings at once, as when a device wakes on a new network, leave one line', async () => {
    await Promise.all([bench.feed.start(), bench.feed.start()]);
    await bench.settle();
    expect(bench.lines).toHaveLength(1);
    expect(bench.known.results).not.toBeNull();
  });

  it('a stranger is signed out, holds nothing of the study, and is not asked for again by itself', async () => {
    await bench.start();
    bench.answers['/api/session'] = { status: 401, body: '{"title":"Unauthorized","detail":"sign in first","remedy":"give a passphrase"}' };
    await bench.start();
    expect(bench.known).toMatchObject({ link: 'signed_out', session: null, results: null, state: null });
    expect(bench.waits.filter((wait) => !wait.isCancelled)).toHaveLength(0);
  });

  it('results of another version are said to be that, not shown, and not fetched over and over', async () => {
    bench.answers['/api/results'] = { body: JSON.stringify({ ...fixture(), schema_version: '9.1' }) };
    await bench.start();
    bench.line.onopen?.();
    expect(bench.known.fault).toMatch(/^The results cannot be shown: results document 9\.1/);
    bench.line.onmessage?.({ data: JSON.stringify({ state: state() }) });
    await bench.settle();
    expect(bench.countAsked('/api/results')).toBe(1);
  });

  it('a state that these pages do not know is refused in words', async () => {
    await bench.start();
    bench.line.onopen?.();
    bench.line.onmessage?.({ data: JSON.stringify({ state: state({ phase: 'dreaming' }) }) });
    expect(bench.known.fault).toContain('"dreaming"');
    expect(bench.known.state?.phase).toBe('ready');
  });
});

describe('the watch', () => {
  it('is heard, its end too, and moves nothing of what is known of the study', async () => {
    await bench.start();
    const known = bench.known;
    const times = bench.seen.length;
    bench.line.onmessage?.({ data: '{"watch":{"at":"2026-06-14T03:12:00Z"}}' });
    bench.line.onmessage?.({ data: '{"watch":null}' });
    expect(bench.watch).toEqual([{ at: '2026-06-14T03:12:00Z' }, null]);
    expect(bench.seen).toHaveLength(times);
    expect(bench.known).toBe(known);
  });
});
