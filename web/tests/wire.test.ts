import { describe, expect, it } from 'vitest';
import { Detail, pause, stretchOf } from '../src/server/detail';
import { ask, askFor, post, Problem, problemOf } from '../src/server/request';
import { aboutOf, filesOf, roadOf, sessionOf, stateOf, traceOf, wordsOf } from '../src/server/wire';

const answering = (status: number, body: string) => (async () => new Response(body, { status })) as typeof fetch;

describe('requests', () => {
  it('a refusal carries what is wrong and what to do', async () => {
    const body = JSON.stringify({ type: 'about:blank', title: 'Not Found', status: 404, detail: 'there is no stay S9', remedy: 'choose one of the list' });
    const refused = await ask('/api/stays/S9/trace', { fetcher: answering(404, body) }).catch((error: unknown) => error);
    expect(refused).toBeInstanceOf(Problem);
    expect(refused).toMatchObject({ status: 404, message: 'there is no stay S9', whatToDo: 'choose one of the list' });
  });

  it('a refusal that is no JSON still names its number', async () => {
    const refused = await ask('/x', { fetcher: answering(502, '<html>') }).catch((error: unknown) => error);
    expect(refused).toMatchObject({ status: 502, message: 'The program answered 502' });
  });

  it('no answer at all is a problem with something to do', () => {
    expect(problemOf(new TypeError('fetch failed'))).toMatchObject({ status: 0, message: 'The program did not answer (fetch failed)' });
    expect(problemOf(new TypeError('x')).whatToDo).toContain('still runs');
  });

  it('an answer of another shape is refused in words', async () => {
    await expect(askFor('/api/files', filesOf, { fetcher: answering(200, '{"a":1}') })).rejects.toThrow('the list of files is no list');
  });

  it('the token goes back with what changes something', async () => {
    let sent: RequestInit | undefined;
    const fetcher = (async (_: string, init: RequestInit) => {
      sent = init;
      return new Response('{}');
    }) as typeof fetch;
    await post('/api/sign-out', {}, 'ab+c', { fetcher });
    expect(sent?.headers).toMatchObject({ 'Backeddy-Change-Token': 'ab+c', 'Content-Type': 'application/json' });
    await post('/api/sign-in', { name: 'a' }, '', { fetcher });
    expect(sent?.headers).not.toHaveProperty('Backeddy-Change-Token');
    expect(sent?.body).toBe('{"name":"a"}');
  });
});

describe('what the server says', () => {
  it('about and state are read whole; a complaint without a line has none', () => {
    expect(aboutOf({ program: 'p', version: '1' })).toEqual({ program: 'p', version: '1', study: '', folder: '' });
    expect(sessionOf({ name: '', role: 'scientist', change_token: 't' })).toMatchObject({ name: '', role: 'scientist' });
    const state = stateOf({ phase: 'stopped', revision: 7, complaints: [{ severity: 'stops', text: 't', file: 'a.csv', line: null, column: '', remedy: 'r' }] });
    expect(state).toMatchObject({ phase: 'stopped', revision: '7', total: 0, answered_at: null });
    expect(state.complaints[0]).toEqual({ severity: 'stops', text: 't', file: 'a.csv', line: null, column: null, remedy: 'r' });
  });

  it.each([
    ['about', () => aboutOf({ program: 'p' }), '"version" is no text'],
    ['state', () => stateOf({ phase: 'x' }), 'no phase'],
    ['road', () => roadOf({}), '"text" is no text'],
    ['words', () => wordsOf({}), 'no list'],
    ['trace', () => traceOf({ from: '2026-01-01T00:00:00Z', at_s: [1], oxygen_mg_per_l: [], saturation_percent: [], temperature_celsius: [], states: [] }), 'not of one length'],
  ])('%s of another shape is refused', (_, read, words) => {
    expect(read).toThrow(words);
  });
});

