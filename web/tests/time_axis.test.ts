import { describe, expect, it } from 'vitest';
import { hourText, lanes, tickHours, timeAxis } from '../src/data/time_axis';

describe('the time axis of a fish', () => {
  const axis = timeAxis(
    [
      { from: 0.1, to: 1.1, label: 'tube', weight: 1 },
      { from: 1.6, to: 15.6, label: 'night', weight: 2 },
      { from: 16, to: 17, label: 'tube', weight: 1 },
    ],
    0.02,
    10,
  );
  it('fills its width with panels and gaps', () => {
    expect(axis.panels[0]?.left).toBe(0);
    expect(axis.panels[2]?.right).toBeCloseTo(1, 12);
    expect(axis.place(1.1)).toBeCloseTo(axis.panels[0]?.right ?? NaN, 12);
    expect(axis.place(1.6)).toBeCloseTo(axis.panels[1]?.left ?? NaN, 12);
  });
  it('never runs backwards, and holds what lies outside at its edges', () => {
    let last = -1;
    for (let h = -2; h < 20; h += 0.05) {
      const here = axis.place(h);
      expect(here).toBeGreaterThanOrEqual(last);
      last = here;
    }
    expect(axis.place(-1)).toBe(0);
    expect(axis.place(99)).toBeCloseTo(1, 12);
  });
  it('keeps its ticks inside their panels', () => {
    for (const tick of axis.ticks) {
      expect(axis.panels.some((p) => tick.at >= p.left - 1e-9 && tick.at <= p.right + 1e-9)).toBe(true);
    }
  });
  it('is empty without stays', () => {
    expect(timeAxis([], 0.02, 10).ticks).toEqual([]);
    expect(timeAxis([], 0.02, 10).place(3)).toBe(0);
  });
});

describe('ticks', () => {
  it('stand on round hours', () => {
    expect(tickHours(0.1, 4.2, 5)).toEqual([1, 2, 3, 4]);
    expect(tickHours(0, 1, 4).map(hourText)).toEqual(['0', '0.25', '0.5', '0.75', '1']);
  });
  it('are there even where the panel is narrow', () => {
    expect(tickHours(0.09, 1.1, 1).length).toBeGreaterThan(0);
    expect(tickHours(16.05, 16.9, 1).length).toBeGreaterThan(0);
  });
});

describe('lanes', () => {
  it('keep labels from standing on each other', () => {
    const labels = [0, 1, 2, 30, 31, 90].map((at) => ({ at, width: 25 }));
    const lane = lanes(labels, 2);
    labels.forEach((a, i) =>
      labels.forEach((b, j) => {
        if (i < j && lane[i] === lane[j]) expect(a.at + a.width + 2).toBeLessThanOrEqual(b.at);
      }),
    );
    expect(Math.max(...lane)).toBe(2);
  });
});
