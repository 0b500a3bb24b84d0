// Blood as its figure wants it: a panel per analyte and matrix, each value at its minute, limits as limits.
import type { BloodValue, Fish, Results } from './results';
import { groupPlace } from './read';

export interface BloodPoint {
  fish: string;
  /** the group's place in the study's list, or -1 */
  place: number;
  /** since hook-up */
  minutes: number;
  /** the value, or the limit where only that is known */
  at: number;
  /** of its interval; both `at` where there is none */
  low: number;
  high: number;
  open: '' | 'below' | 'above';
  text: string;
  isOutside: boolean;
}

export interface BloodPanel {
  analyte: string;
  matrix: string;
  unit: string;
  points: BloodPoint[];
  range: { low: number; high: number } | null;
  source: string;
  /** fish whose value has no minute since hook-up */
  untimed: string[];
}

/** The 95 % interval: as the document gives it, else by the standard uncertainty. */
function intervalOf({ value }: BloodValue): { low: number; high: number } {
  const at = value.value ?? 0;
  if (value.interval) return { low: value.interval.low, high: value.interval.high ?? at };
  const error = 1.96 * (value.standard_uncertainty ?? 0);
  return { low: at - error, high: at + error };
}

function standing(value: BloodValue): Pick<BloodPoint, 'at' | 'low' | 'high' | 'open'> | null {
  if (value.value.value !== null) return { at: value.value.value, open: '', ...intervalOf(value) };
  const limit = value.below ?? value.above;
  if (limit === null) return null;
  return { at: limit, low: limit, high: limit, open: value.below === null ? 'above' : 'below' };
}

function rangeOf({ range_low, range_high }: BloodValue): BloodPanel['range'] {
  return range_low.value === null || range_high.value === null ? null : { low: range_low.value, high: range_high.value };
}

function addFish(results: Results, fish: Fish, panels: Map<string, BloodPanel>): void {
  for (const draw of fish.condition.draws) {
    for (const value of draw.values) {
      const stands = standing(value);
      if (!stands) continue;
      const key = `${value.analyte}\n${value.matrix}`;
      const panel = panels.get(key) ?? {
        analyte: value.analyte, matrix: value.matrix, unit: value.value.unit || value.range_low.unit, points: [], range: null, source: '', untimed: [],
      };
      panels.set(key, panel);
      panel.unit ||= value.value.unit;
      if (panel.range === null) {
        panel.range = rangeOf(value);
        panel.source = panel.range === null ? '' : value.range_source;
      }
      const minutes = draw.since_hook_up_min.value;
      if (minutes === null) panel.untimed.push(fish.id);
      else {
        panel.points.push({
          ...stands, fish: fish.id, place: groupPlace(results, fish.group), minutes, text: value.value.text, isOutside: value.is_outside_range,
        });
      }
    }
  }
}

/** Panels in the order in which analytes are met; of one fish those that it has, with the other fish's points in them. */
export function bloodPanels(results: Results, fish?: Fish): BloodPanel[] {
  const panels = new Map<string, BloodPanel>();
  for (const each of results.fish) addFish(results, each, panels);
  const all = [...panels.values()].filter((panel) => panel.points.length > 0 || panel.untimed.length > 0);
  if (!fish) return all;
  return all
    .filter((panel) => panel.points.some((point) => point.fish === fish.id) || panel.untimed.includes(fish.id))
    .map((panel) => ({ ...panel, untimed: panel.untimed.filter((each) => each === fish.id) }));
}

/** The axis ends where the values are worth seeing: a published range far above them is cut. */
export function bloodTop(panel: BloodPanel): number {
  const highest = Math.max(0, ...panel.points.map((point) => Math.max(point.high, point.at)));
  const wanted = Math.max(highest, panel.range?.high ?? 0);
  return Math.min(wanted, highest > 0 ? 2.5 * highest : wanted) * 1.08 || 1;
}
