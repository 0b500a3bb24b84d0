// The state of the deck: what comes next, what is due, and that phones with the same entries show the same, whatever the
// order and the repetitions in which these came.
import { describe, expect, it } from 'vitest';
import { baseOf, numberOf } from '../src/deck/base';
import { layOver } from '../src/deck/edits';
import { inOrder, type Entry } from '../src/deck/entry';
import * as press from '../src/deck/presses';
import { deckState, drawnMl, type DeckState, type FishCard } from '../src/deck/state';
import { base as raw, chance, phone, shuffled, start, type Phone } from './deck_bench';

const base = baseOf(raw);
const namer = { mark: 'K', device: '0000000000000000', others: [] };
const minutes = (n: number) => n * 60_000;
const stateOf = (it: Phone): DeckState => deckState(base, it.queue.entries, it.clock.ms);
const telling = (it: Phone, ago = 0) => ({ at: it.clock.ms - ago, who: it.queue.kept.author });
const only = (state: DeckState): FishCard => {
  expect(state.fish).toHaveLength(1);
  return state.fish[0] as FishCard;
};

async function hooked(it: Phone): Promise<FishCard> {
  await it.queue.put(press.rodEvent('bite', 'port bow', 'single', telling(it)));
  it.clock.ms += 4000;
  await it.queue.put(press.rodEvent('hook_up', 'port bow', 'single', telling(it)));
  return only(stateOf(it));
}

async function landed(it: Phone): Promise<FishCard> {
  const card = await hooked(it);
  it.clock.ms += minutes(3);
  const state = stateOf(it);
  await it.queue.put(press.landed(card, press.proposedName(state, it.clock.ms, base.zone, namer), base, state, telling(it)));
  return only(stateOf(it));
}

