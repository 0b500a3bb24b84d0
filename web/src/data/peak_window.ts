// The peak at a window length of one's own choice: the curve is in the results, nothing is computed anew.
import type { Peak, PeakCurvePoint } from './results';

export interface WindowPoint extends PeakCurvePoint {
  window_s: number;
  corrected: number;
}

/** Those that have a value, the shortest first. */
export const pointsOf = (peak: Peak): WindowPoint[] =>
  peak.curve.filter((each): each is WindowPoint => each.reason === '' && each.window_s !== null && each.corrected !== null).sort((a, b) => a.window_s - b.window_s);

/** The point that lies nearest to a length; -1 of none. */
export function nearest(points: WindowPoint[], seconds: number): number {
  let best = -1;
  points.forEach((each, i) => {
    if (best < 0 || Math.abs(each.window_s - seconds) < Math.abs((points[best]?.window_s ?? 0) - seconds)) best = i;
  });
  return best;
}

/** Where the handle begins: at the brief's own window. */
export const briefPoint = (peak: Peak, points: WindowPoint[]): number => (peak.window_s.value === null ? Math.min(0, points.length - 1) : nearest(points, peak.window_s.value));

/** "−12 (−3 %) against the 60 s of the brief" */
export function againstBrief(point: WindowPoint, brief: WindowPoint | undefined): string {
  if (!brief || brief === point) return '';
  const step = point.corrected - brief.corrected;
  const share = brief.corrected === 0 ? '' : ` (${step < 0 ? '−' : '+'}${Math.abs((100 * step) / brief.corrected).toFixed(1)} %)`;
  return `${step < 0 ? '−' : '+'}${Math.abs(step).toFixed(0)}${share} against the ${brief.window_s} s of the brief`;
}
