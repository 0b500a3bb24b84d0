// @vitest-environment jsdom
// Pages are mounted with the invented study, and with what may be missing from a real one. How they look and what keys do
// is for tools/app_check.mjs.
import { flushSync } from 'svelte';
import { beforeAll, describe, expect, it, vi } from 'vitest';
import type { Known } from '../src/server/feed';
import type { Worry } from '../src/server/wire';
import { fixture } from './fixture';
import { shown } from './drawing';

beforeAll(() => {
  globalThis.IntersectionObserver = class {
    constructor(private readonly tell: IntersectionObserverCallback) {}
    observe(target: Element) {
      this.tell([{ target, isIntersecting: true } as IntersectionObserverEntry], this as unknown as IntersectionObserver);
    }
    unobserve() {}
    disconnect() {}
    takeRecords() {
      return [];
    }
  } as unknown as typeof IntersectionObserver;
  globalThis.matchMedia ??= (() => ({ matches: false, addEventListener: () => undefined })) as unknown as typeof matchMedia;
});

const study = fixture();
const known = (part: Partial<Known> = {}): Known => ({
  about: { program: 'backeddy', version: '0', study: 'A study', folder: 'demo' },
  session: { name: '', role: 'scientist', change_token: '' },
  state: { phase: 'ready', what: '', done: 0, total: 0, unit: '', revision: '1', answered_at: '2026-06-14T03:12:00Z', entries: 0, complaints: [] },
  results: study, shownRevision: '1', copy: null, phones: 0, link: 'live', lostSince: null, nextTry: null, fault: '', ...part,
});
const stops: Worry = { severity: 'stops', text: 'stays.csv line 12: no assembly', file: 'stays.csv', line: 12, column: null, remedy: 'write one of assemblies.csv' };

const textOf = (body: HTMLElement): string => (body.textContent ?? '').replace(/\s+/g, ' ');
const noFailedFigure = (body: HTMLElement) => expect(textOf(body)).not.toContain('could not be drawn');

describe('the study', () => {
  it('tells of every fate, headline, complaint and sensor', async () => {
    const { default: StudyPage } = await import('../src/pages/StudyPage.svelte');
    const body = shown(StudyPage, { known: known(), isEmpty: false });
    flushSync();
    noFailedFigure(body);
    const text = textOf(body);
    for (const each of study.headlines.filter((head) => head.group === '')) expect(text).toContain(each.mean.text);
    for (const sensor of study.sensors) expect(text).toContain(sensor.name);
    for (const fate of study.accounting.fates) for (const fish of fate.fish) expect(body.querySelector(`.fates a[href="/fish/${fish}"]`)).not.toBeNull();
    expect(text).toContain('no check of "shore logger"');
  });
  it('without results says what stops the run, with line and remedy', async () => {
    const { default: StudyPage } = await import('../src/pages/StudyPage.svelte');
    const state = { ...known().state!, phase: 'stopped' as const, complaints: [stops] };
    const text = textOf(shown(StudyPage, { known: known({ results: null, state }), isEmpty: false }));
    expect(text).toContain('What stops the run');
    expect(text).toContain('line 12');
    expect(text).toContain('write one of assemblies.csv');
  });
  it('newly made, leads through Set-up before it says what is missing', async () => {
    const { default: StudyPage } = await import('../src/pages/StudyPage.svelte');
    const none: Worry = { severity: 'stops', text: 'stays.csv: no stay: there is nothing to compute', file: 'stays.csv', line: null, column: null, remedy: '' };
    const state = { ...known().state!, phase: 'stopped' as const, complaints: [none] };
    const body = shown(StudyPage, { known: known({ results: null, state }), isEmpty: false });
    expect([...body.querySelectorAll('.steps a')].map((link) => link.getAttribute('href'))).toEqual(expect.arrayContaining(['/set-up/brief', '/set-up/files', '/set-up/tables/assemblies', '/set-up/tables/fish']));
    expect(body.querySelector('.worries a')?.getAttribute('href')).toBe('/set-up/tables/stays');
  });
  it('empty, says what to do next', async () => {
    const { default: StudyPage } = await import('../src/pages/StudyPage.svelte');
    expect(textOf(shown(StudyPage, { known: known({ results: { ...study, fish: [] } }), isEmpty: true }))).toContain('What to do next');
  });
});

describe('fish', () => {
  it('every fish has a page on which every figure is drawn and every peak has its road', async () => {
    const { default: FishPage } = await import('../src/pages/FishPage.svelte');
    for (const fish of study.fish) {
      // A canvas is not to be had here.
      const body = shown(FishPage, { known: known(), results: study, fishes: [{ ...fish, stays: fish.stays.map((stay) => ({ ...stay, trace: { ...stay.trace, at_s: [], oxygen_mg_per_l: [] } })) }] });
      flushSync();
      noFailedFigure(body);
      for (const peak of fish.metrics.peaks) expect(body.querySelector(`.numbers button[aria-label^="${fish.id}, ${peak.name}"]`)).not.toBeNull();
      for (const each of fish.metrics.missing) expect(textOf(body)).toContain(each.text);
      body.replaceChildren();
    }
  });
  it('two stand side by side, section by section', async () => {
    const { default: FishPage } = await import('../src/pages/FishPage.svelte');
    const fishes = study.fish.slice(0, 2).map((fish) => ({ ...fish, stays: [] }));
    const body = shown(FishPage, { known: known(), results: study, fishes });
    flushSync();
    expect(body.querySelectorAll('h1')).toHaveLength(2);
    for (const row of body.querySelectorAll('section.row')) expect(row.querySelectorAll('.column')).toHaveLength(2);
  });
  it('the list says when nothing is found', async () => {
    const { default: FishListPage } = await import('../src/pages/FishListPage.svelte');
    const body = shown(FishListPage, { results: study });
    const input = body.querySelector('input');
    if (!input) throw new Error('nothing to type into');
    input.value = 'no such fish';
    input.dispatchEvent(new Event('input', { bubbles: true }));
    flushSync();
    expect(textOf(body)).toContain('No fish has all of “no such fish”');
  });
});

