// A question as it is being written, and what the program says of it.
import type { Askable, AskableColumn, Complaint, QuestionKeys } from '../server/api';

export interface Draft {
  name: string;
  ask: string;
  outcome: string;
  compare: string;
  reference: string;
  adjust_for: string[];
  within: string;
  random: string[];
  family: string;
  order: string[];
  family_of_tests: string;
  /** as typed */
  margin: string;
  better: string;
  effect_wanted: string;
  weigh_by_uncertainty: boolean;
}

export const emptyDraft = (): Draft => ({
  name: '', ask: '', outcome: '', compare: '', reference: '', adjust_for: [], within: '', random: [], family: '', order: [],
  family_of_tests: '', margin: '', better: '', effect_wanted: '', weigh_by_uncertainty: false,
});

const text = (value: unknown): string => (typeof value === 'string' ? value : typeof value === 'number' ? String(value) : '');
const list = (value: unknown): string[] => (Array.isArray(value) ? value.map(String) : []);

/** Of a question that the brief has. */
export function draftOf(keys: QuestionKeys): Draft {
  return {
    name: text(keys.name), ask: text(keys.ask), outcome: text(keys.outcome), compare: text(keys.compare), reference: text(keys.reference),
    adjust_for: list(keys.adjust_for), within: text(keys.within), random: list(keys.random), family: text(keys.family), order: list(keys.order),
    family_of_tests: text(keys.family_of_tests), margin: text(keys.margin), better: text(keys.better), effect_wanted: text(keys.effect_wanted),
    weigh_by_uncertainty: keys.weigh_by_uncertainty === true,
  };
}

/** What is typed as a number with either mark; anything else goes as it is, for the program to complain of at its key. */
function number(typed: string): number | string {
  const bare = typed.trim().replace(',', '.');
  return bare !== '' && Number.isFinite(Number(bare)) ? Number(bare) : typed;
}

/** What is said, and nothing else. */
export function keysOf(draft: Draft): QuestionKeys {
  const out: QuestionKeys = {};
  for (const key of ['name', 'ask', 'outcome', 'compare', 'reference', 'within', 'family', 'family_of_tests', 'better'] as const) {
    const said = draft[key].trim();
    if (said !== '') out[key] = said;
  }
  for (const key of ['adjust_for', 'random', 'order'] as const) if (draft[key].length > 0) out[key] = [...draft[key]];
  for (const key of ['margin', 'effect_wanted'] as const) if (draft[key].trim() !== '') out[key] = number(draft[key]);
  if (draft.weigh_by_uncertainty) out.weigh_by_uncertainty = true;
  return out;
}

export const isAskable = (draft: Draft): boolean => draft.outcome.trim() !== '' && draft.compare.trim() !== '';

const inner = (term: string): string => /^log\((.*)\)$/.exec(term.trim())?.[1]?.trim() ?? term.trim();
const slug = (term: string): string => inner(term).normalize('NFKD').replace(/[^A-Za-z0-9]+/g, '_').replace(/^_+|_+$/g, '').toLowerCase();

/** "peak_after_capture_by_rig", and no other question's name. */
export function proposedName(draft: Draft, taken: string[]): string {
  const base = isAskable(draft) ? `${slug(draft.outcome) || 'outcome'}_by_${slug(draft.compare) || 'column'}` : '';
  if (base === '' || !taken.includes(base)) return base;
  let n = 2;
  while (taken.includes(`${base}_${n}`)) ++n;
  return `${base}_${n}`;
}

export const columnNamed = (all: Askable, term: string): AskableColumn | null =>
  all.columns.find((each) => each.name === term.trim()) ?? all.columns.find((each) => each.name === inner(term)) ?? null;

/** The columns that stand in a row with the outcome, the fuller first where `all` has no order of its own. */
export function columnsBeside(all: Askable, outcome: string): AskableColumn[] {
  const rows = columnNamed(all, outcome)?.rows ?? [];
  const filled = all.columns.filter((each) => each.filled > 0 && each.name !== outcome.trim());
  return rows.length === 0 ? filled : filled.filter((each) => each.rows.some((kind) => rows.includes(kind)));
}

const stages: Record<AskableColumn['stage'], string> = {
  unknown: 'the brief does not say when it became known ([columns])', assigned: 'assigned', before: 'known before the treatment', during: 'became known during the treatment',
  after: 'became known after the treatment',
};
export const stageText = (column: AskableColumn): string => stages[column.stage];

/** "peak after capture, mg/kg/h; became known after the treatment; of fish" */
export function columnText(all: Askable, term: string): string {
  const column = columnNamed(all, term);
  if (!column) return '';
  const kinds = column.rows.map((kind) => all.kinds[kind]?.nouns ?? '').filter((word) => word !== '');
  const what = [`${column.title}${column.unit ? `, ${column.unit}` : ''}`, stageText(column)];
  if (column.filled === 0) what.push('this study has nothing of it');
  else what.push(`of ${kinds.join(', ')}`);
  if (column.is_words && column.level_count > 0) what.push(`${column.levels.slice(0, 6).join(', ')}${column.level_count > 6 ? ` and ${column.level_count - 6} more` : ''}`);
  return what.join('; ');
}

const titleOf = (all: Askable, term: string): string => {
  const column = columnNamed(all, term);
  const title = column?.title ?? term;
  return inner(term) === term.trim() || column?.name === term.trim() ? title : `the logarithm of ${title}`;
};

/** The question in plain words, for who writes it. */
export function plainWords(draft: Draft, all: Askable): string {
  if (!isAskable(draft)) return '';
  const compare = columnNamed(all, draft.compare);
  const begin = compare && !compare.is_words && compare.filled > 0
    ? `How does ${titleOf(all, draft.outcome)} go with ${titleOf(all, draft.compare)}`
    : `Does ${titleOf(all, draft.outcome)} differ by ${titleOf(all, draft.compare)}`;
  const parts = [begin];
  if (draft.within.trim() !== '') parts.push(draft.within.trim() === 'fish' ? 'each fish compared with itself' : `within each ${titleOf(all, draft.within)}`);
  if (draft.adjust_for.length > 0) parts.push(`adjusted for ${draft.adjust_for.map((term) => titleOf(all, term)).join(', ')}`);
  if (draft.random.length > 0) parts.push(`rows sharing a ${draft.random.join(' or ')} taken as alike`);
  return `${parts.join(', ')}?`;
}

export const complaintsAt = (all: Complaint[], key: string): Complaint[] => all.filter((each) => each.column === key);

/** The name that a complaint offers instead. */
export const nearName = (complaint: Complaint): string | null => /did you mean "([^"]+)"\?/.exec(complaint.remedy)?.[1] ?? null;

/** Which of a list's terms a complaint speaks of; -1: of none by name. */
export const termMeant = (complaint: Complaint, terms: string[]): number =>
  terms.findIndex((term) => term !== '' && (complaint.found.includes(`"${term}"`) || complaint.found.includes(`"${inner(term)}"`)));

/** The term with its name replaced: "log(mas_g)" with mass_g becomes "log(mass_g)". */
export const withName = (term: string, wrong: string, right: string): string => (term.includes(wrong) ? term.replace(wrong, right) : right);

export const wrongName = (complaint: Complaint): string => /"([^"]+)"/.exec(complaint.found)?.[1] ?? '';
