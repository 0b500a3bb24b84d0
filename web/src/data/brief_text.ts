// The brief as text: its sections and lines, what differs between two versions, earlier versions from the journal.
import type { Entry } from '../server/api';

export const linesOf = (text: string): string[] => text.split('\n');

const header = /^\s*\[{1,2}\s*([^\]]+?)\s*\]{1,2}\s*(#.*)?$/;

/** The section in which a line (from 0) stands: "peak", "trace.column"; empty before the first. */
export function sectionAt(text: string, line: number): string {
  const lines = linesOf(text);
  for (let i = Math.min(line, lines.length - 1); i >= 0; --i) {
    const found = header.exec(lines[i] ?? '');
    if (found) return found[1] ?? '';
  }
  return '';
}

/** The line, from 0, in which the place stands. */
export const lineAt = (text: string, place: number): number => linesOf(text.slice(0, place)).length - 1;

/** Where a line (from 0) begins and ends. */
export function spanOf(text: string, line: number): { from: number; to: number } {
  const lines = linesOf(text);
  const from = lines.slice(0, line).reduce((sum, each) => sum + each.length + 1, 0);
  return { from, to: from + (lines[line]?.length ?? 0) };
}

/** The text with a setting behind the last line of the section in which `line` stands; `line` of the new one with it. */
export function withSetting(text: string, line: number, key: string, value: string): { text: string; line: number } {
  const lines = linesOf(text);
  let end = line + 1;
  while (end < lines.length && !header.test(lines[end] ?? '')) ++end;
  while (end > line + 1 && (lines[end - 1] ?? '').trim() === '') --end;
  return { text: [...lines.slice(0, end), `${key} = ${value}`, ...lines.slice(end)].join('\n'), line: end };
}

/** Whether the section in which `line` stands says the key already; the line in which it does, from 0, or null. */
export function lineOfKey(text: string, line: number, key: string): number | null {
  const lines = linesOf(text);
  let start = Math.min(line, lines.length - 1);
  while (start > 0 && !header.test(lines[start] ?? '')) --start;
  for (let i = start; i < lines.length && (i === start || !header.test(lines[i] ?? '')); ++i) if (new RegExp(`^\\s*${key}\\s*=`).test(lines[i] ?? '')) return i;
  return null;
}

/** Lines of each text, from 0, that the other does not have, in their order (longest common subsequence). */
export function differing(a: string, b: string): { a: number[]; b: number[] } {
  const [x, y] = [linesOf(a), linesOf(b)];
  let from = 0;
  while (from < x.length && from < y.length && x[from] === y[from]) ++from;
  let [endX, endY] = [x.length, y.length];
  while (endX > from && endY > from && x[endX - 1] === y[endY - 1]) {
    --endX;
    --endY;
  }
  const wide = endY - from + 1;
  const longest = new Uint32Array((endX - from + 1) * wide);
  const at = (i: number, j: number): number => longest[(i - from) * wide + (j - from)] ?? 0;
  for (let i = endX - 1; i >= from; --i) {
    for (let j = endY - 1; j >= from; --j) longest[(i - from) * wide + (j - from)] = x[i] === y[j] ? at(i + 1, j + 1) + 1 : Math.max(at(i + 1, j), at(i, j + 1));
  }
  const out = { a: [] as number[], b: [] as number[] };
  let [i, j] = [from, from];
  while (i < endX || j < endY) {
    if (i < endX && j < endY && x[i] === y[j]) {
      ++i;
      ++j;
    } else if (j >= endY || (i < endX && at(i + 1, j) >= at(i, j + 1))) out.a.push(i++);
    else out.b.push(j++);
  }
  return out;
}

export interface BriefVersion {
  /** of the entry that replaced it */
  id: string;
  /** until when it stood */
  until: string;
  /** who replaced it */
  by: string;
  text: string;
}

/** What saved briefs replaced, the youngest first. */
export function versionsOf(entries: Entry[]): BriefVersion[] {
  return entries.flatMap((entry): BriefVersion[] => {
    const content = entry.content as { file?: unknown; was?: { text?: unknown } } | null;
    const text = content?.was?.text;
    if (entry.act !== 'record' || content?.file !== 'study.toml' || typeof text !== 'string') return [];
    return [{ id: entry.id, until: entry.at, by: entry.author, text }];
  }).reverse();
}
