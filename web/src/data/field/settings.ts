// What the brief says to those on the boat, as field sheets need it; checked at the door.

export interface Permit {
  number: string;
  /** most fish to be caught or used */
  fish: number | null;
  chases_per_fish: number | null;
  /** longest time in air, s */
  air_s: number | null;
  /** the permit's rule, in its own words */
  at_death: string;
  /** whom to ask */
  watched_by: string;
}

export interface FieldSettings {
  study: string;
  zone: string;
  /** of the journal */
  identity: string;
  /** of an invented study the sentence that stands on every page; else empty */
  simulated: string;
  permit: Permit;
  rods: string[];
  rigs: string[];
  unhooking: string[];
  landing: string[];
  hook_locations: string[];
  lost_reasons: string[];
  handling: string[];
  species: string[];
  anaesthetics: string[];
  blood: { ceiling_ml_per_kg: number | null; ceiling_within_h: number | null; due_min: number | null };
  seal_within_s: number | null;
  assemblies: string[];
  fins: string[];
  fin_scale: string[];
  body_scale: string[];
  reflexes: string[];
  /** those of events.csv */
  events: string[];
}

type Fields = Record<string, unknown>;
const fields = (value: unknown): Fields => (typeof value === 'object' && value !== null && !Array.isArray(value) ? (value as Fields) : {});
const text = (value: unknown): string => (typeof value === 'string' ? value : '');
const texts = (value: unknown): string[] => (Array.isArray(value) ? value.filter((each): each is string => typeof each === 'string') : []);
const number = (value: unknown): number | null => (typeof value === 'number' && Number.isFinite(value) ? value : null);

/** The answer of /api/deck. */
export function fieldSettingsOf(value: unknown): FieldSettings {
  const from = fields(value);
  if (typeof from.study !== 'string' || typeof from.zone !== 'string') throw new Error('what the brief says for the deck: no "study" or "zone"');
  const { permit, blood, fins, body, words } = { permit: fields(from.permit), blood: fields(from.blood), fins: fields(from.fins), body: fields(from.body), words: fields(from.words) };
  return {
    study: from.study,
    zone: from.zone,
    identity: text(from.identity),
    simulated: text(from.simulated),
    permit: { number: text(permit.number), fish: number(permit.fish), chases_per_fish: number(permit.chases_per_fish), air_s: number(permit.air_s), at_death: text(permit.at_death), watched_by: text(permit.watched_by) },
    rods: texts(from.rods),
    rigs: texts(from.rigs),
    unhooking: texts(from.unhooking),
    landing: texts(from.landing),
    hook_locations: texts(from.hook_locations),
    lost_reasons: texts(from.lost_reasons),
    handling: texts(from.handling),
    species: texts(from.species),
    anaesthetics: texts(from.anaesthetics),
    blood: { ceiling_ml_per_kg: number(blood.ceiling_ml_per_kg), ceiling_within_h: number(blood.ceiling_within_h), due_min: number(blood.due_min) },
    seal_within_s: number(from.seal_within_s),
    assemblies: (Array.isArray(from.assemblies) ? from.assemblies : []).map((each) => text(fields(each).assembly)).filter((each) => each !== ''),
    fins: texts(fins.fins),
    fin_scale: texts(fins.scale),
    body_scale: texts(body.scale),
    reflexes: texts(from.reflexes),
    events: texts(words.event),
  };
}
