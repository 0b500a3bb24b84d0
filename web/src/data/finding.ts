// A finding as its figure wants it: which kind of figure, each row once with where it stands, places of groups.
import type { Finding, FoundPoint, Results } from './results';
import { groupPlace } from './read';

export type FindingKind = 'times' | 'scores' | 'slope' | 'pairs' | 'groups';

/** The same fish under more than one level, and never twice under one. */
function isPaired(finding: Finding): boolean {
  if (finding.within === '') return false;
  const seen = new Set<string>();
  for (const point of finding.points) {
    const key = `${point.fish}\n${point.group}`;
    if (point.fish === '' || seen.has(key)) return false;
    seen.add(key);
  }
  return seen.size > new Set(finding.points.map((p) => p.fish)).size;
}

export function kindOf(finding: Finding): FindingKind {
  if (finding.levels.length === 0) return 'slope';
  if (finding.family === 'time' && finding.curves.length > 0) return 'times';
  if (finding.scores.length > 0) return 'scores';
  return isPaired(finding) ? 'pairs' : 'groups';
}

export interface Drawn {
  point: FoundPoint;
  /** where it stands on the outcome's axis: of counts the rate per unit of exposure */
  at: number;
  /** limits where only these are known; infinite where there is none */
  low: number;
  high: number;
  /** "more": the true value is this or more; "less": or less */
  open: '' | 'more' | 'less';
  uncertainty: number;
}

/** Every row that has a place on the axis; one without value and limits has none. */
export function drawnPoints(finding: Finding): Drawn[] {
  return finding.points.flatMap((point) => {
    const { value, lower, upper, uncertainty } = point;
    const weight = point.weight !== null && point.weight > 0 ? point.weight : 1;
    const hasLimits = lower !== null || upper !== null;
    const middle = lower !== null && upper !== null ? (lower + upper) / 2 : (lower ?? upper);
    const at = value ?? middle;
    if (at === null) return [];
    const open = !hasLimits || (lower !== null && upper !== null) ? '' : upper === null ? 'more' : 'less';
    return [
      {
        point,
        at: at / weight,
        low: hasLimits ? (lower ?? -Infinity) : at / weight,
        high: hasLimits ? (upper ?? Infinity) : at / weight,
        open,
        uncertainty: (uncertainty ?? 0) / weight,
      },
    ];
  });
}

/** Where a level stands in the study's list of groups, when the levels are these; else among themselves. The report's
 *  tables take it alike. */
export function levelPlace(results: Results, finding: Finding, level: string): number {
  const areGroups = finding.levels.every((each) => groupPlace(results, each) >= 0);
  return areGroups ? groupPlace(results, level) : finding.levels.indexOf(level);
}

/** Yes or no: every row is 0 or 1. */
export const isYesOrNo = (finding: Finding): boolean =>
  finding.family === 'binomial' && finding.points.every((p) => p.weight === null && (p.value === 0 || p.value === 1));

/** Rows are counts in some exposure: the axis is a rate. */
export const isRate = (finding: Finding): boolean => finding.points.some((p) => p.weight !== null);

/** A whole number as it is, any other with three digits at most: as the page prints what has no uncertainty. */
export const shortNumber = (value: number): string => String(Number.isInteger(value) ? value : Number(value.toPrecision(3)));

/** "at least 5.2", "at most 0.3", "between 2 and 4", "412 ± 11". */
export function drawnText(drawn: Drawn): string {
  if (drawn.open === 'more') return `at least ${shortNumber(drawn.low)}`;
  if (drawn.open === 'less') return `at most ${shortNumber(drawn.high)}`;
  if (drawn.low !== drawn.high) return `between ${shortNumber(drawn.low)} and ${shortNumber(drawn.high)}`;
  const error = drawn.uncertainty > 0 ? ` ± ${Number(drawn.uncertainty.toPrecision(2))}` : '';
  return `${shortNumber(drawn.at)}${error}`;
}

/** How far each of `places` (pixels along the axis) steps aside so that points of `size` pixels do not cover each other;
 *  none steps further than `most`. */
export function swarm(places: number[], size: number, most: number): number[] {
  const order = places.map((_, i) => i).sort((a, b) => (places[a] ?? 0) - (places[b] ?? 0));
  const set: { x: number; y: number }[] = [];
  const lifts = places.map(() => 0);
  for (const i of order) {
    const x = places[i] ?? 0;
    const near = set.filter((p) => x - p.x < size);
    let lift = 0;
    for (let step = 0; Math.abs(lift) <= most; ++step) {
      lift = (step % 2 === 0 ? step : -step - 1) * 0.25 * size;
      if (near.every((p) => (p.x - x) ** 2 + (p.y - lift) ** 2 >= (size - 0.01) ** 2)) break;
    }
    lifts[i] = Math.abs(lift) <= most ? lift : 0;
    set.push({ x, y: lifts[i] ?? 0 });
  }
  return lifts;
}

/** The curve's height at `x`: of the last step at or before it. */
export function heightAt(curve: { x: (number | null)[]; y: (number | null)[] }, x: number): number {
  let height = curve.y[0] ?? 0;
  curve.x.forEach((step, i) => {
    if (step !== null && step <= x) height = curve.y[i] ?? height;
  });
  return height;
}
