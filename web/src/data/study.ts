// Study-wide figures: which number of a fish a measure means.
import type { Fish, Quantity, Results } from './results';

export interface Measure {
  title: string;
  of: (fish: Fish) => Quantity | undefined;
  /** drawn open: the value is a weaker kind of the same */
  isWeaker?: (fish: Fish) => boolean;
}

const peak = (after: string) => (fish: Fish) => {
  const found = fish.metrics.peaks.find((each) => each.after === after);
  return found?.mark === 'unusable' ? undefined : found?.uptake_mg_per_kg_h;
};

export const measures: Record<string, Measure> = {
  peak_after_capture: { title: 'Peak after capture', of: peak('capture') },
  peak_after_chase: { title: 'Peak after chase', of: peak('chase') },
  resting: {
    title: 'Resting uptake',
    of: (fish) => fish.metrics.resting?.uptake_mg_per_kg_h,
    isWeaker: (fish) => fish.metrics.resting?.kind === 'resting, not recovered',
  },
  scope_absolute: {
    title: 'Absolute scope after capture',
    of: (fish) => fish.metrics.scopes.find((each) => each.after === 'capture')?.absolute,
  },
  scope_factorial: {
    title: 'Factorial scope after capture',
    of: (fish) => fish.metrics.scopes.find((each) => each.after === 'capture')?.factorial,
  },
  excess_boat_hour: {
    title: 'Excess in the boat hour',
    of: (fish) => fish.metrics.recoveries.find((each) => each.after === 'capture')?.baselines[0]?.excess_boat_hour,
  },
};

export interface Row {
  key: string;
  label: string;
  place: number;
  points: { fish: string; value: number; uncertainty: number; isWeaker: boolean; text: string }[];
  mean: Quantity | undefined;
}

/** A row per group, in the study's order; one row of all fish where there are no groups. */
export function rowsOf(results: Results, word: string): { unit: string; rows: Row[] } {
  const measure = measures[word];
  const groups = results.groups.length > 0 ? results.groups : [{ key: '', label: 'all fish' }];
  let unit = '';
  const rows = groups.map((group, place) => {
    const points = results.fish.flatMap((fish) => {
      if (group.key !== '' && fish.group !== group.key) return [];
      const q = measure?.of(fish);
      if (!q || q.value === null) return [];
      unit = q.unit;
      return [
        {
          fish: fish.id,
          value: q.value,
          uncertainty: q.standard_uncertainty ?? 0,
          isWeaker: measure?.isWeaker?.(fish) ?? false,
          text: q.text,
        },
      ];
    });
    const headline = results.headlines.find((each) => each.word === word && each.group === group.key);
    return { key: group.key, label: group.label, place: group.key === '' ? -1 : place, points, mean: headline?.mean };
  });
  return { unit, rows };
}
