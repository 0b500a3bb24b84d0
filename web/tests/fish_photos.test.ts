// @vitest-environment jsdom
// Photos on a fish's page: each with what was noted, led to by its hash.
import { flushSync } from 'svelte';
import { afterEach, describe, expect, it, vi } from 'vitest';
import { photosOf } from '../src/data/photos';
import FishPhotos from '../src/pages/FishPhotos.svelte';
import { shown } from './drawing';

const sha256 = '0123456789abcdef'.repeat(4);
const other = 'b'.repeat(64);
const row = (...cells: string[]) => ({ line: 2, added_by: '', cells, in_file: cells });
const grid = {
  file: 'events.csv', exists: true, has_decimal_comma: false, columns: ['at', 'event', 'fish', 'who', 'note', 'photo'],
  rows: [
    row('2026-06-14 10:00', 'note', 'T01', 'A. Keen', 'left pectoral', `${sha256} ${other}`), row('2026-06-14 10:01', 'back_in_water', 'T01', '', '', sha256),
    row('2026-06-14 10:02', 'note', 'T02', '', 'hook wound', other), row('2026-06-14 10:03', 'note', 'T01', '', 'no hash', '../fish.csv'), row('2026-06-14 10:04', 'landed', 'T01', '', '', ''),
  ],
};
afterEach(() => vi.unstubAllGlobals());

describe('photos of a fish', () => {
  it('are those of its events, several of one too, and nothing that is no hash', () => {
    expect(photosOf(grid, 'T01').map(({ sha256: each, what }) => [each, what])).toEqual([[sha256, 'left pectoral'], [other, 'left pectoral'], [sha256, 'back in water']]);
    expect(photosOf(grid, 'T03')).toEqual([]);
    expect(photosOf({ columns: ['at', 'fish'], rows: [row('', 'T01')] }, 'T01')).toEqual([]);
  });
  it('stand with what they show, counted, and lead to themselves', async () => {
    vi.stubGlobal('fetch', vi.fn(async () => new Response(JSON.stringify(grid), { status: 200 })));
    const body = shown(FishPhotos, { fish: 'T02', revision: '1' });
    flushSync();
    await vi.waitFor(() => expect(body.querySelector('img')).not.toBeNull());
    expect(body.querySelector('img')?.getAttribute('src')).toBe(`/api/photos/${other}`);
    expect(body.querySelector('img')?.getAttribute('alt')).toBe('T02: hook wound');
    expect(body.querySelector('h3')?.textContent).toBe('1 photo');
    // One that is named and not there says so.
    body.querySelector('img')?.dispatchEvent(new Event('error'));
    flushSync();
    expect(body.textContent).toContain('it may still be on the phone');
  });
});
