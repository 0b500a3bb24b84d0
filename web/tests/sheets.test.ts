import { expect, it } from 'vitest';
import { isAnythingTyped, sheetMemory, wordOf } from '../src/pages/setup/sheets';

it('a table’s typed cells are kept while the pages are open', () => {
  const memory = sheetMemory('fish');
  expect(isAnythingTyped()).toBe(false);
  memory.typed.put('row', 'mass_g', { text: 'x', fault: '', state: 'typed', batch: memory.typed.newBatch() });
  expect(sheetMemory('fish')).toBe(memory);
  expect(isAnythingTyped()).toBe(true);
  memory.typed.remove('row', 'mass_g');
});

it('what is sent again, since its answer was lost, has its word; what is sent anew has another', () => {
  const memory = sheetMemory('stays');
  const word = wordOf(memory, 1, 'a');
  expect(word).toMatch(/^[0-9a-f]{24}$/);
  expect(wordOf(memory, 1, 'a')).toBe(word);
  expect(wordOf(memory, 1, 'b')).not.toBe(word);
  expect(wordOf(memory, 2, 'a')).not.toBe(word);
});
