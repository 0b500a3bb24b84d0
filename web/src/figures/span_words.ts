// What lasted, in words.
import type { SpanKind } from '../data/timeline';

export const spanWords: Record<SpanKind, string> = {
  played: 'played', in_hand: 'landed, not yet back in water', air: 'in the air', chase: 'chased', chamber: 'in a chamber',
  died_between: 'died in between',
};
