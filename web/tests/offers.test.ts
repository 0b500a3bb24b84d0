import { expect, it, vi } from 'vitest';
import { Offer } from '../src/pages/setup/offers.svelte';
import { Problem } from '../src/server/request';

const setup = vi.hoisted(() => ({ offerFile: vi.fn(), lookAgain: vi.fn(), takeIn: vi.fn() }));
vi.mock('../src/server/setup', () => ({ mostOfferedBytes: 256 * 2 ** 20, ...setup }));

const file = (name: string, size: number) => ({ name, size }) as File;
const look = (id: string, places: { trace: string; place: string }[] = []) => ({ id, name: 'day9.csv', stop: null, columns: [], places });

it('a file too large, or empty, is told before it is sent', () => {
  const large = new Offer(file('night.csv', 300 * 2 ** 20), 1);
  expect(large.state).toBe('failed');
  expect(large.problem?.message).toBe('night.csv has 314.6 MB; through this page go at most 256 MiB');
  expect(large.problem?.whatToDo).toContain('by hand');
  expect(new Offer(file('night.csv', 0), 2).problem?.message).toContain('is empty');
  expect(new Offer(file('night.csv', 256 * 2 ** 20), 3).state).toBe('waiting');
  expect(setup.offerFile).not.toHaveBeenCalled();
});

it('where one trace alone would take it, it is read as that one says; of several nobody chooses for you', async () => {
  setup.offerFile.mockResolvedValue(look('a', [{ trace: 'boat', place: 'raw/boat/day9.csv' }]));
  setup.lookAgain.mockResolvedValue(look('a'));
  const one = new Offer(file('day9.csv', 10), 1);
  await one.send('t');
  expect(setup.lookAgain).toHaveBeenCalledWith('a', { trace: 'boat' }, 't', expect.anything());
  expect(one.goal).toEqual({ kind: 'there', trace: 'boat', place: 'raw/boat/day9.csv' });
  setup.offerFile.mockResolvedValue(look('b', [{ trace: 'boat', place: 'x' }, { trace: 'shore', place: 'y' }]));
  const two = new Offer(file('day9.csv', 10), 2);
  await two.send('t');
  expect(two.goal).toEqual({ kind: 'new' });
});

it('a file that the program let go is sent again, and taken with what was said of it', async () => {
  setup.offerFile.mockResolvedValueOnce(look('old')).mockResolvedValueOnce(look('fresh'));
  setup.takeIn.mockRejectedValueOnce(new Problem(404, 'this file is not held any more', '')).mockResolvedValueOnce({ place: 'raw/day/day9.csv', sha256: '' });
  const offer = new Offer(file('day9.csv', 10), 1);
  await offer.send('t');
  offer.name = ' day ';
  offer.draft.file.date_order = 'day_month_year';
  await offer.take('t');
  expect(setup.takeIn).toHaveBeenLastCalledWith('fresh', { place: 'raw/day/day9.csv', settings: { name: 'day', date_order: 'day_month_year' } }, 't');
  expect(offer.state).toBe('taken');
});

it('a refusal leaves what was said', async () => {
  setup.offerFile.mockResolvedValueOnce(look('a'));
  setup.takeIn.mockRejectedValueOnce(new Problem(409, 'raw/day/day9.csv is there already', 'give it another name'));
  const offer = new Offer(file('day9.csv', 10), 1);
  await offer.send('t');
  await offer.take('t');
  expect([offer.state, offer.problem?.message, offer.look?.id]).toEqual(['seen', 'raw/day/day9.csv is there already', 'a']);
});
