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
  /** the middle fall of the spells around, at `end`; null where there are none */
  around: number | null;
  uptake: string;
  unit: string;
}

/** Readings of [from, to], with the trace's line drawn on to both ends: thinned traces have few points. */
function stretch(at_s: (number | null)[], oxygen: (number | null)[], first: number, from: number, to: number, level: number | null): Strip['points'] {
  const zero = level ?? oxygen[first] ?? 0;
  const points: Strip['points'] = [];
  const onLine = (k: number, s: number) => {
    const [s0, s1, o0, o1] = [at_s[k - 1] ?? null, at_s[k] ?? null, oxygen[k - 1] ?? null, oxygen[k] ?? null];
    if (s0 === null || s1 === null || o0 === null || o1 === null || s1 <= s0 || s < s0 || s > s1) return;
    points.push({ s: s - from, drop: o0 + ((s - s0) / (s1 - s0)) * (o1 - o0) - zero });
  };
  let k = first;
  onLine(k, from);
  for (; k < at_s.length && (at_s[k] ?? 0) <= to; ++k) {
    const s = at_s[k] ?? null;
    const value = oxygen[k] ?? null;
    if (s !== null && value !== null && s >= from) points.push({ s: s - from, drop: value - zero });
  }
  onLine(k, to);
  return points;
}

const neighboursEachSide = 4;

/** What a spell is held against: the middle of the fits' slopes around it. */
function slopeAround(strips: { settled: number; end: number; fitEnd: number | null }[], i: number): number | null {
  const near = strips.slice(Math.max(0, i - neighboursEachSide), i + neighboursEachSide + 1).filter((each) => each !== strips[i]);
  const slopes = near.flatMap(({ fitEnd, settled, end }) => (fitEnd === null || end <= settled ? [] : [fitEnd / (end - settled)])).sort((a, b) => a - b);
  const half = Math.floor(slopes.length / 2);
  if (slopes.length === 0) return null;
  return slopes.length % 2 === 1 ? (slopes[half] ?? null) : ((slopes[half - 1] ?? 0) + (slopes[half] ?? 0)) / 2;
}

export function stripsOf(stay: Stay): Strip[] {
  const strips = strippedOf(stay);
  return strips.map((strip, i) => {
    const slope = slopeAround(strips, i);
    return { ...strip, around: slope === null ? null : slope * (strip.end - strip.settled) };
  });
}

function strippedOf(stay: Stay): Omit<Strip, 'around'>[] {
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
    const points = stretch(at_s, oxygen_mg_per_l, first, sealed, to, start);
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

/** The value that nine in ten fall short of: of falls, which are negative, the tenth from below. */
const deepTenth = (falls: number[]): number => [...falls].sort((a, b) => a - b)[Math.floor(falls.length / 10)] ?? 0;

/** One scale for all strips of a stay, made for most of them: what falls much further runs out of its strip. */
export function stripScale(strips: Strip[]): StripScale {
  const longest = Math.max(1, ...strips.map((strip) => strip.end));
  const falls = strips.flatMap((strip) => (strip.fitEnd === null ? [] : [Math.min(0, strip.fitEnd)]));
  const deepest = Math.min(-0.02, ...falls);
  const low = Math.max(deepest, 1.25 * Math.min(-0.02, deepTenth(falls))) * 1.06;
  return { longest, low, high: -0.25 * low };
}

export interface StripPaths {
  trace: string;
  fit: string;
  /** what the spells around would have it */
  around: string;
  settled: number;
  end: number;
}

/** What the strip's trace and fit are as paths in a box of the given size; readings outside the scale stay outside. */
export function stripPaths(strip: Strip, scale: StripScale, width: number, height: number): StripPaths {
  const x = (s: number) => ((s / scale.longest) * width).toFixed(1);
  const y = (drop: number) => (((scale.high - drop) / (scale.high - scale.low)) * height).toFixed(1);
  const trace = strip.points.map((point, i) => `${i === 0 ? 'M' : 'L'}${x(point.s)},${y(point.drop)}`).join('');
  const fit = strip.fitEnd === null ? '' : `M${x(strip.settled)},${y(0)}L${x(strip.end)},${y(strip.fitEnd)}`;
  const around = strip.around === null ? '' : `M${x(strip.settled)},${y(0)}L${x(strip.end)},${y(strip.around)}`;
  return { trace, fit, around, settled: Number(x(strip.settled)), end: Number(x(strip.end)) };
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

/** The spell at an hour, or the nearest one; hours since the trace's start. */
export function spellAt(strips: { sealed: number; to: number }[], hour: number): number {
  const off = strips.map((strip) => Math.max(strip.sealed - hour, hour - strip.to, 0));
  return Math.max(0, off.indexOf(Math.min(...off)));
}
