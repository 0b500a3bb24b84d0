// The readings of a stretch of a stay, asked for when somebody looks closer: the last wish wins, a short while after it
// was made; what is outdated is cancelled.
import type { DrawnTrace } from '../data/results';
import { seconds } from '../data/read';
import { askFor, isAborted, problemOf, type Fetch, type Problem } from './request';
import { traceOf } from './wire';

export interface Stretch {
  /** hours since the start of the stay's own trace */
  from: number;
  to: number;
  hours: number[];
  oxygen: (number | null)[];
}

export interface DetailWorld {
  fetcher: Fetch;
  later: (call: () => void, ms: number) => () => void;
}

export interface Wish {
  stay: string;
  /** start of the stay's own trace */
  zero: string;
  from: number;
  to: number;
}

const instant = (zero: string, hours: number): string => new Date(Math.round((seconds(zero) + hours * 3600) * 1000)).toISOString();

/** As hours since `zero`. */
export function stretchOf(trace: DrawnTrace, zero: string, from: number, to: number): Stretch {
  const shift = seconds(trace.from) - seconds(zero);
  return { from, to, hours: trace.at_s.map((s) => ((s ?? 0) + shift) / 3600), oxygen: trace.oxygen_mg_per_l };
}

/** ms between the last wish and asking */
export const pause = 120;

export class Detail {
  private readonly world: DetailWorld;
  private readonly tell: (stretch: Stretch | null, problem: Problem | null) => void;
  private cancelWait: () => void = () => undefined;
  private asking: AbortController | null = null;
  private held: { stay: string; stretch: Stretch } | null = null;

  constructor(world: DetailWorld, tell: (stretch: Stretch | null, problem: Problem | null) => void) {
    this.world = world;
    this.tell = tell;
  }

  wish(wish: Wish): void {
    this.cancelWait();
    const held = this.held;
    const span = wish.to - wish.from;
    // What is held covers it, at no less than a quarter of the detail that could be had.
    if (held && held.stay === wish.stay && held.stretch.from <= wish.from && held.stretch.to >= wish.to && held.stretch.to - held.stretch.from <= 8 * span) return;
    if (held && held.stay !== wish.stay) {
      this.held = null;
      this.tell(null, null);
    }
    this.cancelWait = this.world.later(() => void this.fetch(wish), pause);
  }

  /** The study was computed anew: what is held may be of other readings. */
  forget(): void {
    this.stop();
    if (this.held) this.tell(null, null);
    this.held = null;
  }

  stop(): void {
    this.cancelWait();
    this.asking?.abort();
  }

  private async fetch(wish: Wish): Promise<void> {
    this.asking?.abort();
    const asking = new AbortController();
    this.asking = asking;
    const air = (wish.to - wish.from) / 2;
    const from = wish.from - air;
    const to = wish.to + air;
    const path = `/api/stays/${encodeURIComponent(wish.stay)}/trace?from=${instant(wish.zero, from)}&to=${instant(wish.zero, to)}`;
    try {
      const trace = await askFor(path, traceOf, { fetcher: this.world.fetcher, signal: asking.signal });
      const stretch = stretchOf(trace, wish.zero, from, to);
      this.held = { stay: wish.stay, stretch };
      this.tell(stretch, null);
    } catch (error) {
      if (!isAborted(error)) this.tell(this.held?.stretch ?? null, problemOf(error));
    }
  }
}