describe('a fish', () => {
  it('goes from bite to release, each step said before it is due', async () => {
    const it = await phone('00000000000000aa');
    const step = async (make: (card: FishCard, state: DeckState) => press.Draft[]) => {
      it.clock.ms += minutes(1);
      await it.queue.put(make(only(stateOf(it)), stateOf(it)));
      return stateOf(it);
    };
    expect((await hooked(it)).next).toBe('landed');
    it.clock.ms += minutes(2);
    let state = await step((card, now) => press.landed(card, press.proposedName(now, it.clock.ms, base.zone, namer), base, now, telling(it)));
    let card = only(state);
    expect([card.name, card.next, card.place, card.rod, card.rig]).toEqual(['0608-Kaa1', 'back_in_water', 'deck', 'port bow', 'single']);
    expect(card.stamps.map(({ event }) => event)).toEqual(['bite', 'hook_up', 'landed']);
    expect(state.tables.encounters?.at(-1)?.cells).toMatchObject({ fish: '0608-Kaa1', rig: 'single', method: 'angling', at: '2026-06-08T06:00:04.000Z' });
    card = only(await step((each) => press.fishEvent('back_in_water', each, telling(it))));
    expect([card.next, card.sealBy]).toEqual(['sealed', it.clock.ms + 120_000]);
    card = only(await step((each) => press.fishEvent('sealed', each, telling(it), { assembly: 'tube 1' })));
    expect([card.next, card.place, card.assembly, card.sealBy]).toEqual(['blood', 'chamber', 'tube 1', null]);
    expect(card.blood.dueAt).toBe((card.landed ?? 0) + minutes(45));
    await step((each) => press.weighed(each, telling(it), 412.5));
    state = await step((each) => press.bloodDrawn(each, telling(it), 0.3));
    card = only(state);
    expect([card.next, card.blood.dueAt, card.massG]).toEqual(['taken_out', null, 412.5]);
    expect(press.bloodRoom(card, base, drawnMl(state.tables, card.name, null, it.clock.ms)).ml).toBe(0.31);
    card = only(await step((each, now) => press.takenOut(each, now, telling(it), each.role)));
    expect([card.next, card.place, card.lastRole]).toEqual(['sealed', 'water', 'after_capture']);
    await step((each) => press.fishEvent('sealed', each, telling(it), { assembly: 'tank 1' }));
    card = only(await step((each, now) => press.takenOut(each, now, telling(it), each.role)));
    expect([card.next, card.lastRole]).toEqual(['chase_start', 'rest']);
    await step((each) => press.fishEvent('chase_start', each, telling(it)));
    card = only(await step((each) => press.fishEvent('chase_end', each, telling(it))));
    expect([card.next, card.chase.count, card.role]).toEqual(['sealed', 1, 'after_chase']);
    await step((each) => press.fishEvent('sealed', each, telling(it), { assembly: 'tube 1' }));
    state = await step((each, now) => press.released(each, now, telling(it)));
    expect(state.fish).toEqual([]);
    expect(state.over[0]?.place).toBe('released');
    expect(state.tables.stays?.map(({ cells }) => [cells.stay, cells.assembly, cells.role])).toEqual([
      ['0608-Kaa1-s1', 'tube 1', 'after_capture'], ['0608-Kaa1-s2', 'tank 1', 'rest'], ['0608-Kaa1-s3', 'tube 1', 'after_chase'],
    ]);
    expect(state.used).toEqual({ fish: 2, chases: 1 });
    expect(state.worries).toEqual([]);
  });

  it('that was lost leaves its rod', async () => {
    const it = await phone('00000000000000aa');
    await hooked(it);
    it.clock.ms += 30_000;
    await it.queue.put(press.rodEvent('lost', 'port bow', 'single', telling(it), 'line broke'));
    const state = stateOf(it);
    expect(state.fish).toEqual([]);
    expect(state.rods[0]?.hooked).toEqual([]);
    expect(state.over[0]?.place).toBe('lost');
  });

  it('has its air counted, longest and all', async () => {
    const it = await phone('00000000000000aa');
    await landed(it);
    for (const s of [12, 20]) {
      await it.queue.put(press.fishEvent('air_start', only(stateOf(it)), telling(it)));
      expect(only(stateOf(it)).next).toBe('air_end');
      it.clock.ms += s * 1000;
      await it.queue.put(press.fishEvent('air_end', only(stateOf(it)), telling(it)));
    }
    expect(only(stateOf(it)).air).toEqual({ since: null, longestS: 20, totalS: 32 });
  });

  it('that dies in its chamber has a stay that ended so', async () => {
    const it = await phone('00000000000000aa');
    await landed(it);
    await it.queue.put(press.fishEvent('sealed', only(stateOf(it)), telling(it), { assembly: 'tube 1' }));
    it.clock.ms += minutes(5);
    await it.queue.put(press.died(only(stateOf(it)), stateOf(it), telling(it)));
    expect(stateOf(it).tables.stays?.[0]?.cells).toMatchObject({ ended: 'died', role: 'after_capture' });
    expect(stateOf(it).over[0]?.place).toBe('dead');
  });

  it('told late stands at its time and is marked', async () => {
    const it = await phone('00000000000000aa');
    await landed(it);
    it.clock.ms += minutes(5);
    await it.queue.put(press.fishEvent('back_in_water', only(stateOf(it)), telling(it, minutes(4))));
    const stamp = only(stateOf(it)).stamps.at(-1);
    expect([stamp?.event, stamp?.at, stamp?.isLate]).toEqual(['back_in_water', it.clock.ms - minutes(4), true]);
  });

  it('has its corrected time with the first one kept', async () => {
    const it = await phone('00000000000000aa');
    const card = await landed(it);
    const stamp = card.stamps.at(-1);
    if (!stamp) throw new Error('no stamp');
    await it.queue.put(press.setCells('events', stamp.row, { at: new Date(stamp.at - 30_000).toISOString() }, 'pressed late'));
    const after = only(stateOf(it)).stamps.at(-1);
    expect(after?.at).toBe(stamp.at - 30_000);
    expect(after?.row.changes.map(({ was }) => was)).toEqual([new Date(stamp.at).toISOString()]);
  });

  it('of a file is changed by what the file has', async () => {
    const it = await phone('00000000000000aa');
    const row = stateOf(it).tables.fish?.[0];
    if (!row) throw new Error('no row');
    const drafts = press.setCells('fish', row, { mass_g: '512' });
    expect(drafts[0]?.content).toEqual({ table: 'fish', row: { fish: 'T01', species: 'Salmo trutta', mass_g: '400,5' }, cells: { mass_g: { was: '400,5', now: '512' } } });
    await it.queue.put(drafts);
    expect(stateOf(it).tables.fish?.[0]?.cells.mass_g).toBe('512');
    expect(stateOf(it).worries).toEqual([]);
  });

  it('takes another name in all its rows', async () => {
    const it = await phone('00000000000000aa');
    await landed(it);
    await it.queue.put(press.renamed(stateOf(it), '0608-Kaa1', 'Bella') ?? []);
    const card = only(stateOf(it));
    expect(card.name).toBe('Bella');
    expect(card.stamps.map(({ event }) => event)).toEqual(['bite', 'hook_up', 'landed']);
    expect(press.renamed(stateOf(it), 'T01', 'Bella')).toBeNull();
  });
});

