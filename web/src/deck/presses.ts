// What a press writes: one or a few entries, as rows of the study's tables (add, set, undo). The time is when it happened,
// which may be before it was told.
import { cellOf, isoOf, type Base } from './base';
import type { Cells, Row } from './edits';
import type { DeckState, FishCard } from './state';

export interface Draft {
  act: 'add' | 'set' | 'undo';
  content: Record<string, unknown>;
  reason: string;
}

/** Who says so, when it happened, and on which phone. */
export interface Telling {
  at: number;
  who: string;
}

export const addRow = (table: string, row: Cells): Draft => ({
  act: 'add', content: { table, row: Object.fromEntries(Object.entries(row).filter(([, cell]) => cell !== '')) }, reason: '',
});

/** What a set replaces: of a cell of a file that nobody has changed, what the file has. */
const wasOf = (row: Row, column: string): string =>
  row.changes.some((change) => change.column === column) ? (row.cells[column] ?? '') : (row.inFile?.[column] ?? row.cells[column] ?? '');

/** Cells of a row that is named by its entry, or by what stands in its file. */
export function setCells(table: string, row: Row, now: Cells, reason = ''): Draft[] {
  const changed = Object.entries(now).filter(([column, cell]) => (row.cells[column] ?? '') !== cell);
  if (changed.length === 0) return [];
  const cells = Object.fromEntries(changed.map(([column, cell]) => [column, { was: wasOf(row, column), now: cell }]));
  const which = row.addedBy !== '' ? { added_by: row.addedBy } : { row: row.inFile ?? {} };
  return [{ act: 'set', content: { table, ...which, cells }, reason }];
}

export const undo = (entry: string, reason = ''): Draft => ({ act: 'undo', content: { entry }, reason });

const event = (word: string, { at, who }: Telling, cells: Cells = {}): Draft => addRow('events', { at: isoOf(at), event: word, who, ...cells });

// ---- rods

export const rodEvent = (word: 'lines_in' | 'lines_out' | 'bite' | 'hook_up' | 'lost', rod: string, rig: string, telling: Telling, note = ''): Draft[] => [
  event(word, telling, { rod, rig, note }),
];

// ---- fish

const codeLetters = 'abcdefghjkmnpqrstuvwxyz';

/** Letters that no other known device has in this place: two, or as many as it takes. Each device has 14 of its own. */
export function codeOf(device: string, others: Iterable<string>): string {
  const all = (id: string): string => {
    let rest = BigInt(`0x${id}`);
    let out = '';
    for (let i = 0; i < 15; ++i) {
      out += codeLetters[Number(rest % 23n)] ?? '';
      rest /= 23n;
    }
    return out;
  };
  const own = all(device);
  const theirs = [...new Set(others)].filter((each) => each !== device).map(all);
  let count = 2;
  while (count < own.length && theirs.some((each) => each.startsWith(own.slice(0, count)))) ++count;
  return own.slice(0, count);
}

/** Whose phone it is, in the names of fish that it lands: its mark, which somebody chose, and its own letters, so that two
 *  phones of one mark name no two fish alike. */
export interface Namer {
  mark: string;
  device: string;
  /** devices whose entries are known here */
  others: readonly string[];
}

/** "0608-KAfq3": month and day at the study's place, the phone's mark and letters, a count that is still free. */
export function proposedName(state: DeckState, at: number, zone: string, { mark, device, others }: Namer): string {
  let day = '';
  try {
    const parts = new Intl.DateTimeFormat('en-GB', { month: '2-digit', day: '2-digit', ...(zone === '' ? {} : { timeZone: zone }) }).formatToParts(at);
    day = ['month', 'day'].map((type) => parts.find((part) => part.type === type)?.value ?? '').join('');
  } catch {
    day = isoOf(at).slice(5, 10).replace('-', '');
  }
  const taken = new Set((state.tables.fish ?? []).map((row) => row.cells.fish));
  const begin = `${day}-${mark}${codeOf(device, others)}`;
  let count = 1;
  while (taken.has(`${begin}${count}`)) ++count;
  return `${begin}${count}`;
}

