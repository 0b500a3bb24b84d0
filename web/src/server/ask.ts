// Questions that are tried before they are kept, and the brief with one more.
import type { Finding } from '../data/results';
import type { Askable, BriefQuestionWish, Complaint, QuestionKeys, TryProgress } from './api';
import { askFor, send, sendFor, type Asking } from './request';
import { askBrief, having, saveBrief } from './setup';

export interface Tried {
  complaints: Complaint[];
  /** as study.toml would hold it */
  text: string;
  finding: Finding | null;
}

const triedOf = (value: unknown): Tried => having<Tried>(value, ['complaints', 'text', 'finding'], 'the answer');
const progressOf = (value: unknown): TryProgress | null => (value === null ? null : having<TryProgress>(value, ['done', 'total'], 'how far it is'));

/** Tells this page's questions from those of another page of the same person. */
export const pageWord = [...crypto.getRandomValues(new Uint8Array(8))].map((byte) => byte.toString(16).padStart(2, '0')).join('');

export const askAskable = (asking?: Asking): Promise<Askable> =>
  askFor('/api/questions/columns', (value) => having<Askable>(value, ['kinds', 'columns', 'questions'], 'what can be asked'), asking);
export const tryQuestion = (keys: QuestionKeys, instead: string, token: string, asking?: Asking): Promise<Tried> =>
  sendFor('POST', `/api/findings/try?page=${pageWord}&instead=${encodeURIComponent(instead)}`, keys, token, triedOf, asking);
export const askProgress = (asking?: Asking): Promise<TryProgress | null> => askFor(`/api/findings/try?page=${pageWord}`, progressOf, asking);
/** Whoever leaves does not wait for the answer. */
export const stopTrying = (token: string): void => {
  send('DELETE', `/api/findings/try?page=${pageWord}`, {}, token, { keepalive: true }).catch(() => undefined);
};

const briefWith = (wish: BriefQuestionWish, token: string): Promise<string> =>
  sendFor('POST', '/api/brief/question', wish, token, (value) => having<{ text: string }>(value, ['text'], 'the text').text);

/** The brief before and after, so that it can be put back as long as nobody has saved another. */
export interface Kept {
  before: string;
  sha256: string;
}

/** Changes the brief as it stands. `wish` without the text. */
export async function keepQuestion(wish: Omit<BriefQuestionWish, 'brief'>, token: string): Promise<Kept> {
  const standing = await askBrief();
  const text = await briefWith({ ...wish, brief: standing.text }, token);
  const saved = await saveBrief(text, standing.sha256, token);
  return { before: standing.text, sha256: saved.sha256 };
}

/** The brief as it was before; refused where another one has been saved since. */
export const putBack = async (kept: Kept, token: string): Promise<void> => {
  await saveBrief(kept.before, kept.sha256, token);
};