describe('blood', () => {
  const card = (massG: number | null) => ({ massG, name: 'x' }) as FishCard;
  it('is said in mL before the draw, rounded down, or why it cannot be', () => {
    expect(press.bloodRoom(card(400), base, { ml: 0, isKnown: true }).ml).toBe(0.6);
    expect(press.bloodRoom(card(399), base, { ml: 0.11, isKnown: true }).ml).toBe(0.48);
    expect(press.bloodRoom(card(400), base, { ml: 9, isKnown: true }).ml).toBe(0);
    expect(press.bloodRoom(card(null), base, { ml: 0, isKnown: true })).toMatchObject({ ml: null });
    expect(press.bloodRoom(card(400), base, { ml: 0, isKnown: false }).ml).toBeNull();
    expect(press.bloodRoom(card(400), { ...base, blood: { ceiling_ml_per_kg: null, ceiling_within_h: null, due_min: null } }, { ml: 0, isKnown: true }).text).toContain('names no ceiling');
  });
});

describe('typed numbers', () => {
  it('have a point or a comma, and nothing that can be read in two ways', () => {
    expect(['412', '412,5', '412.5', ' 0,3 ', ',5'].map(numberOf)).toEqual([412, 412.5, 412.5, 0.3, 0.5]);
    expect(['', '1,234.5', '1.2.3', '4e2', '-3', 'x'].map(numberOf)).toEqual([null, null, null, null, null, null]);
  });
});

// ---- many phones

const words = ['bite', 'hook_up', 'lost', 'landed', 'back_in_water', 'sealed', 'air_start', 'air_end', 'blood', 'taken_out', 'released', 'undo', 'note', 'correct'];

/** Presses at random whatever the phone shows; now and then it hears of the others. */
async function season(seed: number, count: number): Promise<{ phones: Phone[]; entries: Entry[] }> {
  const random = chance(seed);
  const phones = await Promise.all(['0a', '0b', '0c'].map((end, i) => phone(`00000000000000${end}`, { ms: start + i * 20_000 })));
  const all: Entry[] = [];
  while (all.length < count) {
    const it = phones[Math.floor(random() * 3)] as Phone;
    it.clock.ms += Math.floor(random() * 40_000) - 2000;
    if (random() < 0.1) await it.queue.took(all.filter(() => random() < 0.5), 0);
    all.push(...(await it.queue.put(atRandom(it, random))));
  }
  return { phones, entries: all };
}

function atRandom(it: Phone, random: () => number): press.Draft[] {
  const state = stateOf(it);
  const word = words[Math.floor(random() * words.length)] as string;
  const rod = base.rods[Math.floor(random() * 4)] as string;
  const card = state.fish[Math.floor(random() * state.fish.length)];
  const at = telling(it, random() < 0.2 ? Math.floor(random() * 300_000) : 0);
  if (!card || word === 'bite' || word === 'hook_up' || card.name === '') {
    if (card && word === 'landed') return press.landed(card, press.proposedName(state, at.at, 'UTC', { ...namer, mark: it.queue.kept.mark, device: it.queue.kept.device }), base, state, at);
    return press.rodEvent(word === 'lost' ? 'lost' : word === 'bite' ? 'bite' : 'hook_up', rod, 'single', at);
  }
  const stamp = card.stamps.at(-1);
  switch (word) {
    case 'blood':
      return press.bloodDrawn(card, at, 0.2);
    case 'taken_out':
      return press.takenOut(card, state, at, card.role);
    case 'released':
      return press.released(card, state, at);
    case 'undo':
      return stamp?.entry ? [press.undo(stamp.row.addedBy)] : [];
    case 'correct':
      return stamp ? press.setCells('events', stamp.row, { at: new Date(stamp.at - 1000).toISOString() }) : [];
    default:
      return press.fishEvent(word, card, at, word === 'sealed' ? { assembly: 'tube 1' } : {});
  }
}

