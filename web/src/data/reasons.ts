// What people usually say when they judge a sealed spell: to be chosen with a digit, or said in one's own words.

export type Deed = 'good' | 'doubtful' | 'unusable' | 'exclude' | 'include' | 'move' | 'note';

const faults = [
  'fish restless in the spell',
  'fish handled or disturbed',
  'chamber not tight',
  'water not mixed, pump stopped',
  'air bubble in the loop or at the sensor',
  'sensor jumped or drifted',
  'oxygen too low for the fish',
  'temperature changed too fast',
];

export const usualReasons: Record<Deed, string[]> = {
  good: ['course is straight over the readings used', 'the doubt is known and does no harm here', 'marked by mistake'],
  doubtful: faults,
  unusable: faults,
  exclude: faults,
  include: ['left out by mistake', 'course is straight over the readings used', 'the fault lay outside this spell'],
  move: ['water not yet mixed at the start', 'fish had not yet settled', 'fish restless at one end', 'chamber opened before the end', 'sensor jumped at one end'],
  note: [],
};

export const deedWords: Record<Deed, string> = {
  good: 'mark good', doubtful: 'mark doubtful', unusable: 'mark unusable', exclude: 'leave out', include: 'take in again', move: 'move the readings used', note: 'note',
};

export const doneWords: Record<Deed, string> = {
  good: 'marked good', doubtful: 'marked doubtful', unusable: 'marked unusable', exclude: 'left out', include: 'taken in again', move: 'readings used moved', note: 'note',
};

/** One reason of those chosen and typed. */
export function reasonOf(chosen: string, typed: string): string {
  const own = typed.trim();
  if (chosen === '') return own;
  return own === '' ? chosen : `${chosen}; ${own}`;
}
