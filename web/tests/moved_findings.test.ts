import { describe, expect, it } from 'vitest';
import { movedAnswer, seenFrom, seenOf } from '../src/data/moved_findings';
import type { Finding } from '../src/data/results';
import { fixture } from './fixture';

const study = fixture();
const one = study.findings.find((each) => each.unanswered === '' && each.scale === 'difference' && each.effects[0]?.value != null) as Finding;
const withEffect = (part: object): Finding => ({ ...one, effects: [{ ...one.effects[0]!, ...part }, ...one.effects.slice(1)] });

describe('an answer that was looked at', () => {
  it('is the same while what is told is the same', () => {
    for (const finding of study.findings) expect(movedAnswer(seenOf(finding), finding)).toBeNull();
    expect(movedAnswer(seenOf(one), withEffect({ value: one.effects[0]!.value! + 1e-13 }))).toBeNull();
  });
  it('has moved by so much', () => {
    const now = withEffect({ value: one.effects[0]!.value! - 2.5, text: '1.0 (0.1 to 2.0)' });
    const moved = movedAnswer(seenOf(one), now);
    expect(moved?.before).toContain(one.effects[0]!.text);
    expect(moved?.after).toContain('1.0 (0.1 to 2.0)');
    expect(moved?.by).toMatch(/^by −2\.5 /);
    expect(moved?.also).toEqual([]);
  });
  it('of a ratio by a factor', () => {
    const ratio = { ...withEffect({ value: 2, text: '2.0', unit: '' }), scale: 'ratio' as const };
    expect(movedAnswer(seenOf(ratio), { ...ratio, effects: [{ ...ratio.effects[0]!, value: 1, text: '1.0' }] })?.by).toBe('by × 0.500');
  });
  it('tells who is gone, what is asked otherwise, and an answer that is lost', () => {
    expect(movedAnswer(seenOf(one), { ...one, fish: one.fish - 1, rows: one.rows - 1 })?.also[0]).toBe(`${one.fish} fish became ${one.fish - 1}`);
    expect(movedAnswer(seenOf(one), { ...one, adjusted_for: ['air_s'] })?.also).toContain('the question itself is asked otherwise');
    const lost = movedAnswer(seenOf(one), { ...one, unanswered: 'too few', effects: [] });
    expect(lost?.after).toBe('no answer');
    expect(lost?.by).toBe('');
  });
});

it('what a device kept and cannot be read is forgotten', () => {
  const seen = seenOf(one);
  expect(seenFrom(JSON.stringify({ a: seen, b: 1, c: { form: 2 }, d: null }))).toEqual({ a: seen });
  for (const text of [null, '', 'x', '[]', '1', 'null']) expect(seenFrom(text)).toEqual({});
});
