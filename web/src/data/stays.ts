// Stays of the whole study in the order of its fish, blanks last, and the way from one doubtful spell to the next.
import type { Fish, Results, Stay } from './results';
import { spoken } from './read';

export interface PlacedStay {
  stay: Stay;
  fish: Fish | null;
}

/** Those in which something was sealed. */
export function staysOf(results: Results): PlacedStay[] {
  const withFish = results.fish.flatMap((fish) => fish.stays.map((stay) => ({ stay, fish: fish as Fish | null })));
  return [...withFish, ...results.blanks.map((stay) => ({ stay, fish: null }))].filter(({ stay }) => stay.spells.number.length > 0);
}

/** "after capture, tube 1"; says nothing of rig, unhooking or any column of the study's own */
export function stayTitle({ stay }: PlacedStay): string {
  const roles = [...new Set(stay.roles.map((each) => spoken(each.role)))].join(', ');
  return [roles || (stay.fish === '' ? 'blank' : 'in the chamber'), stay.assembly].join(', ');
}

export interface Spot {
  stay: number;
  /** index within the stay's spells */
  spell: number;
}

const isInDoubt = (stay: Stay, spell: number): boolean => stay.spells.mark[spell] !== 'good';

/** The next spell (step 1) or the one before (step -1) that is not good, over all stays and round the end; null where all
 *  are good. */
export function nextInDoubt(stays: PlacedStay[], from: Spot, step: 1 | -1): Spot | null {
  const all = stays.flatMap(({ stay }, s) => stay.spells.number.map((_, i) => ({ stay: s, spell: i })));
  const here = all.findIndex((spot) => spot.stay === from.stay && spot.spell === from.spell);
  for (let k = 1; k <= all.length; ++k) {
    const spot = all[(((here + step * k) % all.length) + all.length) % all.length];
    const placed = spot && stays[spot.stay];
    if (spot && placed && isInDoubt(placed.stay, spot.spell)) return spot;
  }
  return null;
}

export const countInDoubt = (stays: PlacedStay[]): { inDoubt: number; all: number } => {
  const marks = stays.flatMap(({ stay }) => stay.spells.mark);
  return { inDoubt: marks.filter((mark) => mark !== 'good').length, all: marks.length };
};
