// @vitest-environment jsdom
import { flushSync } from 'svelte';
import { describe, expect, it } from 'vitest';
import { againstBrief, briefPoint, nearest, pointsOf } from '../src/data/peak_window';
import { shown } from './drawing';
import { fixture } from './fixture';

const study = fixture();
const withPeaks = study.fish.flatMap((fish) => fish.metrics.peaks.map((peak) => ({ fish, peak }))).filter(({ peak }) => pointsOf(peak).length > 1);

describe('the peak at another window', () => {
  it('is taken from the curve, which rises in length', () => {
    expect(withPeaks.length).toBeGreaterThan(0);
    for (const { peak } of withPeaks) {
      const points = pointsOf(peak);
      const lengths = points.map((each) => each.window_s);
      expect(lengths).toEqual([...lengths].sort((a, b) => a - b));
      lengths.forEach((length, i) => expect(nearest(points, length)).toBe(i));
      const home = points[briefPoint(peak, points)]!;
      for (const each of points) expect(Math.abs(home.window_s - peak.window_s.value!)).toBeLessThanOrEqual(Math.abs(each.window_s - peak.window_s.value!));
      expect(againstBrief(home, home)).toBe('');
    }
    expect(nearest([], 60)).toBe(-1);
  });
  it('a handle moves by the slider and back', async () => {
    const { default: PeakWindow } = await import('../src/pages/PeakWindow.svelte');
    const { fish, peak } = withPeaks[0]!;
    const body = shown(PeakWindow, { fish, peak });
    flushSync();
    const points = pointsOf(peak);
    const slider = body.querySelector('input[type=range]') as HTMLInputElement;
    const home = briefPoint(peak, points);
    expect(slider.value).toBe(String(home));
    const other = home === 0 ? points.length - 1 : 0;
    slider.value = String(other);
    slider.dispatchEvent(new Event('input', { bubbles: true }));
    flushSync();
    const text = (body.textContent ?? '').replace(/\s+/g, ' ');
    expect(text).toContain(`${points[other]!.window_s} s: ${points[other]!.corrected.toFixed(0)}`);
    expect(text).toContain('of the brief');
    expect(body.querySelector('a')?.getAttribute('href')).toBe('/set-up/brief/peak.window_s');
    (body.querySelector('.window-acts button') as HTMLButtonElement).click();
    flushSync();
    expect(slider.value).toBe(String(home));
  });
});
