// The moments of the single readings about one moment: a bound moves from one to the next, and thinned traces have not
// all of them.
import { seconds } from '../data/read';
import { askFor, type Fetch } from './request';
import { traceOf } from './wire';

const instant = (zero: string, s: number): string => new Date(Math.round((seconds(zero) + s) * 1000)).toISOString();

/** s on either side that are asked for, one after the other, until there are readings on both */
const spans = [60, 600, 7200];

export class Readings {
  private held: { stay: string; at: number[] } | null = null;
  private readonly fetcher: Fetch;

  constructor(fetcher: Fetch) {
    this.fetcher = fetcher;
  }

  /** The study was computed anew. */
  forget(): void {
    this.held = null;
  }

  /** s since `zero`, ascending, with those next to `at` on either side as far as there are any. */
  async about(stay: string, zero: string, at: number): Promise<number[]> {
    const held = this.held;
    if (held && held.stay === stay && this.hasBoth(held.at, at)) return held.at;
    for (const span of spans) {
      const path = `/api/stays/${encodeURIComponent(stay)}/trace?from=${instant(zero, at - span)}&to=${instant(zero, at + span)}`;
      const trace = await askFor(path, traceOf, { fetcher: this.fetcher });
      const shift = seconds(trace.from) - seconds(zero);
      // Where oxygen is missing there is a gap and no reading.
      const found = trace.at_s.flatMap((s, i) => (s === null || (trace.oxygen_mg_per_l[i] ?? null) === null ? [] : [s + shift]));
      this.held = { stay, at: found };
      if (this.hasBoth(found, at)) return found;
    }
    return this.held?.at ?? [];
  }

  private hasBoth(readings: number[], at: number): boolean {
    return readings.some((each) => each < at - 0.002) && readings.some((each) => each > at + 0.002);
  }
}
