// Events by a few letters, on paper as on the keyboard.
import { spoken } from '../read';

export interface EventLetters {
  letters: string;
  event: string;
}

/** In the order of a fish's day. */
export const eventLetters: EventLetters[] = [
  { letters: 'li', event: 'lines_in' },
  { letters: 'lo', event: 'lines_out' },
  { letters: 'b', event: 'bite' },
  { letters: 'h', event: 'hook_up' },
  { letters: 'x', event: 'lost' },
  { letters: 'l', event: 'landed' },
  { letters: 'a', event: 'air_start' },
  { letters: 'ae', event: 'air_end' },
  { letters: 'w', event: 'back_in_water' },
  { letters: 's', event: 'sealed' },
  { letters: 'o', event: 'opened' },
  { letters: 'an', event: 'anaesthetic' },
  { letters: 'bl', event: 'blood' },
  { letters: 'we', event: 'weighed' },
  { letters: 'tg', event: 'tagged' },
  { letters: 't', event: 'transfer' },
  { letters: 'c', event: 'chase_start' },
  { letters: 'ce', event: 'chase_end' },
  { letters: 'd', event: 'disturbance' },
  { letters: 'cl', event: 'cleaning' },
  { letters: 'r', event: 'released' },
  { letters: 'rl', event: 'righting_lost' },
  { letters: 'di', event: 'died' },
  { letters: 'n', event: 'note' },
];

/** What a few letters mean: one event, or why not one. */
export type EventRead = { event: string; fault: '' } | { event: null; fault: string };

const plain = (typed: string): string => typed.trim().toLowerCase().replaceAll(/[\s_-]+/g, '_');

/** By its letters, its word, or the beginning of its word. `known` are the program's own words. */
export function eventRead(typed: string, known: readonly string[]): EventRead {
  const word = plain(typed);
  if (word === '') return { event: null, fault: 'what happened is missing' };
  const found = eventLetters.find((each) => each.letters === word && known.includes(each.event))?.event ?? known.find((each) => each === word);
  if (found) return { event: found, fault: '' };
  const begun = known.filter((each) => each.startsWith(word) || each.replaceAll('_', '').startsWith(word.replaceAll('_', '')));
  const [only, another] = begun;
  if (only !== undefined && another === undefined) return { event: only, fault: '' };
  if (begun.length > 1) return { event: null, fault: `“${typed.trim()}” may be ${begun.map(spoken).join(' or ')}: type more of it` };
  return { event: null, fault: `“${typed.trim()}” is no event: the list beside the sheet has their letters` };
}

export const lettersOf = (event: string): string => eventLetters.find((each) => each.event === event)?.letters ?? event;
