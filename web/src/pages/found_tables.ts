// A finding's numbers as tables.
import type { Row } from '../parts/NumberTable.svelte';
import { spoken } from '../data/read';
import type { Finding, FoundNumber, Quantity } from '../data/results';

export const chanceText = (p: number | null): string => (p === null ? '' : p < 0.001 ? '< 0.001' : p.toPrecision(2));

/** As the other numbers of these pages; its own method, else the finding's. */
export function foundQuantity(found: FoundNumber, finding: Finding): Quantity {
  const method = found.method || finding.method;
  return {
    value: found.value, unit: found.unit, text: found.text, ...(found.reason ? { reason: found.reason } : {}), ...(method ? { method } : {}),
    ...(found.se === null ? {} : { standard_uncertainty: found.se }),
    ...(found.lower === null ? {} : { interval: { low: found.lower, high: found.upper, level: 0.95, method: found.freedom === null ? '' : `t with ${found.freedom} degrees of freedom` } }),
  };
}

const asked = (found: FoundNumber, finding: Finding) => ({
  q: foundQuantity(found, finding), title: `${finding.name}: ${spoken(found.name)}`, from: `the question “${finding.name}” of study.toml, ${finding.rows} rows${finding.model ? `; model ${finding.model}` : ''}`,
});

export const scaleText = (finding: Finding): string => `${spoken(finding.scale)}s; ${finding.scale === 'difference' ? '0 is none' : '1 is no difference'}`;

export const effectRows = (finding: Finding): Row[] =>
  finding.effects.map((each) => ({ title: spoken(each.name), cells: [asked(each, finding), chanceText(each.p), chanceText(each.p_corrected)] }));

export const numberRows = (finding: Finding, numbers: FoundNumber[]): Row[] =>
  numbers.map((each) => ({ title: spoken(each.name), cells: [asked(each, finding), chanceText(each.p)] }));

export const fateRows = (finding: Finding): Row[] =>
  finding.fates.map((each) => ({ title: spoken(each.group), cells: [each.fate, `${each.count} of ${each.of}`, asked(each.share, finding)] }));

const declaredWords: Record<Finding['declared'], string> = {
  never: 'Exploratory: never declared', before_any_fish: 'Declared before any fish was met', before_results: 'Declared before any result was there',
  after_results: 'Declared after results were there', changed_since: 'Changed since it was declared',
};
export const declaredText = (finding: Finding): string => declaredWords[finding.declared];
export const isLate = (finding: Finding): boolean => finding.declared === 'after_results' || finding.declared === 'changed_since';

/** "24 fish" or "2144 rows (each: spell), of 24 fish" */
export const countText = (finding: Finding, rows = finding.rows, fish = finding.fish): string =>
  finding.row_noun === 'fish' || finding.row_noun === '' ? `${rows} fish` : `${rows} rows (each: ${finding.row_noun})${fish > 0 ? `, of ${fish} fish` : ''}`;
