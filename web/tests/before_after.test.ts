// The last answer held against the one before it.
import { describe, expect, it } from 'vitest';
import { movedOf, othersMoved, spellPair } from '../src/data/before_after';
import { fixture } from './fixture';

const before = fixture();
const fish = before.fish.find((each) => each.metrics.resting && each.metrics.peaks.length > 0)!;

describe('before and after', () => {
  it('finds nothing moved in the same answer', () => {
    expect(movedOf(before, fixture(), fish.id).length).toBeGreaterThan(2);
    expect(movedOf(before, fixture(), fish.id).every((each) => each.isSame)).toBe(true);
    expect(othersMoved(before, fixture(), fish.id)).toEqual([]);
  });

  it('tells a number that moved, however little', () => {
    const after = fixture();
    const found = after.fish.find((each) => each.id === fish.id)!;
    const resting = found.metrics.resting!.uptake_mg_per_kg_h;
    resting.value = (resting.value ?? 0) + 1e-9;
    const moved = movedOf(before, after, fish.id).filter((each) => !each.isSame);
    expect(moved.map((each) => each.title)).toEqual([expect.stringContaining('SMR')]);
    expect(moved[0]?.after?.value).toBe(resting.value);
    expect(othersMoved(before, after, 'nobody')).toEqual([fish.id]);
  });

  it('tells one that is gone', () => {
    const after = fixture();
    after.fish.find((each) => each.id === fish.id)!.metrics.resting = null;
    const [gone] = movedOf(before, after, fish.id);
    expect(gone).toMatchObject({ after: null, isSame: false });
    expect(gone?.before?.value).not.toBeNull();
  });

  it('sets a spell beside itself', () => {
    const stay = fish.stays.find((each) => each.spells.number.length > 0)!;
    const number = stay.spells.number[0]!;
    expect(spellPair(before, fixture(), stay.id, number)?.was).toEqual({ stay, i: 0 });
    expect(spellPair(before, fixture(), stay.id, null)).toBeNull();
    expect(spellPair(before, fixture(), 'nowhere', number)).toBeNull();
  });
});
