import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { isAnythingTyped, keepSheet, sheetMemory, wordOf } from '../src/pages/setup/sheets';

const device = new Map<string, string>();
beforeEach(() => {
  device.clear();
  vi.stubGlobal('localStorage', { getItem: (name: string) => device.get(name) ?? null, setItem: (name: string, text: string) => device.set(name, text), removeItem: (name: string) => device.delete(name) });
});
afterEach(() => void vi.unstubAllGlobals());

/** As after a crash: nothing but what the device kept. */
async function reopened() {
  vi.resetModules();
  return import('../src/pages/setup/sheets');
}

it('a table’s typed cells are kept while the pages are open', () => {
  const memory = sheetMemory('s', 'fish');
  expect(isAnythingTyped()).toBe(false);
  memory.typed.put('row', 'mass_g', { text: 'x', fault: '', state: 'typed', batch: memory.typed.newBatch() });
  expect(sheetMemory('s', 'fish')).toBe(memory);
  expect(isAnythingTyped()).toBe(true);
  memory.typed.remove('row', 'mass_g');
});

it('what is sent again, since its answer was lost, has its word; what is sent anew has another', () => {
  const memory = sheetMemory('s', 'stays');
  const word = wordOf(memory, 1, 'a');
  expect(word).toMatch(/^[0-9a-f]{24}$/);
  expect(wordOf(memory, 1, 'a')).toBe(word);
  expect(wordOf(memory, 1, 'b')).not.toBe(word);
  expect(wordOf(memory, 2, 'a')).not.toBe(word);
});

it('what was typed survives a crash of the page, with its batches, drafts and words, and is not sent by itself', async () => {
  const { typed, words } = sheetMemory('s', 'events');
  const batch = typed.newBatch();
  typed.put('file {"fish":"T01"}', 'mass_g', { text: '51x', fault: 'no number', state: 'refused', batch });
  typed.put(typed.newDraft(), 'at', { text: '2026-06-14 08:00', fault: '', state: 'sending', batch: typed.newBatch() });
  words.set(batch, { wishes: '[]', word: 'abc' });
  words.set(99, { wishes: '[]', word: 'of what was taken' });
  keepSheet('s', 'events', sheetMemory('s', 'events'));
  const { sheetMemory: again } = await reopened();
  const back = again('s', 'events');
  expect(back.isFromBefore).toBe(true);
  expect(back.typed.at('file {"fish":"T01"}', 'mass_g')).toEqual({ text: '51x', fault: '', state: 'typed', batch });
  expect(back.typed.drafts).toEqual(['new 1']);
  expect(back.typed.newDraft()).toBe('new 2');
  expect(back.typed.newBatch()).toBe(batch + 2);
  expect([...back.words]).toEqual([[batch, { wishes: '[]', word: 'abc' }]]);
  expect([...back.unsent.keys()].sort()).toEqual([batch, batch + 1]);
  expect(again('another study', 'events').typed.count).toBe(0);
  expect(again('s', 'fish').typed.count).toBe(0);
});

it('what was taken is forgotten on the device', () => {
  const memory = sheetMemory('s', 'blood');
  const batch = memory.typed.newBatch();
  memory.typed.put('row', 'value', { text: '1', fault: '', state: 'typed', batch });
  keepSheet('s', 'blood', memory);
  expect(device.size).toBe(1);
  memory.typed.drop(batch);
  keepSheet('s', 'blood', memory);
  expect(device.size).toBe(0);
});

it('cells of rows that have gone are dropped, those of rows to be are not', () => {
  const { typed } = sheetMemory('s', 'fins');
  typed.put('there', 'a', { text: '1', fault: '', state: 'typed', batch: 1 });
  typed.put('gone', 'a', { text: '1', fault: '', state: 'typed', batch: 1 });
  typed.put(typed.newDraft(), 'a', { text: '1', fault: '', state: 'typed', batch: 2 });
  expect(typed.dropLost(new Set(['there']))).toBe(1);
  expect(typed.count).toBe(2);
});

it.each(['', '{', '[]', '{"cells":3}', '{"cells":[["a"]],"drafts":[1]}', 'null'])('a kept text that is not ours (%s) gives nothing', async (text) => {
  device.set('backeddy grid s fates', text);
  device.set('backeddy grid s fates words', text);
  const { sheetMemory: again } = await reopened();
  expect(again('s', 'fates').typed.count).toBe(0);
});
