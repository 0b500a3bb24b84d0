// Whether a question's answer is another one than when it was last looked at, and by how much.
import type { Finding, FoundNumber } from './results';

/** What is remembered of an answer that somebody has seen. */
export interface Seen {
  /** all that decides the answer, but for the data */
  form: string;
  headline: string;
  text: string;
  value: number | null;
  unit: string;
  scale: Finding['scale'];
  p: number | null;
  rows: number;
  fish: number;
  unanswered: string;
}

const formOf = (finding: Finding): string =>
  JSON.stringify([finding.outcome, finding.compare, finding.within, finding.adjusted_for, finding.random, finding.family, finding.levels]);

export function seenOf(finding: Finding): Seen {
  const first: FoundNumber | undefined = finding.effects[0];
  return {
    form: formOf(finding), headline: first?.name ?? '', text: first?.text ?? '', value: first?.value ?? null, unit: first?.unit ?? '',
    scale: finding.scale, p: first?.p ?? null, rows: finding.rows, fish: finding.fish, unanswered: finding.unanswered,
  };
}

export interface MovedAnswer {
  before: string;
  after: string;
  /** "by −2.3 mg/kg/h", "by × 0.94"; empty where there is no such number */
  by: string;
  /** what else is another */
  also: string[];
}

const said = (seen: Seen): string =>
  seen.unanswered !== '' || seen.text === '' ? 'no answer' : `${seen.text}${seen.unit === '' ? '' : ` ${seen.unit}`}`;

function byHowMuch(was: Seen, now: Seen): string {
  if (was.value === null || now.value === null || was.headline !== now.headline || was.scale !== now.scale || was.unanswered !== '' || now.unanswered !== '') return '';
  if (now.scale === 'difference') {
    const step = now.value - was.value;
    return step === 0 ? '' : `by ${step > 0 ? '+' : '−'}${Math.abs(step).toPrecision(2)}${now.unit === '' ? '' : ` ${now.unit}`}`;
  }
  return was.value === 0 || now.value === was.value ? '' : `by × ${(now.value / was.value).toPrecision(3)}`;
}

/** Null where what is told is the same. Further digits are none. */
export function movedAnswer(was: Seen, finding: Finding): MovedAnswer | null {
  const now = seenOf(finding);
  const also: string[] = [];
  if (was.form !== now.form) also.push('the question itself is asked otherwise');
  if (was.fish !== now.fish) also.push(`${was.fish} fish became ${now.fish}`);
  if (was.rows !== now.rows && (finding.row_noun !== 'fish' || was.fish === now.fish)) also.push(`${was.rows} rows became ${now.rows}`);
  if (was.headline !== now.headline && was.form === now.form) also.push('the comparison that is told first is another');
  const [before, after] = [said(was), said(now)];
  if (before === after && also.length === 0) return null;
  return { before, after, by: byHowMuch(was, now), also };
}

/** What a device kept; what it cannot read it forgets. */
export function seenFrom(text: string | null): Record<string, Seen> {
  try {
    const value: unknown = JSON.parse(text ?? '{}');
    if (typeof value !== 'object' || value === null || Array.isArray(value)) return {};
    return Object.fromEntries(
      Object.entries(value as Record<string, unknown>).filter((each): each is [string, Seen] => {
        const seen = each[1] as Partial<Seen> | null;
        return typeof seen === 'object' && seen !== null && typeof seen.form === 'string' && typeof seen.text === 'string' && typeof seen.rows === 'number';
      }),
    );
  } catch {
    return {};
  }
}
