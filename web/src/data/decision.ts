// A judgement of a spell as rows of decisions.csv.
import type { Wish } from '../server/api';
import { boundText, momentOf, type Bounds } from './bounds';
import type { Deed } from './reasons';
import type { Stay } from './results';

export interface Judgement {
  deed: Deed;
  reason: string;
  /** of `move`: those that moved */
  bounds: Partial<Bounds>;
}

/** Whether whoever judges could see how the fish was treated. */
export type Sight = 'hidden' | 'seen';

/** Each a row of its own: a later one of its kind replaces an earlier one, and both stay in the record. */
export function decisionsOf(stay: Stay, spell: number, judgement: Judgement, sight: Sight, at: string): Wish[] {
  const row = (act: string, value: string): Wish => ({
    act: 'add',
    content: { table: 'decisions', row: { stay: stay.id, moment: momentOf(stay, spell), act, ...(value === '' ? {} : { value }), treatment: sight, at } },
    reason: judgement.reason,
  });
  const { deed, bounds } = judgement;
  switch (deed) {
    case 'good':
    case 'doubtful':
    case 'unusable':
      return [row('mark', deed)];
    case 'move':
      return [
        ...(bounds.first === undefined ? [] : [row('move_start', boundText(stay, spell, 'first', bounds.first))]),
        ...(bounds.last === undefined ? [] : [row('move_end', boundText(stay, spell, 'last', bounds.last))]),
      ];
    default:
      return [row(deed, '')];
  }
}
