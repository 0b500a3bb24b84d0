// A study in which nothing has been written down yet: what is missing is no fault, but the next step.
import type { Known } from '../server/feed';
import type { Worry } from '../server/wire';

const isNoStay = (worry: Worry): boolean => worry.severity === 'stops' && worry.file === 'stays.csv' && worry.line === null && worry.text.includes('no stay');

/** No stay is written down, and nothing was computed. */
export const isBegun = ({ results, state }: Pick<Known, 'results' | 'state'>): boolean => results === null && (state?.complaints.some(isNoStay) ?? false);

/** Nothing else stops it: to be said calmly. */
export const isFresh = (known: Pick<Known, 'results' | 'state'>): boolean =>
  isBegun(known) && (known.state?.complaints.every((each) => each.severity !== 'stops' || isNoStay(each)) ?? false);

/** What is there so far, by table; the brief as its text. */
export interface Begun {
  rows: Record<string, number>;
  brief: string;
  worries: Worry[];
}

export type StepWord = 'brief' | 'files' | 'chambers' | 'questions' | 'paper' | 'fish' | 'clocks';

export interface StepState {
  isDone: boolean;
  /** "3 chambers"; empty where nothing is there */
  words: string;
}

const count = (n: number, one: string, many: string): string => (n === 0 ? '' : n === 1 ? `1 ${one}` : `${n} ${many}`);
const sections = (brief: string, name: string): number => brief.split('\n').filter((line) => line.trim() === `[[${name}]]`).length;

/** How far each step is. Paper has no state: nobody knows what was printed. */
export function stepStates({ rows, brief, worries }: Begun): Record<StepWord, StepState | null> {
  const of = (table: string) => rows[table] ?? 0;
  const title = /^\s*title\s*=\s*"([^"]*)"/m.exec(brief)?.[1] ?? '';
  const isNamed = title !== '' && title !== 'My study';
  const isWaterOpen = worries.some((each) => each.file === 'study.toml');
  const [traces, questions] = [sections(brief, 'trace'), sections(brief, 'question')];
  const written = [count(of('fish'), 'fish', 'fish'), count(of('stays'), 'stay', 'stays'), count(of('events'), 'event', 'events')].filter((each) => each !== '');
  return {
    brief: { isDone: isNamed && !isWaterOpen, words: isNamed ? `“${title}”${isWaterOpen ? ', not all of it yet' : ''}` : '' },
    files: { isDone: traces > 0, words: count(traces, 'logger', 'loggers') },
    chambers: { isDone: of('assemblies') > 0 && of('calibrations') > 0, words: [count(of('assemblies'), 'chamber', 'chambers'), count(of('calibrations'), 'calibration', 'calibrations')].filter((each) => each !== '').join(', ') },
    questions: { isDone: questions > 0, words: count(questions, 'question', 'questions') },
    paper: null,
    fish: { isDone: of('fish') > 0 && of('stays') > 0 && of('events') > 0, words: written.join(', ') },
    clocks: { isDone: of('clock_checks') > 0, words: count(of('clock_checks'), 'check', 'checks') },
  };
}