/** Its landing gives a fish its name, a row of its own and an encounter; its bite and hook-up are told whose they were. */
export function landed(card: FishCard, name: string, base: Base, state: DeckState, telling: Telling): Draft[] {
  const known = (state.tables.fish ?? []).some((row) => row.cells.fish === name);
  const met = (state.tables.encounters ?? []).filter((row) => row.cells.fish === name).length;
  return [
    ...(known ? [] : [addRow('fish', { fish: name, species: base.species[0] ?? '' })]),
    addRow('encounters', { encounter: `${name}-e${met + 1}`, fish: name, at: isoOf(card.hookUp ?? telling.at), method: 'angling', who: telling.who, rig: card.rig }),
    ...card.stamps.filter((stamp) => stamp.event === 'bite' || stamp.event === 'hook_up').flatMap((stamp) => setCells('events', stamp.row, { fish: name })),
    event('landed', telling, { fish: name, rod: card.rod, rig: card.rig }),
  ];
}

export const fishEvent = (word: string, card: FishCard, telling: Telling, cells: Cells = {}): Draft[] => [event(word, telling, { fish: card.name, ...cells })];

/** The row of the stay that ends; nothing while it is in no chamber. */
function stayOf(card: FishCard, state: DeckState, to: number, role: string, ended = ''): Draft[] {
  if (card.place !== 'chamber' || card.sealed === null) return [];
  const count = new Set((state.tables.stays ?? []).filter((row) => row.cells.fish === card.name).map((row) => row.cells.stay)).size;
  return [addRow('stays', { stay: `${card.name}-s${count + 1}`, fish: card.name, assembly: card.assembly, role, from: isoOf(card.sealed), to: isoOf(to), ended })];
}

export const takenOut = (card: FishCard, state: DeckState, telling: Telling, role: string): Draft[] => [
  event('transfer', telling, { fish: card.name, assembly: card.assembly }), ...stayOf(card, state, telling.at, role),
];

export const released = (card: FishCard, state: DeckState, telling: Telling, note = ''): Draft[] => [
  ...stayOf(card, state, telling.at, card.role), event('released', telling, { fish: card.name, note }),
];

export const held = (card: FishCard, state: DeckState, telling: Telling, note = ''): Draft[] => [
  ...stayOf(card, state, telling.at, card.role), addRow('fates', { fish: card.name, at: isoOf(telling.at), what: 'held', note }),
];

export const died = (card: FishCard, state: DeckState, telling: Telling, note = ''): Draft[] => [
  ...stayOf(card, state, telling.at, card.role, 'died'), event('died', telling, { fish: card.name, note }),
];

/** `ml` of blood; the number stands with the draw as well as with the event. */
export const bloodDrawn = (card: FishCard, telling: Telling, ml: number, note = ''): Draft[] => [
  event('blood', telling, { fish: card.name, assembly: card.assembly, value: cellOf(ml), unit: 'mL', note }),
  addRow('blood', { fish: card.name, drawn_at: isoOf(telling.at), volume_ml: cellOf(ml), who: telling.who, note }),
];

/** Mass in g; fish.csv has the first one, an event each. */
export const weighed = (card: FishCard, telling: Telling, massG: number): Draft[] => [
  ...((card.fish?.cells.mass_g ?? '') === '' ? ofFish(card, { mass_g: cellOf(massG), mass_source: 'weighed' }) : []),
  event('weighed', telling, { fish: card.name, value: cellOf(massG), unit: 'g' }),
];

/** Facts of the fish; one that came without a row of its own gets it. */
export const ofFish = (card: FishCard, cells: Cells): Draft[] => (card.fish ? setCells('fish', card.fish, cells) : [addRow('fish', { fish: card.name, ...cells })]);

/** Facts of its capture or collection; one that has no row yet gets it. */
export const ofEncounter = (card: FishCard, cells: Cells): Draft[] => {
  if (card.encounter) return setCells('encounters', card.encounter, cells);
  const at = card.hookUp ?? card.landed;
  return [addRow('encounters', { encounter: `${card.name}-e1`, fish: card.name, at: at === null ? '' : isoOf(at), rig: card.rig, ...cells })];
};

export const tagged = (card: FishCard, telling: Telling, tag: string): Draft[] => [...ofFish(card, { tag }), event('tagged', telling, { fish: card.name, note: tag })];

