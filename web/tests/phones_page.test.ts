// @vitest-environment jsdom
// The page of phones in the states that need no phone; how it works with one is for tools/phones_check.mjs.
import { flushSync } from 'svelte';
import { afterEach, describe, expect, it, vi } from 'vitest';
import PhonesPart from '../src/pages/setup/PhonesPart.svelte';
import type { Pairing } from '../src/server/api';
import type { Known } from '../src/server/feed';
import { shown } from './drawing';

const known = (role: string): Known => ({
  about: { program: 'backeddy', version: '0', study: '', folder: '/studies/voe' },
  session: { name: 'Siv', role, change_token: 'token' },
  state: null, results: null, shownRevision: null, copy: null, phones: 0, link: 'live', lostSince: null, nextTry: null, fault: '',
});
const off: Pairing = { is_on: false, name: null, deck_address: null, trust_address: null, trust_qr_svg: null, fingerprint: null, fingerprint_short: null, authority_until: null, devices: [] };
const on: Pairing = {
  ...off, is_on: true, name: 'backeddy.local', deck_address: 'https://backeddy.local:8340/deck', trust_address: 'http://192.0.2.7:8340/trust', trust_qr_svg: '<svg/>',
  fingerprint: '3F:A2', fingerprint_short: '3FA2 91C0 1111 2222', authority_until: '2027-06-14T00:00:00Z',
  devices: [{ id: '0123456789abcdef', label: 'A', author: 'Runa', role: 'crew', paired_at: '2026-06-14T21:05:03Z', last_seen_at: '2026-06-14T21:05:03Z' }],
};

async function textFor(role: string, pairing: Pairing): Promise<{ body: HTMLElement; text: string; asked: number }> {
  const fetcher = vi.fn(async () => new Response(JSON.stringify(pairing), { status: 200 }));
  vi.stubGlobal('fetch', fetcher);
  const body = shown(PhonesPart, { known: known(role) });
  flushSync();
  await vi.waitFor(() => expect(body.textContent).not.toContain('Asking about phones'));
  return { body, text: (body.textContent ?? '').replace(/\s+/g, ' '), asked: fetcher.mock.calls.length };
}
afterEach(() => vi.unstubAllGlobals());

describe('the page of phones', () => {
  it('asks nothing for who is no scientist, and says who may', async () => {
    const { text, asked } = await textFor('viewer', on);
    expect(text).toContain('You are signed in as viewer. Phones are paired and ended by a scientist');
    expect(text).not.toContain('Make a code');
    expect(asked).toBe(0);
  });
  it('says how phones come in where they cannot yet', async () => {
    const { text } = await textFor('scientist', off);
    expect(text).toContain('backeddy serve /studies/voe --deck');
    expect(text).not.toContain('Make a code');
  });
  it('shows what to compare, the next free mark, and the phones there are', async () => {
    const { body, text } = await textFor('scientist', on);
    expect(text).toContain('3FA2 91C0 1111 2222');
    expect(text).toContain('http://192.0.2.7:8340/trust');
    expect(text).toContain('Runa, crew');
    expect(body.querySelector<HTMLInputElement>('input.mark')?.value).toBe('B');
    expect(body.querySelector<HTMLButtonElement>('button[type="submit"]')?.disabled).toBe(true);
  });
  it('takes a phone’s queue file in, with or without phones, and leads to Files', async () => {
    for (const pairing of [on, off]) {
      const { body, text } = await textFor('scientist', pairing);
      expect(text).toContain('Choose a queue file');
      expect(body.querySelector('.queue-file a')?.getAttribute('href')).toBe('/set-up/files');
    }
  });
  it('takes nothing in for who is no scientist', async () => {
    expect((await textFor('viewer', on)).text).not.toContain('Choose a queue file');
  });
  it('of a laptop in no network, or with a certificate of its own, says that', async () => {
    expect((await textFor('scientist', { ...on, trust_address: null, trust_qr_svg: null })).text).toContain('in no network now');
    expect((await textFor('scientist', { ...on, fingerprint: null, fingerprint_short: null, authority_until: null })).text).toContain('a certificate of your own for backeddy.local');
  });
});
