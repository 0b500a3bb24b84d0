// What a change did to a fish's numbers: the last answer held against the one before.
import { inUnit } from './fish_list';
import type { Fish, Quantity, Results, Stay } from './results';

export interface Moved {
  title: string;
  before: Quantity | null;
  after: Quantity | null;
  /** to the last digit, whatever is shown */
  isSame: boolean;
}

type Named = { title: string; q: Quantity | null }[];

/** The numbers by which a fish is known, by the trade's short names. */
function numbersOf(fish: Fish | undefined): Named {
  if (!fish) return [];
  const m = fish.metrics;
  return [
    ...(m.resting ? [{ title: `SMR: ${m.resting.kind}`, q: inUnit(fish, m.resting) }] : []),
    ...m.peaks.map((peak) => ({ title: `MMR after ${peak.after}`, q: inUnit(fish, peak) })),
    ...m.recoveries.flatMap((recovery) => {
      const base = recovery.baselines[0];
      if (!base) return [];
      const where = recovery.after === 'capture' ? 'boat hour' : 'tube after chase';
      return [
        { title: `EPOC, ${where}`, q: base.excess_boat_hour },
        { title: `Recovered after ${recovery.after}`, q: base.hours_by_data },
      ];
    }),
    ...m.scopes.map((scope) => ({ title: `Scope after ${scope.after}`, q: scope.absolute })),
  ];
}

const isSame = (a: Quantity | null, b: Quantity | null): boolean =>
  (a?.value ?? null) === (b?.value ?? null) && (a?.standard_uncertainty ?? null) === (b?.standard_uncertainty ?? null) && (a?.text ?? '') === (b?.text ?? '');

function held(before: Named, after: Named): Moved[] {
  const titles = [...new Set([...before, ...after].map((each) => each.title))];
  return titles.map((title) => {
    const was = before.find((each) => each.title === title)?.q ?? null;
    const now = after.find((each) => each.title === title)?.q ?? null;
    return { title, before: was, after: now, isSame: isSame(was, now) };
  });
}

const fishNamed = (results: Results, id: string): Fish | undefined => results.fish.find((fish) => fish.id === id);

export const movedOf = (before: Results, after: Results, fish: string): Moved[] => held(numbersOf(fishNamed(before, fish)), numbersOf(fishNamed(after, fish)));

/** Other fish whose numbers moved with it: a blank's slope is in many. */
export const othersMoved = (before: Results, after: Results, fish: string): string[] =>
  after.fish.filter((each) => each.id !== fish && movedOf(before, after, each.id).some((moved) => !moved.isSame)).map((each) => each.id);

const stayNamed = (results: Results, id: string): Stay | undefined =>
  results.fish.flatMap((fish) => fish.stays).find((stay) => stay.id === id) ?? results.blanks.find((stay) => stay.id === id);

/** A spell's own numbers in two answers, as its place in the stay names it; nothing where either lacks it. */
export function spellPair(before: Results, after: Results, stay: string, spell: number | null): { was: { stay: Stay; i: number }; now: { stay: Stay; i: number } } | null {
  const [was, now] = [stayNamed(before, stay), stayNamed(after, stay)];
  const [i, k] = [was?.spells.number.indexOf(spell ?? -1) ?? -1, now?.spells.number.indexOf(spell ?? -1) ?? -1];
  return was && now && i >= 0 && k >= 0 ? { was: { stay: was, i }, now: { stay: now, i: k } } : null;
}
