// Scores of fins and body as the outline wants them: one drawing per occasion and scorer.
import type { FishCondition, ScoredLook, ScoredPlace } from './results';
import { spoken } from './read';

export interface OutlineLook {
  occasion: string;
  scorer: string;
  fins: ScoredLook | null;
  body: ScoredLook | null;
  /** "before holding, by A" */
  title: string;
}

/** Occasions in their order, each scorer's fins and body of one occasion together. */
export function outlineLooks(condition: FishCondition): OutlineLook[] {
  const looks: OutlineLook[] = [];
  const add = (kind: 'fins' | 'body', look: ScoredLook) => {
    const free = looks.find((each) => each.occasion === look.occasion && each.scorer === look.scorer && each[kind] === null);
    if (free) free[kind] = look;
    else {
      const title = spoken(look.occasion) + (look.scorer === '' ? '' : `, by ${look.scorer}`);
      looks.push({ occasion: look.occasion, scorer: look.scorer, fins: null, body: null, title, [kind]: look });
    }
  };
  for (const look of condition.fins) add('fins', look);
  for (const look of condition.body) add('body', look);
  const order = ['landing', 'before_holding', 'after_holding'];
  return looks.sort((a, b) => order.indexOf(a.occasion) - order.indexOf(b.occasion));
}

export const placesOf = (look: OutlineLook): ScoredPlace[] => [...(look.fins?.places ?? []), ...(look.body?.places ?? [])];

/** "left pectoral: split, net marks", for those that have a mark. */
export const markLines = (look: OutlineLook): string[] =>
  placesOf(look).flatMap(({ title, marks }) => (marks.length > 0 ? [`${title}: ${marks.join(', ')}`] : []));

/** "fins: mean 1.3, worst 3", "body: …"; and what is missing of them. */
export function lookLines(look: OutlineLook): string[] {
  const of = (name: string, scored: ScoredLook | null): string[] => {
    if (!scored) return [];
    const mean = scored.mean.value === null ? `no mean (${scored.mean.text})` : `mean level ${scored.mean.text}`;
    const worst = scored.worst === null ? '' : `, worst ${scored.worst}`;
    return [`${name}: ${mean}${worst}${scored.note === '' || scored.mean.text.includes(scored.note) ? '' : `; ${scored.note}`}`];
  };
  return [...of('fins', look.fins), ...of('body', look.body)];
}
