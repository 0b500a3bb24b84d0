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

/** First line of the section in which `line` stands, and the one behind its last. */
function sectionSpan(lines: string[], line: number): { start: number; end: number } {
  let start = Math.min(line, lines.length - 1);
  while (start > 0 && !header.test(lines[start] ?? '')) --start;
  let end = start + 1;
  while (end < lines.length && !header.test(lines[end] ?? '')) ++end;
  return { start, end };
}

/** The line, from 0, in which the section of `line` says the key, or as a remark would say it; null where it does not. */
export function lineOfKey(text: string, line: number, key: string, isRemark = false): number | null {
  const lines = linesOf(text);
  const { start, end } = sectionSpan(lines, line);
  const is = new RegExp(`^\\s*${isRemark ? '#\\s*' : ''}${key}\\s*=`);
  for (let i = start; i < end; ++i) if (is.test(lines[i] ?? '')) return i;
  return null;
}

/** Where "peak.window_s" stands, or at least its section, lines from 0; null where there is neither. */
export function placeOfKey(text: string, wanted: string): { line: number; isKey: boolean } | null {
  const dot = wanted.lastIndexOf('.');
  const [section, key] = [wanted.slice(0, Math.max(0, dot)), wanted.slice(dot + 1)];
  const line = linesOf(text).findIndex((each) => header.exec(each)?.[1] === section);
  if (line < 0) return null;
  const at = lineOfKey(text, line, key);
  return { line: at ?? line, isKey: at !== null };
}

/** The text with a setting in the section of `line`: in place of the remark that shows it, else behind the section's last line. */
export function withSetting(text: string, line: number, key: string, value: string): { text: string; line: number } {
  const lines = linesOf(text);
  const remark = lineOfKey(text, line, key, true);
  let at = remark ?? sectionSpan(lines, line).end;
  while (remark === null && at > line + 1 && (lines[at - 1] ?? '').trim() === '') --at;
  return { text: [...lines.slice(0, at), `${key} = ${value}`, ...lines.slice(remark === null ? at : at + 1)].join('\n'), line: at };
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
