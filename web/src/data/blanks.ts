// What chambers without a fish used: a point per sealed spell of each blank, chamber by chamber.
import type { Results } from './results';
import { seconds } from './read';

export interface BlankPoint {
  stay: string;
  /** ms since 1970 */
  at: number;
  /** mg/h */
  uptake: number;
  uncertainty: number;
  mark: 'good' | 'doubtful' | 'unusable';
}

export interface BlankRow {
  assembly: string;
  stays: number;
  points: BlankPoint[];
}

export function blankRows(results: Results): BlankRow[] {
  const rows = new Map<string, BlankRow>();
  for (const stay of results.blanks) {
    const row = rows.get(stay.assembly) ?? { assembly: stay.assembly, stays: 0, points: [] };
    rows.set(stay.assembly, row);
    row.stays += 1;
    stay.spells.number.forEach((_, i) => {
      const uptake = stay.spells.total_mg_per_h[i] ?? null;
      const from = stay.spells.from[i];
      if (uptake === null || from === undefined) return;
      row.points.push({
        stay: stay.id, at: seconds(from) * 1000, uptake, uncertainty: stay.spells.total_uncertainty_mg_per_h[i] ?? 0, mark: stay.spells.mark[i] ?? 'good',
      });
    });
  }
  return [...rows.values()].sort((a, b) => a.assembly.localeCompare(b.assembly, 'en', { numeric: true }));
}
