// The number that somebody asked after.
import type { Quantity } from '../data/results';

export interface Asked {
  /** "T07, peak after capture" */
  title: string;
  quantity: Quantity;
  /** fish and word of the road back, where the server knows one */
  road: { fish: string; number: string } | null;
  /** files, lines, wells: where a value that was typed or read from a plate comes from */
  from: string;
  /** where the trace behind it is */
  trace: { stay: string; spell: number | null } | null;
}

class Why {
  asked = $state.raw<Asked | null>(null);
}

export const why = new Why();