describe('three phones', () => {
  it('show the same after 500 entries in any order, some of them twice', async () => {
    for (const seed of [1, 2, 3, 4]) {
      const { entries, phones } = await season(seed, 500);
      const now = Math.max(...phones.map(({ clock }) => clock.ms));
      const state = deckState(base, inOrder(entries), now);
      expect(state.fish.length + state.over.length).toBeGreaterThan(5);
      const expected = JSON.stringify(state);
      for (let i = 0; i < 5; ++i) {
        const random = chance(100 * seed + i);
        const mixed = shuffled([...entries, ...entries.filter(() => random() < 0.3)], random);
        expect(JSON.stringify(deckState(base, inOrder(mixed), now))).toBe(expected);
      }
      // In batches, as they arrive, over another phone's own entries.
      const last = phones[2] as Phone;
      const mixed = shuffled(entries, chance(seed + 77));
      for (let i = 0; i < mixed.length; i += 37) await last.queue.took(mixed.slice(i, i + 37), i);
      expect(JSON.stringify(deckState(base, last.queue.entries, now))).toBe(expected);
      expect(new Set(entries.map(({ device, sequence }) => `${device}:${sequence}`)).size).toBe(entries.length);
    }
  });

  it('leave no row that no entry made, and lose none', async () => {
    const { entries } = await season(9, 300);
    const { tables, undone } = layOver({}, inOrder(entries));
    const made = entries.filter(({ act }) => act === 'add').map(({ device, sequence }) => `${device}:${sequence}`).filter((id) => !undone.has(id)).sort();
    expect(Object.values(tables).flat().map(({ addedBy }) => addedBy).sort()).toEqual(made);
  });

  it('of one mark name no two fish alike, whatever they know of each other', async () => {
    const state = stateOf(await phone('00000000000000aa'));
    const names = (device: string, others: string[]) => press.proposedName(state, start, 'UTC', { mark: 'K', device, others });
    const random = chance(5);
    const devices = Array.from({ length: 40 }, () => Array.from({ length: 16 }, () => Math.floor(random() * 16).toString(16)).join(''));
    // The last digits alone make the first letters alike.
    devices.push('0000000000000211', '0000000000100211', '0000000000000000');
    const proposed = devices.map((device) => names(device, devices));
    expect(new Set(proposed).size).toBe(devices.length);
    expect(proposed.every((name) => /^0608-K[a-z]{2,15}1$/.test(name))).toBe(true);
    // Two that have never met: their own letters differ as the devices do.
    expect(names('00000000000000aa', [])).not.toBe(names('00000000000000bb', []));
  });

  it('tell of two fish of one name, and part them again by who named them', async () => {
    const [a, b] = [await phone('00000000000000aa'), await phone('00000000000000bb', { author: 'B. Storm' })];
    for (const it of [a, b]) {
      await landed(it);
      await it.queue.put(press.weighed(only(stateOf(it)), telling(it), it === a ? 400 : 500));
    }
    const all = () => deckState(base, inOrder([...a.queue.entries, ...b.queue.entries]), a.clock.ms);
    const joined = all();
    expect(joined.worries.join()).toContain('Two fish are called 0608-Kaa1');
    expect(joined.fish.find(({ name }) => name === '0608-Kaa1')?.isTwice).toBe(true);
    expect(press.namesakes(joined, '0608-Kaa1').map(({ device }) => device).sort()).toEqual(['00000000000000aa', '00000000000000bb']);
    await a.queue.took(b.queue.entries, 0);
    await a.queue.put(press.renamed(stateOf(a), '0608-Kaa1', 'Bella', '00000000000000bb') ?? []);
    const parted = all();
    expect(parted.worries.filter((worry) => worry.includes('are called'))).toEqual([]);
    expect(parted.fish.map(({ name, massG, isTwice, stamps }) => [name, massG, isTwice, stamps.map(({ event }) => event).join()]).sort()).toEqual([
      ['0608-Kaa1', 400, false, 'bite,hook_up,landed,weighed'], ['Bella', 500, false, 'bite,hook_up,landed,weighed'],
    ]);
    expect(parted.tables.encounters?.map(({ cells }) => [cells.fish, cells.encounter]).sort()).toEqual([['0608-Kaa1', '0608-Kaa1-e1'], ['Bella', 'Bella-e1']]);
  });

  it('tell of one fish that two of them hooked', async () => {
    const [a, b] = [await phone('00000000000000aa'), await phone('00000000000000bb')];
    await hooked(a);
    await hooked(b);
    expect(deckState(base, inOrder([...a.queue.entries, ...b.queue.entries]), start + 9000).worries.join()).toContain('Two hook-ups on port bow');
  });
});
