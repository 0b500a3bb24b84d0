// What was logged is found again and corrected: every row that repeats it, with what stood first kept.
import { describe, expect, it } from 'vitest';
import { baseOf } from '../src/deck/base';
import { byId, corrected, correctedLook, levelsOf, logOf, lookTakenBack, looksOf, lookText, stampOf, toldOf, type Look } from '../src/deck/corrections';
import type { Row } from '../src/deck/edits';
import * as press from '../src/deck/presses';
import { deckState, type DeckState, type FishCard } from '../src/deck/state';
import { base as raw, phone, type Phone } from './deck_bench';

const base = baseOf(raw);
const minute = 60_000;
const stateOf = (it: Phone): DeckState => deckState(base, it.queue.entries, it.clock.ms);
const telling = (it: Phone) => ({ at: it.clock.ms, who: it.queue.kept.author });
const card = (it: Phone): FishCard => {
  const found = stateOf(it).fish[0];
  if (!found) throw new Error('no fish');
  return found;
};
const iso = (ms: number) => new Date(ms).toISOString();
const put = async (it: Phone, make: (card: FishCard, state: DeckState) => press.Draft[]) => {
  it.clock.ms += minute;
  await it.queue.put(make(card(it), stateOf(it)));
};
const eventRow = (it: Phone, event: string): Row => {
  const row = stateOf(it).tables.events?.filter(({ cells, addedBy }) => cells.event === event && addedBy !== '').at(-1);
  if (!row) throw new Error(`no ${event}`);
  return row;
};
const correct = async (it: Phone, row: Row, now: { at?: number; note?: string; value?: number | null }, table = 'events') => {
  const at = Date.parse(row.cells.at ?? row.cells.drawn_at ?? '');
  await it.queue.put(corrected(stateOf(it).tables, byId(it.queue.entries), table, row, { at, note: row.cells.note ?? '', value: null, ...now }));
};

async function landed(device = '00000000000000aa', author = 'A. Keen'): Promise<Phone> {
  const it = await phone(device, { author });
  await it.queue.put(press.rodEvent('hook_up', 'port bow', 'single', telling(it)));
  await put(it, (each, state) => press.landed(each, 'F1', base, state, telling(it)));
  return it;
}

async function looked(it: Phone): Promise<Look> {
  await put(it, (each) => [...press.finsScored(each, telling(it), 'landing', { dorsal: 'slight', caudal: 'whole' }), ...press.bodyScored(each, telling(it), 'landing', { head: 'none' })]);
  return only(looksOf(stateOf(it).tables, 'scores'));
}

function only<T>(list: readonly T[]): T {
  expect(list).toHaveLength(1);
  return list[0] as T;
}

