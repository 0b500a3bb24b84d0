import { describe, expect, it } from 'vitest';
import { logTicks } from '../src/data/log_ticks';

describe('ticks of a logarithmic axis', () => {
  it('stand evenly within less than a decade, however few ones, twos and fives lie there', () => {
    expect(logTicks(285, 475, 3)).toEqual([300, 400]);
    expect(logTicks(285, 475, 4)).toEqual([300, 350, 400, 450]);
    expect(logTicks(0.9, 1.6, 4)).toEqual([1, 1.2, 1.4, 1.6]);
  });
  it('are ones, twos and fives over decades, tens where these are too many', () => {
    expect(logTicks(3, 120, 6)).toEqual([5, 10, 20, 50, 100]);
    expect(logTicks(0.01, 1000, 6)).toEqual([0.01, 0.1, 1, 10, 100, 1000]);
  });
});