describe('findings', () => {
  it('each question has a card and opens with its checks, family and who was left out', async () => {
    const { default: FindingsPage } = await import('../src/pages/FindingsPage.svelte');
    const { default: FindingPage } = await import('../src/pages/FindingPage.svelte');
    const cards = shown(FindingsPage, { known: known(), results: study });
    flushSync();
    noFailedFigure(cards);
    expect(cards.querySelectorAll('.card')).toHaveLength(study.findings.length);
    cards.replaceChildren();
    for (const finding of study.findings) {
      const body = shown(FindingPage, { known: known(), results: study, finding });
      flushSync();
      noFailedFigure(body);
      const text = textOf(body);
      for (const check of finding.unanswered === '' ? finding.checks : []) expect(text).toContain(check.text);
      for (const left of finding.left_out) expect(text).toContain(left.why);
      expect(text).toContain('Family of tests');
      body.replaceChildren();
    }
  });
});

describe('asking', () => {
  const askable = {
    kinds: [{ noun: 'fish', nouns: 'fish', rows: 12 }], questions: [{ name: 'kept', outcome: 'resting', compare: 'rig', adjust_for: ['mass_g'] }],
    columns: ['resting', 'rig', 'mass_g'].map((name) => ({ name, title: name, unit: '', stage: 'before', what: '', is_own: false, is_words: name === 'rig', rows: [0], filled: 12, levels: [], level_count: 0 })),
  };
  async function asking(finding: string | null, tried: unknown, role = 'scientist') {
    const asked: { path: string; body: unknown }[] = [];
    globalThis.fetch = ((path: string, options?: RequestInit) => {
      asked.push({ path, body: typeof options?.body === 'string' ? JSON.parse(options.body) : null });
      const answer = path.startsWith('/api/questions') ? askable : path.startsWith('/api/settings') ? [] : options?.method === 'POST' ? tried : null;
      return Promise.resolve(new Response(JSON.stringify(answer), { status: 200, headers: { 'Content-Type': 'application/json' } }));
    }) as typeof fetch;
    const { default: AskPage } = await import('../src/pages/ask/AskPage.svelte');
    const body = shown(AskPage, { known: known({ session: { name: 'A', role, change_token: '' } }), results: study, finding });
    // Half a second after the last key, and as long as a busy machine takes.
    await vi.waitFor(() => {
      flushSync();
      expect(body.querySelector('.ask-answer[aria-busy=false] :is(.ask-keep, .ask-state ~ p)') ?? body.querySelector('.field-fault')).not.toBeNull();
      expect(asked.some((each) => each.path.startsWith('/api/findings/try'))).toBe(true);
    }, { timeout: 15_000 });
    return { body, asked };
  }
  it('a kept question stands in its fields, is tried in its own place, and shows the answer', async () => {
    const { body, asked } = await asking('kept', { complaints: [], text: '[[question]]', finding: study.findings[0] });
    const tried = asked.find((each) => each.path.startsWith('/api/findings/try'));
    expect(tried?.path).toContain('instead=kept');
    expect(tried?.body).toEqual({ name: 'kept', outcome: 'resting', compare: 'rig', adjust_for: ['mass_g'] });
    expect((body.querySelector('input[name=outcome]') as HTMLInputElement).value).toBe('resting');
    expect(textOf(body)).toContain('Save the change');
    expect(textOf(body)).toContain('Who took part');
    noFailedFigure(body);
  });
  it('a fault stands at its field, and nothing can be kept', async () => {
    const wrong = { severity: 'stops', file: 'study.toml', line: null, column: 'compare', found: 'there is no column "rigg"', expected: 'a column', remedy: 'did you mean "rig"?', text: '' };
    const { body } = await asking('kept', { complaints: [wrong], text: '', finding: null });
    expect(body.querySelector('input[name=compare]')?.getAttribute('aria-invalid')).toBe('true');
    expect(body.querySelector('.field-fault button')?.textContent).toContain('rig');
    expect(body.querySelector('.ask-keep')).toBeNull();
  });
  it('a viewer may ask and is told who keeps', async () => {
    const { body } = await asking('kept', { complaints: [], text: '', finding: study.findings[0] }, 'viewer');
    expect((body.querySelector('.ask-keep button') as HTMLButtonElement).disabled).toBe(true);
    expect(textOf(body)).toContain('a scientist keeps');
  });
});

describe('notices', () => {
  it.each([
    ['a lost line', { link: 'lost' as const, lostSince: Date.parse('2026-06-14T02:12:00Z') }, 'No word from the program since 03:12'],
    ['old answers', { state: { ...known().state!, phase: 'stopped' as const, complaints: [stops] } }, 'one complaint stops it'],
    ['results that cannot be read', { fault: 'The results cannot be shown: x.' }, 'The results cannot be shown'],
  ])('%s is said', async (_, part, words) => {
    const { default: Notices } = await import('../src/app/Notices.svelte');
    expect(textOf(shown(Notices, { known: known(part) }))).toContain(words);
  });
  it('a good day says nothing but that it is simulated', async () => {
    const { default: Notices } = await import('../src/app/Notices.svelte');
    expect(textOf(shown(Notices, { known: known() })).trim()).toBe(study.study.simulated_label);
  });
});
