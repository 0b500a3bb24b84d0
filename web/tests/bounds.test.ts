// The readings that a spell uses: from one to the next, within the sealed time, and as rows of decisions.csv.
import { describe, expect, it } from 'vitest';
import { boundsOf, boundText, mayStand, momentOf, nearestReading, nextReading, sealedSpan } from '../src/data/bounds';
import { decisionsOf } from '../src/data/decision';
import { reasonOf } from '../src/data/reasons';
import { seconds } from '../src/data/read';
import { Readings } from '../src/server/readings';
import { fixture } from './fixture';

const stay = fixture().fish.flatMap((fish) => fish.stays).find((each) => each.spells.number.length > 2)!;
const zero = seconds(stay.trace.from);
const readings = [10, 11, 12.5, 14, 15];

describe('readings', () => {
  it('follow each other', () => {
    expect(nextReading(readings, 12.5, 1)).toBe(14);
    expect(nextReading(readings, 12.5, -1)).toBe(11);
    expect(nextReading(readings, 12.5004, 1)).toBe(14);
    expect(nextReading(readings, 15, 1)).toBeNull();
    expect(nextReading(readings, 10, -1)).toBeNull();
    expect(nearestReading(readings, 13.5)).toBe(14);
    expect(nearestReading([], 13)).toBeNull();
  });

  it('are asked for about one moment, wider where there are few, and once', async () => {
    const asked: string[] = [];
    const answers = [[0, 60], [0, 600, 1200]];
    const about = new Readings((async (path: string) => {
      asked.push(path);
      const at_s = answers.shift() ?? [];
      const from = new URL(path, 'http://x').searchParams.get('from');
      return new Response(JSON.stringify({ from, at_s: [...at_s, 1], oxygen_mg_per_l: [...at_s.map(() => 8), null], saturation_percent: [], temperature_celsius: [], states: [], rows: 2 }));
    }) as typeof fetch);
    // Of the first answer nothing lies behind the moment.
    expect(await about.about('s1', '2026-06-14T08:00:00Z', 600)).toEqual([0, 600, 1200]);
    expect(asked.map((path) => new URL(path, 'http://x').searchParams.get('from'))).toEqual(['2026-06-14T08:09:00.000Z', '2026-06-14T08:00:00.000Z']);
    expect(await about.about('s1', '2026-06-14T08:00:00Z', 600)).toEqual([0, 600, 1200]);
    expect(asked).toHaveLength(2);
  });
});

describe('bounds', () => {
  const sealed = sealedSpan(stay, 1);
  const used = boundsOf(stay, 1);

  it('stand within the sealed time, the first before the last', () => {
    expect(used.first).toBeGreaterThanOrEqual(sealed.from);
    expect(used.last).toBeLessThanOrEqual(sealed.to);
    expect(mayStand('first', used.first, used, sealed)).toBe(true);
    expect(mayStand('first', sealed.from - 1, used, sealed)).toBe(false);
    expect(mayStand('first', used.last, used, sealed)).toBe(false);
    expect(mayStand('last', sealed.to + 1, used, sealed)).toBe(false);
    expect(mayStand('last', used.first, used, sealed)).toBe(false);
  });

  it('are written so that the reading itself lies within, and never out of the sealed time', () => {
    const at = used.first + 3.25;
    expect(seconds(boundText(stay, 1, 'first', at))).toBeLessThan(zero + at);
    expect(seconds(boundText(stay, 1, 'first', at))).toBeGreaterThan(zero + at - 0.01);
    expect(seconds(boundText(stay, 1, 'last', at))).toBeGreaterThan(zero + at);
    expect(seconds(boundText(stay, 1, 'last', at))).toBeLessThan(zero + at + 0.01);
    expect(boundText(stay, 1, 'first', sealed.from)).toBe(stay.spells.sealed_from[1]);
    expect(seconds(boundText(stay, 1, 'last', sealed.to))).toBeLessThanOrEqual(zero + sealed.to);
  });

  it('do not move the moment by which the spell is found', () => {
    const at = seconds(momentOf(stay, 1)) - zero;
    expect(at).toBeGreaterThan(sealed.from);
    expect(at).toBeLessThan(sealed.to);
    const moved = structuredClone(stay);
    moved.spells.from[1] = new Date((zero + used.first + 2) * 1000).toISOString();
    expect(momentOf(moved, 1)).toBe(momentOf(stay, 1));
  });
});

describe('a judgement', () => {
  const row = (act: string, value?: string) => ({
    act: 'add', reason: 'a leak',
    content: { table: 'decisions', row: { stay: stay.id, moment: momentOf(stay, 1), act, ...(value ? { value } : {}), treatment: 'hidden', at: '2026-06-20T09:00:00Z' } },
  });
  const decide = (deed: Parameters<typeof decisionsOf>[2]['deed'], bounds = {}) => decisionsOf(stay, 1, { deed, reason: 'a leak', bounds }, 'hidden', '2026-06-20T09:00:00Z');

  it('is a row of decisions.csv', () => {
    expect(decide('doubtful')).toEqual([row('mark', 'doubtful')]);
    expect(decide('exclude')).toEqual([row('exclude')]);
    expect(decide('include')).toEqual([row('include')]);
    expect(decide('note')).toEqual([row('note')]);
  });

  it('is a row for each bound that moves', () => {
    const at = boundsOf(stay, 1).first + 5;
    expect(decide('move', { first: at })).toEqual([row('move_start', boundText(stay, 1, 'first', at))]);
    expect(decide('move', { first: at, last: at + 60 })).toEqual([row('move_start', boundText(stay, 1, 'first', at)), row('move_end', boundText(stay, 1, 'last', at + 60))]);
  });

  it('has the reason that was chosen, typed, or both', () => {
    expect(reasonOf('chamber not tight', ' ')).toBe('chamber not tight');
    expect(reasonOf('', ' lid ajar ')).toBe('lid ajar');
    expect(reasonOf('chamber not tight', 'lid ajar')).toBe('chamber not tight; lid ajar');
  });
});
