// The tour of an invented study: a few stops over its real pages.
import { routeOf, type Route } from './route';

export interface Stop {
  path: string;
  title: string;
  words: string;
  /** a page that is none of these, in a window of its own */
  opens?: { path: string; title: string };
}

export const tourStops: Stop[] = [
  { path: '/', title: 'The study', words: 'A season at a glance: headline numbers, every fish from bite to fate, what to beware of. A number with a dotted line under it can be pressed: it says how it was made and leads back to the files.' },
  { path: '/fish', title: 'Fish', words: 'Every fish in a row. Open one: its story since hook-up, traces, peak, rest and recovery, blood and fins, and what was left out and why.' },
  { path: '/traces', title: 'Traces', words: 'Each sealed spell as a strip, lined up at the moment of sealing, so that the odd one is seen. Here spells are judged, by key, with a reason; all of it can be undone.' },
  { path: '/findings', title: 'Findings', words: 'The study’s questions, each a card with its answer, every fish a point, and who is missing. Opened: the model, its checks, and the family of tests.' },
  { path: '/report', title: 'Report', words: 'The report as it will be printed, and every table of the results to save.' },
  { path: '/set-up', title: 'Set-up', words: 'What a study is made of: loggers’ files brought in, tables as spreadsheets, the brief, sensors, and field sheets to print and to type in.' },
  { path: '/', title: 'Deck', words: 'The boat’s log for wet hands on a phone: rods to tap, a card for each fish on the hook, its next step under the thumb.', opens: { path: '/deck', title: 'Look at Deck' } },
  { path: '/', title: 'Your own study', words: 'This one is invented; change what you like. Your own begins with “backeddy new” and a folder’s name: its first page says what to do next.' },
];

export const routeOfStop = (stop: Stop): Route => routeOf(stop.path);
