// The list of fish: one row each, sorted by any column, found by typing.
import type { Fish, Quantity, Results } from './results';
import { groupPlace, spoken } from './read';

export interface FishRow {
  fish: Fish;
  group: string;
  /** in the study's list of groups, or -1 */
  place: number;
  mass: Quantity;
  capture: Quantity | null;
  chase: Quantity | null;
  rest: Quantity | null;
  restKind: string;
  scope: Quantity | null;
  fate: string;
  /** sealed spells, and those that are not good */
  spells: number;
  inDoubt: number;
  /** numbers that this fish has not, with the reasons */
  missing: string;
}

/** What is drawn: per kilogram, or per animal before weighing. */
export const inUnit = (fish: Fish, of: { uptake_mg_per_kg_h: Quantity; uptake_mg_per_h: Quantity } | undefined | null): Quantity | null =>
  of ? of[fish.metrics.drawn_unit === 'mg/kg/h' ? 'uptake_mg_per_kg_h' : 'uptake_mg_per_h'] : null;

export function fishRows(results: Results): FishRow[] {
  return results.fish.map((fish) => {
    const peak = (after: string) => inUnit(fish, fish.metrics.peaks.find((each) => each.after === after));
    const place = groupPlace(results, fish.group);
    const marks = fish.stays.flatMap((stay) => stay.spells.mark);
    return {
      fish,
      group: results.groups[place]?.label ?? '',
      place,
      mass: fish.mass_g,
      capture: peak('capture'),
      chase: peak('chase'),
      rest: inUnit(fish, fish.metrics.resting),
      restKind: fish.metrics.resting?.kind ?? '',
      scope: fish.metrics.scopes.find((each) => each.after === 'capture')?.absolute ?? null,
      fate: spoken(fish.fate.word),
      spells: marks.length,
      inDoubt: marks.filter((mark) => mark !== 'good').length,
      missing: fish.metrics.missing.map((each) => `${spoken(each.name)}: ${each.text}`).join('; '),
    };
  });
}

export type FishColumn = 'fish' | 'group' | 'mass' | 'capture' | 'chase' | 'rest' | 'scope' | 'fate' | 'inDoubt';

const byText = (a: string, b: string): number => a.localeCompare(b, 'en', { numeric: true });

/** The value a column is sorted by; null comes last whichever way. */
function keyOf(row: FishRow, column: FishColumn): string | number | null {
  switch (column) {
    case 'fish':
      return row.fish.id;
    case 'group':
      return row.place;
    case 'fate':
      return row.fate;
    case 'inDoubt':
      return row.inDoubt;
    default:
      return row[column]?.value ?? null;
  }
}

export function sorted(rows: FishRow[], column: FishColumn, isDown: boolean): FishRow[] {
  const sign = isDown ? -1 : 1;
  return [...rows].sort((a, b) => {
    const x = keyOf(a, column);
    const y = keyOf(b, column);
    if (x === null || y === null) return x === y ? byText(a.fish.id, b.fish.id) : x === null ? 1 : -1;
    const order = typeof x === 'number' && typeof y === 'number' ? x - y : byText(String(x), String(y));
    return order === 0 ? byText(a.fish.id, b.fish.id) : sign * order;
  });
}

/** Rows in which every typed word stands somewhere. */
export function matching(rows: FishRow[], typed: string): FishRow[] {
  const words = typed.toLowerCase().split(/\s+/).filter((word) => word !== '');
  return rows.filter((row) => {
    const { fish } = row;
    const text = [
      fish.id, fish.species, fish.tag, row.group, row.fate, row.restKind, fish.note, ...fish.notes, ...fish.stays.map((stay) => `${stay.id} ${stay.assembly}`),
      ...fish.treatments.map((each) => spoken(each.text)), row.missing === '' ? '' : 'missing',
    ].join(' ').toLowerCase();
    return words.every((word) => text.includes(word));
  });
}

/** The fish before and after, in the study's order; null at its ends. */
export function neighbours(results: Results, id: string): { before: string | null; after: string | null } {
  const here = results.fish.findIndex((fish) => fish.id === id);
  return { before: results.fish[here - 1]?.id ?? null, after: here < 0 ? null : (results.fish[here + 1]?.id ?? null) };
}
