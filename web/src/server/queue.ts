// Queue files: what a phone could not send, brought by hand.
import type { QueueLook, QueueTaken } from './api';
import { sendFile } from './request';

export const mostQueueBytes = 256 * 2 ** 20;

function having<T>(value: unknown, names: (keyof T & string)[], what: string): T {
  const from = value as Record<string, unknown> | null;
  if (typeof from !== 'object' || from === null) throw new Error(`${what} is no object`);
  for (const name of names) if (from[name] === undefined) throw new Error(`${what}: no "${name}"`);
  return value as T;
}

const lookOf = (value: unknown): QueueLook => having<QueueLook>(value, ['entries', 'added', 'authors', 'is_of_this_study'], 'what the file holds');
const takenOf = (value: unknown): QueueTaken => having<QueueTaken>(value, ['added', 'set_aside', 'complaints', 'photos_refused'], 'what was taken in');

export const lookAtQueue = (file: Blob, token: string): Promise<QueueLook> => sendFile('/api/entries/queue/look', file, token, lookOf);
export const takeInQueue = (file: Blob, isOfAnother: boolean, token: string): Promise<QueueTaken> =>
  sendFile(`/api/entries/queue${isOfAnother ? '?of_another_study=yes' : ''}`, file, token, takenOf);