describe('a press that is corrected', () => {
  it('changes the draw as well as its event: time, volume and note', async () => {
    const it = await landed();
    await put(it, (each) => press.bloodDrawn(each, telling(it), 0.3));
    const at = it.clock.ms - 90_000;
    await correct(it, eventRow(it, 'blood'), { at, value: 0.4, note: 'second try' });
    const { tables } = stateOf(it);
    expect(eventRow(it, 'blood').cells).toMatchObject({ at: iso(at), value: '0.4', note: 'second try' });
    expect(only(tables.blood ?? []).cells).toMatchObject({ drawn_at: iso(at), volume_ml: '0.4', note: 'second try' });
    expect(only(tables.blood ?? []).changes.map(({ was }) => was)).toContain('0.3');
    expect(card(it).blood).toMatchObject({ drawnMl: 0.4, draws: 1 });
  });

  it('leaves a draw of another press at the same moment alone', async () => {
    const it = await landed();
    await put(it, (each) => press.bloodDrawn(each, telling(it), 0.3));
    await it.queue.put(press.bloodDrawn(card(it), telling(it), 0.3));
    await correct(it, eventRow(it, 'blood'), { at: it.clock.ms - 5000, value: 0.1 });
    expect(stateOf(it).tables.blood?.map(({ cells }) => cells.volume_ml)).toEqual(['0.3', '0.1']);
    expect(stateOf(it).tables.blood?.map(({ cells }) => cells.drawn_at)).toEqual([iso(it.clock.ms), iso(it.clock.ms - 5000)]);
  });

  it('changes the mass that it gave its fish, and no mass that came after it', async () => {
    const it = await landed();
    await put(it, (each) => press.weighed(each, telling(it), 4125));
    await correct(it, eventRow(it, 'weighed'), { value: 412.5 });
    expect(card(it).fish?.cells.mass_g).toBe('412.5');
    await put(it, (each) => press.weighed(each, telling(it), 420));
    await correct(it, eventRow(it, 'weighed'), { value: 421 });
    expect([card(it).fish?.cells.mass_g, card(it).massG]).toEqual(['412.5', 421]);
  });

  it('moves the ends of the stay that it bounds, and the capture of its hook-up', async () => {
    const it = await landed();
    await put(it, (each) => press.fishEvent('sealed', each, telling(it), { assembly: 'tube 1' }));
    const sealed = it.clock.ms;
    await put(it, (each, state) => press.takenOut(each, state, telling(it), 'after_capture'));
    const out = it.clock.ms;
    await correct(it, eventRow(it, 'sealed'), { at: sealed - 7000 });
    await correct(it, eventRow(it, 'transfer'), { at: out - 3000 });
    expect(only(stateOf(it).tables.stays ?? []).cells).toMatchObject({ from: iso(sealed - 7000), to: iso(out - 3000) });
    const hookUp = Date.parse(eventRow(it, 'hook_up').cells.at ?? '');
    await correct(it, eventRow(it, 'hook_up'), { at: hookUp - 20_000 });
    expect(stateOf(it).tables.encounters?.at(-1)?.cells.at).toBe(iso(hookUp - 20_000));
    expect(stateOf(it).worries).toEqual([]);
  });

  it('writes nothing where nothing is said otherwise', async () => {
    const it = await landed();
    await put(it, (each) => press.bloodDrawn(each, telling(it), 0.3));
    const row = eventRow(it, 'blood');
    expect(corrected(stateOf(it).tables, byId(it.queue.entries), 'events', row, { at: it.clock.ms, note: '', value: 0.3 })).toEqual([]);
  });
});

describe('a look at fins and body', () => {
  it('is one, whatever tables its places stand in', async () => {
    const it = await landed();
    const look = await looked(it);
    expect([look.fish, look.occasion, look.at, look.who]).toEqual(['F1', 'landing', it.clock.ms, 'A. Keen']);
    expect([levelsOf(look, 'fins'), levelsOf(look, 'body')]).toEqual([{ dorsal: 'slight', caudal: 'whole' }, { head: 'none' }]);
    expect(lookText(look)).toBe('fins and body at landing, 3 places');
  });

  it('is corrected place by place: another level, one more, one not looked at; another time for all', async () => {
    const it = await landed();
    const look = await looked(it);
    const at = look.at - minute;
    await it.queue.put(correctedLook(look, { at, who: 'A. Keen' }, 'before_holding', { fins: { dorsal: 'severe' }, body: { head: 'none', belly: 'heavy' } }));
    const after = only(looksOf(stateOf(it).tables, 'scores'));
    expect([levelsOf(after, 'fins'), levelsOf(after, 'body')]).toEqual([{ dorsal: 'severe' }, { head: 'none', belly: 'heavy' }]);
    expect([after.at, after.occasion]).toEqual([at, 'before_holding']);
    expect(after.rows.find(({ row }) => row.cells.fin === 'dorsal')?.row.changes.map(({ column, was }) => [column, was])).toContainEqual(['score', 'slight']);
    expect(stateOf(it).worries).toEqual([]);
  });

  it('is taken back whole', async () => {
    const it = await landed();
    await it.queue.put(lookTakenBack(await looked(it)));
    expect(looksOf(stateOf(it).tables, 'scores')).toEqual([]);
  });

  it('writes nothing where nothing is changed', async () => {
    const it = await landed();
    const look = await looked(it);
    expect(correctedLook(look, { at: look.at, who: 'A. Keen' }, 'landing', { fins: levelsOf(look, 'fins'), body: levelsOf(look, 'body') })).toEqual([]);
  });

  it('of two people at one moment stays two looks', async () => {
    const it = await landed();
    await looked(it);
    await it.queue.put(press.finsScored({ name: 'F1' }, { at: it.clock.ms, who: 'B. Storm' }, 'landing', { dorsal: 'severe' }));
    await it.queue.put(press.finsScored({ name: 'F1' }, { at: it.clock.ms, who: 'B. Storm' }, 'landing', { dorsal: 'whole' }));
    expect(looksOf(stateOf(it).tables, 'scores').map((look) => levelsOf(look, 'fins').dorsal)).toEqual(['slight', 'severe', 'whole']);
  });
});

