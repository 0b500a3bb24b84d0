// What the brief says to those on the boat, as field sheets need it; checked at the door.
import { boatOf, fields, type Boat } from '../boat';

export interface FieldSettings extends Omit<Boat, 'assemblies' | 'fins' | 'body' | 'words'> {
  assemblies: string[];
  fins: string[];
  fin_scale: string[];
  body_scale: string[];
  /** those of events.csv */
  events: string[];
}

/** The answer of /api/deck. */
export function fieldSettingsOf(value: unknown): FieldSettings {
  const { study, zone } = fields(value);
  if (typeof study !== 'string' || typeof zone !== 'string') throw new Error('what the brief says for the deck: no "study" or "zone"');
  const { assemblies, fins, body, words, ...boat } = boatOf(value);
  return { ...boat, assemblies: assemblies.map(({ assembly }) => assembly), fins: fins.fins, fin_scale: fins.scale, body_scale: body.scale, events: words.event };
}
