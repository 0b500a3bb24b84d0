// A queue file in words.
import type { QueueLook, QueueTaken } from '../server/api';
import { zonedText } from './offer';

const counted = (count: number, one: string, many: string): string => `${count === 0 ? 'no' : count} ${count === 1 ? one : many}`;
const entries = (count: number): string => counted(count, 'entry', 'entries');
const photos = (count: number): string => counted(count, 'photo', 'photos');

/** What would come in, a line each. */
export function comesIn(look: QueueLook, zone: string): string[] {
  const out = [`${entries(look.entries)}, of which ${look.added === look.entries ? 'all are new' : `${look.added} ${look.added === 1 ? 'is' : 'are'} new and ${look.duplicates} here already`}`];
  if (look.first_at !== null && look.last_at !== null) out.push(`logged from ${zonedText(look.first_at, zone)} to ${zonedText(look.last_at, zone)}`);
  if (look.authors.length > 0) out.push(`by ${look.authors.join(', ')}, on the device ${look.device}`);
  if (look.photos > 0) out.push(`${photos(look.photos)}, of which ${look.photos_added} new`);
  return out;
}

export const ofPeople = (look: QueueLook): string => `Each entry keeps ${look.authors.length === 1 ? 'its author' : 'its own author'}, its moment and its device.`;

/** What was taken in, as one sentence. */
export function tookIn(taken: QueueTaken): string {
  const there = taken.duplicates > 0 ? ` (${entries(taken.duplicates)} ${taken.duplicates === 1 ? 'was' : 'were'} here already)` : '';
  const shown = taken.photos_added > 0 ? ` and ${photos(taken.photos_added)}` : '';
  return `${entries(taken.added)}${shown} taken in${there}`.replace(/^no/, 'No');
}
