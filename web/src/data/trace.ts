// A stay's drawn trace in hours since its start, its states and its fitted lines.
import type { ChamberState, Stay } from './results';
import { seconds } from './read';

export interface TraceData {
  hours: number[];
  oxygen: (number | null)[];
  states: { state: ChamberState; from: number; to: number }[];
  fits: { from: number; to: number; start: number; end: number; number: number; isUsable: boolean }[];
}

export function traceData(stay: Stay): TraceData {
  const zero = seconds(stay.trace.from);
  const hours = (iso: string) => (seconds(iso) - zero) / 3600;
  const t = stay.spells;
  return {
    hours: stay.trace.at_s.map((s) => (s ?? 0) / 3600),
    oxygen: stay.trace.oxygen_mg_per_l,
    states: stay.trace.states.map((run) => ({ state: run.state, from: hours(run.from), to: hours(run.to) })),
    fits: t.number.flatMap((number, i) => {
      const start = t.oxygen_start_mg_per_l[i];
      const end = t.oxygen_end_mg_per_l[i];
      const from = t.from[i];
      const to = t.to[i];
      if (start === null || start === undefined || end === null || end === undefined || !from || !to) return [];
      return [{ from: hours(from), to: hours(to), start, end, number, isUsable: t.mark[i] !== 'unusable' }];
    }),
  };
}

/** The state at an hour, in a word; '' outside. */
export function stateAt(data: TraceData, hour: number): string {
  return data.states.find((run) => hour >= run.from && hour < run.to)?.state ?? '';
}

export function oxygenRange(data: TraceData, from: number, to: number): [number, number] {
  let low = Infinity;
  let high = -Infinity;
  data.hours.forEach((h, i) => {
    const value = data.oxygen[i];
    if (h >= from && h <= to && value !== null && value !== undefined) {
      low = Math.min(low, value);
      high = Math.max(high, value);
    }
  });
  if (!Number.isFinite(low)) return [0, 1];
  const air = Math.max(0.05, (high - low) * 0.06);
  return [low - air, high + air];
}