describe('looking closer', () => {
  const zero = '2026-06-14T00:00:00Z';
  const traceText = JSON.stringify({
    from: '2026-06-14T01:00:00Z', at_s: [0, 1800], oxygen_mg_per_l: [9, 8.5], saturation_percent: [], temperature_celsius: [], states: [], rows: 2,
  });

  function bench(body = traceText) {
    const waits: { call: () => void; ms: number; isCancelled: boolean }[] = [];
    const asked: { path: string; signal: AbortSignal | undefined; reply: (text?: string, status?: number) => void }[] = [];
    const heard: { hours: number[] | null; problem: string | null }[] = [];
    const detail = new Detail(
      {
        fetcher: ((path: string, init: RequestInit) =>
          new Promise<Response>((resolve, reject) => {
            const signal = init.signal ?? undefined;
            signal?.addEventListener('abort', () => reject(new DOMException('aborted', 'AbortError')));
            asked.push({ path, signal, reply: (text = body, status = 200) => resolve(new Response(text, { status })) });
          })) as typeof fetch,
        later: (call, ms) => {
          const wait = { call, ms, isCancelled: false };
          waits.push(wait);
          return () => (wait.isCancelled = true);
        },
      },
      (stretch, problem) => heard.push({ hours: stretch?.hours ?? null, problem: problem?.message ?? null }),
    );
    const run = async () => {
      const wait = waits.at(-1);
      if (wait && !wait.isCancelled) wait.call();
      await new Promise((done) => setImmediate(done));
    };
    return { detail, waits, asked, heard, run };
  }

  it('hours of a stretch count from the stay’s own start', () => {
    expect(stretchOf(traceOf(JSON.parse(traceText)), zero, 1, 2).hours).toEqual([1, 1.5]);
  });

  it('the last wish is asked for, a while after it was made, with air on both sides', async () => {
    const { detail, waits, asked, run } = bench();
    detail.wish({ stay: 'S 1', zero, from: 1, to: 2 });
    detail.wish({ stay: 'S 1', zero, from: 1.2, to: 1.6 });
    expect(waits.map((wait) => wait.isCancelled)).toEqual([true, false]);
    expect(waits[0]?.ms).toBe(pause);
    await run();
    expect(asked.map((each) => each.path)).toEqual(['/api/stays/S%201/trace?from=2026-06-14T01:00:00.000Z&to=2026-06-14T01:48:00.000Z']);
  });

  it('what is outdated is cancelled and never heard', async () => {
    const { detail, asked, heard, run } = bench();
    detail.wish({ stay: 'S1', zero, from: 1, to: 2 });
    await run();
    detail.wish({ stay: 'S1', zero, from: 5, to: 6 });
    await run();
    expect(asked[0]?.signal?.aborted).toBe(true);
    asked[1]?.reply();
    await new Promise((done) => setImmediate(done));
    await new Promise((done) => setImmediate(done));
    expect(heard).toEqual([{ hours: [1, 1.5], problem: null }]);
  });

  it('a step within what is held asks for nothing; another stay forgets it', async () => {
    const { detail, asked, heard, run, waits } = bench();
    detail.wish({ stay: 'S1', zero, from: 1, to: 2 });
    await run();
    asked[0]?.reply();
    await new Promise((done) => setTimeout(done, 5));
    detail.wish({ stay: 'S1', zero, from: 1.1, to: 2.1 });
    expect(waits).toHaveLength(1);
    // Far closer than what was fetched is worth asking.
    detail.wish({ stay: 'S1', zero, from: 1.1, to: 1.15 });
    expect(waits).toHaveLength(2);
    detail.wish({ stay: 'S2', zero, from: 1, to: 2 });
    expect(heard.at(-1)).toEqual({ hours: null, problem: null });
  });

  it('what was held is forgotten when the study is computed anew', async () => {
    const { detail, asked, heard, run, waits } = bench();
    detail.wish({ stay: 'S1', zero, from: 1, to: 2 });
    await run();
    asked[0]?.reply();
    await new Promise((done) => setTimeout(done, 5));
    detail.forget();
    expect(heard.at(-1)).toEqual({ hours: null, problem: null });
    detail.wish({ stay: 'S1', zero, from: 1, to: 2 });
    expect(waits).toHaveLength(2);
  });

  it('a refusal is told and what was held stays', async () => {
    const { detail, asked, heard, run } = bench();
    detail.wish({ stay: 'S1', zero, from: 1, to: 2 });
    await run();
    asked[0]?.reply();
    await new Promise((done) => setTimeout(done, 5));
    detail.wish({ stay: 'S1', zero, from: 7, to: 8 });
    await run();
    asked[1]?.reply('{"title":"Service Unavailable","detail":"busy","remedy":"wait"}', 503);
    await new Promise((done) => setTimeout(done, 5));
    expect(heard.at(-1)).toEqual({ hours: [1, 1.5], problem: 'busy' });
  });
});
