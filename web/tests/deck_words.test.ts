// How Deck says and reads times, and names fish.
import { describe, expect, it } from 'vitest';
import { baseOf } from '../src/deck/base';
import { layOver } from '../src/deck/edits';
import { proposedName } from '../src/deck/presses';
import { deckState, sideOf } from '../src/deck/state';
import { markOf } from '../src/deck/shelf';
import { agoText, clockText, lastTime, watchText } from '../src/deck/words';
import { base as raw } from './deck_bench';

const now = Date.parse('2026-06-08T06:30:00.400Z');

describe('times', () => {
  it('run as a watch', () => {
    expect([0, 7_900, 60_000, 3_599_000, 3_723_000, -5].map(watchText)).toEqual(['0:00', '0:07', '1:00', '59:59', '1:02:03', '0:00']);
    expect([40_000, 180_000, 7_500_000].map(agoText)).toEqual(['40 s ago', '3 min ago', '2 h 5 min ago']);
  });

  it('are read as the last time the clock showed them, at the study’s place', () => {
    const iso = (typed: string, zone = 'UTC') => {
      const ms = lastTime(typed, now, zone);
      return ms === null ? null : new Date(ms).toISOString();
    };
    expect(iso('6:10')).toBe('2026-06-08T06:10:00.000Z');
    expect(iso('06.10.12')).toBe('2026-06-08T06:10:12.000Z');
    expect(iso('06:31')).toBe('2026-06-07T06:31:00.000Z');
    expect(iso('7:10', 'Europe/London')).toBe('2026-06-08T06:10:00.000Z');
    expect(['24:00', '6:60', '6', '', 'six', '6:10:61'].map((typed) => lastTime(typed, now, 'UTC'))).toEqual([null, null, null, null, null, null]);
    for (const typed of ['00:00:00', '23:59:59', '06:30:00', '12:34:56']) {
      const ms = lastTime(typed, now, 'Asia/Kolkata') ?? 0;
      expect(clockText(ms, 'Asia/Kolkata')).toBe(typed);
      expect(now - ms).toBeGreaterThanOrEqual(0);
      expect(now - ms).toBeLessThan(86_400_000);
    }
  });
});

const namer = (mark: string) => ({ mark, device: '0000000000000000', others: [] });

describe('names', () => {
  it('of fish have the day at the study’s place and a count that is free', () => {
    const base = baseOf({ ...raw, rows: { fish: [{ cells: { fish: '0608-Kaa1' } }, { cells: { fish: '0609-Kaa1' } }] } });
    const state = deckState(base, [], now);
    expect(proposedName(state, now, 'UTC', namer('K'))).toBe('0608-Kaa2');
    expect(proposedName(state, now, 'Pacific/Kiritimati', namer('Q'))).toBe('0608-Qaa1');
    expect(proposedName(state, Date.parse('2026-06-08T23:30:00Z'), 'Europe/London', namer('K'))).toBe('0609-Kaa2');
  });

  it('of phones and of sides', () => {
    expect(markOf('0000000100000000')).toMatch(/^[A-Z]{2}$/);
    expect(['port bow', 'Starboard aft', 'stern'].map(sideOf)).toEqual(['port', 'starboard', '']);
  });
});

describe('what the program says', () => {
  it('is read with care: what is missing is empty, and what is none of ours is refused', () => {
    expect(baseOf({ identity: 'x' })).toMatchObject({ rods: [], permit: { fish: null, at_death: '' }, blood: { ceiling_ml_per_kg: null }, rows: {} });
    expect(baseOf({ identity: 'x', rods: ['a', 3, ''], seal_within_s: '120' })).toMatchObject({ rods: ['a'], seal_within_s: null });
    expect(() => baseOf({})).toThrow('which study');
    expect(() => baseOf(null)).toThrow();
    expect(layOver(baseOf({ identity: 'x', rows: { fish: [{ cells: { fish: 'T' } }] } }).rows, []).tables.fish).toHaveLength(1);
  });
});
