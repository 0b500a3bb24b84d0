import { afterEach, describe, expect, it, vi } from 'vitest';
import { comesIn, ofPeople, tookIn } from '../src/data/queue';
import type { QueueLook, QueueTaken } from '../src/server/api';
import { lookAtQueue, takeInQueue } from '../src/server/queue';

const look = (more: Partial<QueueLook> = {}): QueueLook => ({
  study: 'Voe', is_of_this_study: true, device: '00c0ffee00c0ffee', made_at: '2026-06-14T12:00:00Z', authors: ['A. Keen'], entries: 12, added: 10,
  duplicates: 2, differing: 0, first_at: '2026-06-14T07:30:00Z', last_at: '2026-06-14T09:30:00Z', photos: 0, photos_added: 0, ...more,
});
const taken = (more: Partial<QueueTaken> = {}): QueueTaken => ({
  through: 12, added: 10, duplicates: 2, set_aside: [], complaints: [], photos_added: 0, photos_were_there: 0, photos_refused: [], ...more,
});

describe('a queue file in words', () => {
  it('says how much would come in, of when and by whom', () => {
    expect(comesIn(look(), 'UTC')).toEqual([
      '12 entries, of which 10 are new and 2 here already',
      'logged from 2026-06-14 07:30:00 +00:00 to 2026-06-14 09:30:00 +00:00',
      'by A. Keen, on the device 00c0ffee00c0ffee',
    ]);
    expect(comesIn(look({ entries: 1, added: 1, duplicates: 0, photos: 3, photos_added: 1 }), 'UTC')[0]).toBe('1 entry, of which all are new');
    expect(comesIn(look({ entries: 0, added: 0, authors: [], first_at: null, last_at: null }), 'UTC')).toHaveLength(1);
    expect(ofPeople(look())).toContain('keeps its author');
    expect(ofPeople(look({ authors: ['A. Keen', 'B. Reel'] }))).toContain('its own author');
  });
  it('says what was taken in', () => {
    expect(tookIn(taken())).toBe('10 entries taken in (2 entries were here already)');
    expect(tookIn(taken({ added: 1, duplicates: 0, photos_added: 2 }))).toBe('1 entry and 2 photos taken in');
    expect(tookIn(taken({ added: 0, duplicates: 1 }))).toBe('No entries taken in (1 entry was here already)');
  });
});

describe('a queue file on its way', () => {
  afterEach(() => vi.unstubAllGlobals());
  const answers = (body: unknown, status = 200) => {
    const fetcher = vi.fn(async (..._asked: [string, RequestInit]) => new Response(JSON.stringify(body), { status }));
    vi.stubGlobal('fetch', fetcher);
    return fetcher;
  };
  it('goes as it is, with the change token', async () => {
    const fetcher = answers(look());
    const file = new Blob(['{"backeddy_queue":1}']);
    expect((await lookAtQueue(file, 'token')).added).toBe(10);
    const [path, { body, headers }] = fetcher.mock.calls[0] ?? ['', {}];
    expect(path).toBe('/api/entries/queue/look');
    expect(body).toBe(file);
    expect(headers).toMatchObject({ 'Backeddy-Change-Token': 'token' });
  });
  it('says so where it is another study’s', async () => {
    const fetcher = answers(taken());
    await takeInQueue(new Blob(['{}']), true, '');
    expect(fetcher.mock.calls[0]?.[0]).toBe('/api/entries/queue?of_another_study=yes');
    await takeInQueue(new Blob(['{}']), false, '');
    expect(fetcher.mock.calls[1]?.[0]).toBe('/api/entries/queue');
  });
  it('hands on why it was refused', async () => {
    answers({ detail: 'this is no queue file', remedy: 'choose one that Deck wrote' }, 400);
    await expect(lookAtQueue(new Blob(['x']), '')).rejects.toMatchObject({ status: 400, whatToDo: 'choose one that Deck wrote' });
    answers({ hello: 1 });
    await expect(lookAtQueue(new Blob(['x']), '')).rejects.toThrow('no "entries"');
  });
});
