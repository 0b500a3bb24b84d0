import { describe, expect, it } from 'vitest';
import { drawnPoints, drawnText, heightAt, isRate, isYesOrNo, levelPlace, swarm } from '../src/data/finding';
import type { Finding } from '../src/data/results';
import { fixture } from './fixture';

const results = fixture();
const found = (name: string): Finding => {
  const finding = results.findings.find((each) => each.name === name);
  if (!finding) throw new Error(`fixture without ${name}`);
  return structuredClone(finding);
};

describe('rows of a finding', () => {
  it('are rates where they have an exposure', () => {
    const finding = found('rig_landings');
    const [point] = finding.points;
    if (!point) throw new Error('no point');
    Object.assign(point, { value: 3, weight: 2 });
    expect(drawnPoints(finding)[0]?.at).toBe(1.5);
    expect(isRate(finding)).toBe(true);
    expect(isRate(found('rig_peak'))).toBe(false);
  });

  it('stand at their limit where no more is known, and say which way the truth lies', () => {
    const finding = found('rig_peak');
    const of = (value: number | null, lower: number | null, upper: number | null) => {
      finding.points = [{ row: 'a', fish: 'a', group: 'g', x: null, value, uncertainty: null, lower, upper, weight: null }];
      const [drawn] = drawnPoints(finding);
      return drawn && { at: drawn.at, open: drawn.open, text: drawnText(drawn) };
    };
    expect(of(null, 5, null)).toEqual({ at: 5, open: 'more', text: 'at least 5' });
    expect(of(null, null, 0.3)).toEqual({ at: 0.3, open: 'less', text: 'at most 0.3' });
    expect(of(null, 2, 4)).toEqual({ at: 3, open: '', text: 'between 2 and 4' });
    expect(of(2.5, 2, 4)).toEqual({ at: 2.5, open: '', text: 'between 2 and 4' });
    expect(of(412.34, null, null)).toEqual({ at: 412.34, open: '', text: '412' });
    expect(of(null, null, null)).toBeUndefined();
  });

  it('are yes or no only where each is one of the two', () => {
    const finding = found('rig_bleeding');
    expect(isYesOrNo(finding)).toBe(true);
    const [point] = finding.points;
    if (point) point.value = 2;
    expect(isYesOrNo(finding)).toBe(false);
  });
});

describe('levels', () => {
  it('take the place of the groups of the study when they are these, else their own', () => {
    const finding = found('rig_peak');
    expect(levelPlace(results, finding, 'treble_hooks')).toBe(1);
    finding.levels = ['treble/water', 'barbless/water'];
    expect(levelPlace(results, finding, 'treble/water')).toBe(2);
  });
});

describe('points side by side', () => {
  it('do not cover each other as long as there is room', () => {
    const places = [10, 11, 12, 13, 40, 40, 40];
    const lifts = swarm(places, 8, 40);
    for (let i = 0; i < places.length; ++i) {
      for (let j = 0; j < i; ++j) {
        const distance = Math.hypot((places[i] ?? 0) - (places[j] ?? 0), (lifts[i] ?? 0) - (lifts[j] ?? 0));
        expect(distance).toBeGreaterThanOrEqual(7.9);
      }
    }
  });
  it('never step further than they may', () => {
    expect(Math.max(...swarm(Array.from({ length: 50 }, () => 5), 8, 20).map(Math.abs))).toBeLessThanOrEqual(20);
  });
});

it('a curve holds its height until the next step', () => {
  const curve = { x: [0, 2, 5], y: [0, 0.5, 1] };
  expect([0, 1.9, 2, 4, 5, 9].map((x) => heightAt(curve, x))).toEqual([0, 0, 0.5, 0.5, 1, 1]);
});
