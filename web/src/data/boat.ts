// What the brief says to those on the boat (GET /api/deck), for Deck and for sheets of paper, read with care: what is not
// there is empty, never guessed.
import type { Deck, DeckBody, DeckWords } from '../server/api';

/** What is used of it, but for the tables' rows. */
export type Boat = Omit<Deck, 'rows' | 'words' | 'body' | 'assemblies'> & {
  words: Pick<DeckWords, 'event' | 'role'>;
  body: Pick<DeckBody, 'scale'>;
  assemblies: { assembly: string; volume_l: number | null }[];
};

type Fields = Record<string, unknown>;
export const fields = (value: unknown): Fields => (typeof value === 'object' && value !== null && !Array.isArray(value) ? (value as Fields) : {});
export const list = (value: unknown): unknown[] => (Array.isArray(value) ? value : []);
const text = (value: unknown): string => (typeof value === 'string' ? value : '');
const texts = (value: unknown): string[] => list(value).filter((each): each is string => typeof each === 'string' && each !== '');
const number = (value: unknown): number | null => (typeof value === 'number' && Number.isFinite(value) ? value : null);

export function boatOf(value: unknown): Boat {
  const from = fields(value);
  const [permit, blood, fins, words] = [fields(from.permit), fields(from.blood), fields(from.fins), fields(from.words)];
  return {
    study: text(from.study),
    simulated: text(from.simulated),
    zone: text(from.zone),
    identity: text(from.identity),
    permit: {
      number: text(permit.number), fish: number(permit.fish), chases_per_fish: number(permit.chases_per_fish), air_s: number(permit.air_s), at_death: text(permit.at_death),
      watched_by: text(permit.watched_by),
    },
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
    assemblies: list(from.assemblies).map((each) => ({ assembly: text(fields(each).assembly), volume_l: number(fields(each).volume_l) })).filter(({ assembly }) => assembly !== ''),
    fins: { fins: texts(fins.fins), scale: texts(fins.scale) },
    body: { scale: texts(fields(from.body).scale) },
    reflexes: texts(from.reflexes),
    words: { event: texts(words.event), role: texts(words.role) },
  };
}
