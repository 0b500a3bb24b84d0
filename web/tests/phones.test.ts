import { describe, expect, it } from 'vitest';
import { daysUntil, freeMark, newcomer } from '../src/data/phones';
import type { PairedDevice } from '../src/server/api';
import { pairingOf } from '../src/server/phones';

const phone = (id: string, label: string): PairedDevice => ({ id, label, author: 'Runa', role: 'crew', paired_at: '2026-06-14T21:05:03Z', last_seen_at: '2026-06-14T21:05:03Z' });

describe('paired phones', () => {
  it('have marks of their own', () => {
    expect(freeMark([])).toBe('A');
    expect(freeMark([phone('1', 'A'), phone('2', 'C')])).toBe('B');
    expect(freeMark([...'ABCDEFGHIJKLMNOPQRSTUVWXYZ'].map((letter) => phone(letter, letter)))).toBe('');
  });
  it('that came just now are known by what was there before', () => {
    const before = [phone('1', 'A')];
    expect(newcomer(before, before, 'A')).toBeNull();
    expect(newcomer(before, [...before, phone('2', 'B')], 'A')).toBeNull();
    expect(newcomer(before, [...before, phone('2', 'A')], 'A')?.id).toBe('2');
  });
  it('trust for so many whole days yet', () => {
    const now = Date.parse('2026-06-14T21:00:00Z');
    expect(daysUntil('2026-06-15T21:00:00Z', now)).toBe(1);
    expect(daysUntil('2026-06-15T20:59:59Z', now)).toBe(0);
    expect(daysUntil('2020-01-01T00:00:00Z', now)).toBe(0);
  });
  it('are refused in words where the answer is of another shape', () => {
    expect(() => pairingOf({ is_on: true })).toThrow('what is known of phones: no "devices"');
  });
});