it('reflexes are corrected: there, gone, not tested', async () => {
  const it = await landed();
  await put(it, (each) => press.reflexesTested(each, telling(it), { righting: true, 'tail grab': false }));
  const look = only(looksOf(stateOf(it).tables, 'reflexes'));
  await it.queue.put(correctedLook(look, { at: look.at, who: 'A. Keen' }, '', { reflexes: { righting: 'no' } }));
  expect(levelsOf(only(looksOf(stateOf(it).tables, 'reflexes')), 'reflexes')).toEqual({ righting: 'no' });
});

it('a hook location is told with who said so and what stood before', async () => {
  const it = await landed();
  await put(it, (each) => press.ofEncounter(each, { hook_location: 'upper_jaw' }));
  await put(it, (each) => press.ofEncounter(each, { hook_location: 'lower_jaw' }));
  const told = toldOf(card(it).encounter, 'hook_location', byId(it.queue.entries));
  expect([told?.entry.author, told?.before]).toEqual(['A. Keen', ['upper_jaw']]);
  await put(it, (each) => press.ofEncounter(each, { hook_location: '' }));
  expect(card(it).hookLocation).toBe('');
});

describe('the log', () => {
  it('names everything that was entered once, with the room where it is corrected', async () => {
    const it = await landed();
    await put(it, (each) => press.bloodDrawn(each, telling(it), 0.3));
    await looked(it);
    await put(it, (each) => press.reflexesTested(each, telling(it), { righting: true }));
    await put(it, (each) => press.ofEncounter(each, { hook_location: 'upper_jaw' }));
    await put(it, (each, state) => press.held(each, state, telling(it)));
    await it.queue.put([press.addRow('blood', { fish: 'F1', drawn_at: iso(it.clock.ms), volume_ml: '0.2' })]);
    const { tables } = stateOf(it);
    const lines = logOf(tables, byId(it.queue.entries));
    const rooms = lines.map(({ text, room }) => `${text} > ${room.kind}`);
    for (const line of ['F1 · blood drawn · 0.3 mL > stamp', 'F1 · blood drawn · 0.2 mL > stamp', 'F1 · fins and body at landing, 3 places > scores', 'F1 · 1 reflex tested > reflexes', 'F1 · hook in upper jaw > hook', 'F1 · kept in holding > stamp', 'F1 · landed > stamp']) {
      expect(rooms.filter((each) => each === line), line).toHaveLength(1);
    }
    expect(lines.filter(({ text }) => text.includes('blood'))).toHaveLength(2);
    expect(new Set(lines.map(({ key }) => key)).size).toBe(lines.length);
    expect(lines.map(({ at }) => at)).toEqual(lines.map(({ at }) => at).sort((a, b) => b - a));
    for (const { room } of lines) if (room.kind === 'stamp') expect(stampOf(tables, byId(it.queue.entries), room.id)?.stamp.row.addedBy).toBe(room.id);
  });
});
