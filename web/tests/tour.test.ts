import { describe, expect, it } from 'vitest';
import { routeOfStop, tourStops } from '../src/data/tour';

describe('the tour', () => {
  it('stops at pages that there are, and says little at each', () => {
    const stops = tourStops;
    expect(stops.length).toBeGreaterThanOrEqual(6);
    expect(stops.length).toBeLessThanOrEqual(8);
    for (const stop of stops) {
      expect(routeOfStop(stop).page).not.toBe('unknown');
      expect(stop.words.split(/[.:] /).length, stop.title).toBeLessThanOrEqual(4);
      expect(stop.words.length).toBeLessThan(240);
    }
    expect(stops[0]?.path).toBe('/');
  });
});
