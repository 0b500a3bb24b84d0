// What the program did not take, said once for all entries of one person and one reason.
import { idOf, momentOf, type Entry } from './entry';
import type { Kept } from './shelf';

export interface RefusedGroup {
  author: string;
  why: string;
  whatToDo: string;
  count: number;
  /** of the first and the last, ms since 1970 */
  from: number;
  to: number;
}

export function refusedGroups({ refused, device }: Pick<Kept, 'refused' | 'device'>, entries: readonly Entry[]): RefusedGroup[] {
  if (refused.length === 0) return [];
  const known = new Map(entries.map((entry) => [idOf(entry), entry]));
  const groups = new Map<string, RefusedGroup>();
  for (const { sequence, why, whatToDo } of refused) {
    const entry = known.get(`${device}:${sequence}`);
    if (!entry) continue;
    const at = momentOf(entry);
    const key = JSON.stringify([entry.author, why]);
    const group = groups.get(key) ?? { author: entry.author, why, whatToDo, count: 0, from: at, to: at };
    groups.set(key, { ...group, count: group.count + 1, from: Math.min(group.from, at), to: Math.max(group.to, at) });
  }
  return [...groups.values()];
}

/** Who has logged as crew in this study: who a shared phone may be handed to. */
export const crewOf = (entries: readonly Entry[]): string[] => [...new Set(entries.filter(({ role }) => role === 'crew').map(({ author }) => author))].sort();
