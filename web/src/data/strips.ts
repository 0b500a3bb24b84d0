// A stay's sealed spells as strips that begin when the chamber closed, all on one scale: the odd one is seen at once.
import type { Mark, Results, Stay } from './results';
import { measuredText } from './measured';
import { seconds } from './read';

export interface Strip {
  /** place within the stay, from 1 */
  number: number;
  mark: Mark;
  reasons: string;
  usedFor: string;
  isExcluded: boolean;
  /** hours since the trace's start: chamber closed, first and last reading used */
  sealed: number;
  from: number;
  to: number;
  /** s since sealing */
  settled: number;
  end: number;
  /** oxygen less that of the fit at `from` */
  points: { s: number; drop: number }[];
  /** of the fit at `to`; null where there is none */
  fitEnd: number | null;
  uptake: string;
  unit: string;
}

export function stripsOf(stay: Stay): Strip[] {
  const t = stay.spells;
  const zero = seconds(stay.trace.from);
  const { at_s, oxygen_mg_per_l } = stay.trace;
  let first = 0;
  return t.number.map((number, i) => {
    const sealed = seconds(t.sealed_from[i] ?? t.from[i] ?? '') - zero;
    const from = seconds(t.from[i] ?? '') - zero;
    const to = seconds(t.to[i] ?? '') - zero;
    const start = t.oxygen_start_mg_per_l[i] ?? null;
    const end = t.oxygen_end_mg_per_l[i] ?? null;
    while (first < at_s.length && (at_s[first] ?? Infinity) < sealed) first += 1;
    const points: Strip['points'] = [];
    let level = start;
    for (let k = first; k < at_s.length; ++k) {
      const s = at_s[k] ?? null;
      const oxygen = oxygen_mg_per_l[k] ?? null;
      if (s === null || oxygen === null) continue;
      if (s > to) break;
      level ??= oxygen;
      points.push({ s: s - sealed, drop: oxygen - level });
    }
    const perKilogram = t.uptake_mg_per_kg_h[i] ?? null;
    const value = perKilogram ?? t.uptake_mg_per_h[i] ?? null;
    const error = (perKilogram === null ? t.uptake_uncertainty_mg_per_h[i] : t.uptake_uncertainty_mg_per_kg_h[i]) ?? 0;
    return {
      number,
      mark: t.mark[i] ?? 'good',
      reasons: (t.reasons[i] ?? []).map((reason) => reason.text).join('; '),
      usedFor: t.used_for[i] ?? '',
      isExcluded: t.is_excluded_by_hand[i] ?? false,
      sealed: sealed / 3600,
      from: from / 3600,
      to: to / 3600,
      settled: from - sealed,
      end: to - sealed,
      points,
      fitEnd: start === null || end === null ? null : end - start,
      uptake: value === null ? '' : measuredText(value, error),
      unit: perKilogram === null ? 'mg/h' : 'mg/kg/h',
    };
  });
}

export interface StripScale {
  /** s */
  longest: number;
  /** mg/L, about the fit's start */
  low: number;
  high: number;
}

const middleOf = (values: number[]): number => [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)] ?? 0;

/** One scale for all strips of a stay. What falls three times as far as the middle one runs out of its strip. */
export function stripScale(strips: Strip[]): StripScale {
  const longest = Math.max(1, ...strips.map((strip) => strip.end));
  const falls = strips.flatMap((strip) => (strip.fitEnd === null ? [] : [Math.min(0, strip.fitEnd)]));
  const deepest = Math.min(-0.02, ...falls);
  const low = Math.max(deepest, 3 * Math.min(-0.02, middleOf(falls))) * 1.15;
  return { longest, low, high: -0.12 * low };
}

/** What the strip's trace and fit are as paths in a box of the given size; readings outside the scale stay outside. */
export function stripPaths(strip: Strip, scale: StripScale, width: number, height: number): { trace: string; fit: string; settled: number; end: number } {
  const x = (s: number) => ((s / scale.longest) * width).toFixed(1);
  const y = (drop: number) => (((scale.high - drop) / (scale.high - scale.low)) * height).toFixed(1);
  const trace = strip.points.map((point, i) => `${i === 0 ? 'M' : 'L'}${x(point.s)},${y(point.drop)}`).join('');
  const fit = strip.fitEnd === null ? '' : `M${x(strip.settled)},${y(0)}L${x(strip.end)},${y(strip.fitEnd)}`;
  return { trace, fit, settled: Number(x(strip.settled)), end: Number(x(strip.end)) };
}

/** % of air saturation under which a spell of this stay is marked, and the setting that says so; null where the
 *  settings do not. */
export function saturationFloor(results: Results, role: string): { percent: number; setting: string } | null {
  const isRest = ['rest', 'blank', 'held', 'leak_test', ''].includes(role);
  const key = isRest ? 'lowest_oxygen_rest_percent' : 'lowest_oxygen_peak_percent';
  const found = results.settings.find((each) => each.key === key);
  const percent = Number(found?.value);
  return found && Number.isFinite(percent) && percent > 0 ? { percent, setting: key } : null;
}

/** The floor in mg/L at a spell: by the ratio of its own oxygen and saturation; null where they are not known. */
export function floorOxygen(stay: Stay, spell: number, percent: number): number | null {
  const oxygen = stay.spells.oxygen_start_mg_per_l[spell] ?? null;
  const saturation = stay.spells.saturation_start_percent[spell] ?? null;
  return oxygen === null || saturation === null || saturation <= 0 ? null : (oxygen / saturation) * percent;
}

/** Readings less the fitted line, of what lies within the fit. Hours and mg/L. */
export function residualsOf(hours: number[], oxygen: (number | null)[], fit: { from: number; to: number; start: number; end: number }): (number | null)[] {
  const slope = (fit.end - fit.start) / Math.max(fit.to - fit.from, 1e-9);
  return hours.map((hour, i) => {
    const value = oxygen[i] ?? null;
    // A second of grace: the ends themselves belong to the fit.
    const isWithin = hour >= fit.from - 3e-4 && hour <= fit.to + 3e-4;
    return value === null || !isWithin ? null : value - (fit.start + slope * (hour - fit.from));
  });
}
