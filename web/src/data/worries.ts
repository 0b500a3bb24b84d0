// Complaints as they are read: file by file, the same thing said of several lines once.
import type { Worry } from '../server/wire';

export interface SaidWorry {
  /** "lines 17, 18 and 19, column “value”" */
  place: string;
  said: string;
  remedy: string;
  isStopping: boolean;
}

export interface WorryFile {
  file: string;
  said: SaidWorry[];
}

/** "17, 18 and 19" */
export const listText = (parts: (string | number)[]): string =>
  parts.length < 2 ? String(parts[0] ?? '') : `${parts.slice(0, -1).join(', ')} and ${parts.at(-1) ?? ''}`;

/** The sentence without the place before it and the remedy after it. */
export function bareText({ file, text, remedy }: Worry): string {
  const colon = text.indexOf(': ');
  const rest = file !== '' && text.startsWith(file) && colon > 0 ? text.slice(colon + 2) : text;
  return remedy !== '' && rest.endsWith(`; ${remedy}`) ? rest.slice(0, -remedy.length - 2) : rest;
}

function placeText(of: Worry[]): string {
  const lines = of.flatMap((each) => (each.line === null ? [] : [each.line]));
  const column = of[0]?.column ?? null;
  const at = [lines.length === 0 ? '' : `${lines.length === 1 ? 'line' : 'lines'} ${listText(lines)}`, column ? `column “${column}”` : ''];
  return at.filter((part) => part !== '').join(', ') || 'as a whole';
}

export function worryFiles(worries: Worry[]): WorryFile[] {
  const files = [...new Set(worries.map((each) => each.file))];
  return files.map((file) => {
    const same = new Map<string, Worry[]>();
    for (const each of worries) {
      if (each.file !== file) continue;
      const key = [each.severity, each.column, bareText(each), each.remedy].join('\n');
      same.set(key, [...(same.get(key) ?? []), each]);
    }
    const said = [...same.values()].flatMap((of) => {
      const first = of[0];
      return first ? [{ place: placeText(of), said: bareText(first), remedy: first.remedy, isStopping: first.severity === 'stops' }] : [];
    });
    return { file, said };
  });
}