/** One look at fins, body or reflexes: a row for each place that was looked at. */
type Named = Pick<FishCard, 'name'>;
export const finsScored = (card: Named, telling: Telling, occasion: string, scores: Record<string, string>): Draft[] =>
  Object.entries(scores).map(([fin, score]) => addRow('fins', { fish: card.name, occasion, fin, score, scorer: telling.who, at: isoOf(telling.at) }));
export const bodyScored = (card: Named, telling: Telling, occasion: string, scores: Record<string, string>): Draft[] =>
  Object.entries(scores).map(([area, score]) => addRow('body', { fish: card.name, occasion, area, score, scorer: telling.who, at: isoOf(telling.at) }));
export const reflexesTested = (card: Named, telling: Telling, tests: Record<string, boolean>): Draft[] =>
  Object.entries(tests).map(([test, there]) => addRow('reflexes', { fish: card.name, at: isoOf(telling.at), test, there: there ? 'yes' : 'no', who: telling.who }));

const tablesWithFish = ['fish', 'encounters', 'events', 'stays', 'blood', 'fins', 'body', 'reflexes', 'fates'];

/** The device that gave a row its fish: as it was added, or as it was told later. */
const namedBy = (row: Row): string => row.changes.filter(({ column }) => column === 'fish').at(-1)?.entry.device ?? row.addedBy.split(':')[0] ?? '';

/** Another name in every row that has the old one, or in those alone where `device` wrote it; null where a row of a file has
 *  it, which Deck does not change. */
export function renamed(state: DeckState, from: string, to: string, device: string | null = null): Draft[] | null {
  const rows = tablesWithFish.flatMap((table) =>
    (state.tables[table] ?? []).filter((row) => row.cells.fish === from && (device === null || namedBy(row) === device)).map((row) => ({ table, row })));
  if (rows.some(({ row }) => row.inFile !== null)) return null;
  // Of two fish of one name the captures and stays have one name too.
  const keys = (table: string, row: Row): Cells => {
    const key = table === 'encounters' ? 'encounter' : 'stay';
    const text = row.cells[key] ?? '';
    return device !== null && (table === 'encounters' || table === 'stays') && text.startsWith(`${from}-`) ? { [key]: to + text.slice(from.length) } : {};
  };
  return rows.flatMap(({ table, row }) => setCells(table, row, { fish: to, ...keys(table, row) }, 'another name'));
}

/** Fish of one name that were named on several devices, each without knowing of the other. */
export function namesakes(state: DeckState, name: string): { device: string; row: Row }[] {
  const rows = (state.tables.fish ?? []).filter((row) => row.cells.fish === name);
  return rows.length < 2 ? [] : rows.map((row) => ({ device: namedBy(row), row }));
}

// ---- blood against the permit

export interface BloodRoom {
  /** may still be drawn, mL, rounded down to 0.01; null where that cannot be said */
  ml: number | null;
  drawnMl: number;
  /** in words */
  text: string;
}

/** What the permit's ceiling leaves, before the draw. */
export function bloodRoom(card: FishCard, base: Base, drawn: { ml: number; isKnown: boolean }): BloodRoom {
  const { ceiling_ml_per_kg: ceiling, ceiling_within_h: within } = base.blood;
  const before = drawn.ml > 0 ? ` ${cellOf(drawn.ml)} mL were drawn before${within === null ? '' : ` within ${within} h`}.` : '';
  if (ceiling === null) return { ml: null, drawnMl: drawn.ml, text: `The brief names no ceiling for blood ([blood] ceiling_ml_per_kg): what may be drawn, the permit says.${before}` };
  if (card.massG === null) return { ml: null, drawnMl: drawn.ml, text: `The ceiling is ${ceiling} mL/kg. This fish is not weighed: how many mL that is cannot be said.${before}` };
  if (!drawn.isKnown) return { ml: null, drawnMl: drawn.ml, text: `The ceiling is ${ceiling} mL/kg. Of a draw before, the volume is not known: what is left cannot be said.${before}` };
  const all = (ceiling * card.massG) / 1000;
  const ml = Math.max(0, Math.floor((all - drawn.ml) * 100 + 1e-9) / 100);
  return { ml, drawnMl: drawn.ml, text: `At most ${ml.toFixed(2)} mL: ${ceiling} mL/kg of ${cellOf(card.massG)} g.${before}` };
}
