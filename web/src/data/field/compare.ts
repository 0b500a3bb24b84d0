// One sheet typed twice: which lines belong together, where they differ, and what holds when each difference is settled.
import { numberRead, plainName } from '../cells';
import { eventRead } from './event_words';
import { timeOfDayRead, timeText, dayRead, dayText } from './times';
import { isEmptyRow, type CellKind, type Cells, type TypedColumn, type Typing } from './typing';

/** What a text means, so that "612" and "06:12", "0,8" and "0.8" are the same. */
export function meaning(text: string, kind: CellKind, events: readonly string[]): string {
  const bare = text.trim().replaceAll(/\s+/g, ' ');
  if (bare === '') return '';
  switch (kind) {
    case 'time': {
      const { value } = timeOfDayRead(bare);
      return value ? timeText(value) : bare;
    }
    case 'date': {
      const { value } = dayRead(bare);
      return value ? dayText(value) : bare;
    }
    case 'event':
      return eventRead(bare, events).event ?? bare;
    case 'number':
    case 'limit':
    case 'value': {
      const [, sign, digits, unit] = /^([<>]?)\s*([+-]?[\d.,]+)\s*(.*)$/.exec(bare) ?? [];
      const read = digits === undefined ? null : numberRead(digits, '.').text;
      return read === null || read === undefined ? bare : `${sign ?? ''}${Number(read)}${unit ? ` ${unit}` : ''}`;
    }
    case 'word':
    case 'yes_no':
      return plainName(bare);
    default:
      return bare;
  }
}

export interface Pair {
  first: Cells | null;
  second: Cells | null;
}

/** of a line that only one typed; two lines are paired where less than this share of them differs on both sides */
const alone = 0.55;

/** Lines in their order, those that belong together beside each other (edit distance). */
export function pairRows(first: Cells[], second: Cells[], columns: TypedColumn[], events: readonly string[]): Pair[] {
  const meanings = (rows: Cells[]) => rows.filter((row) => !isEmptyRow(row)).map((row) => ({ row, of: columns.map(({ name, kind }) => meaning(row[name] ?? '', kind, events)) }));
  const [a, b] = [meanings(first), meanings(second)];
  const differing = (i: number, j: number): number => {
    const used = columns.filter((_, k) => a[i]?.of[k] !== '' || b[j]?.of[k] !== '').length;
    return used === 0 ? 0 : columns.filter((_, k) => a[i]?.of[k] !== b[j]?.of[k]).length / used;
  };
  // cost[i][j]: of the lines from i and j on
  const cost = Array.from({ length: a.length + 1 }, () => Array<number>(b.length + 1).fill(0));
  const at = (i: number, j: number) => cost[i]?.[j] ?? 0;
  for (let i = a.length; i >= 0; --i) {
    for (let j = b.length; j >= 0; --j) {
      if (i === a.length || j === b.length) (cost[i] as number[])[j] = alone * (a.length - i + b.length - j);
      else (cost[i] as number[])[j] = Math.min(differing(i, j) + at(i + 1, j + 1), alone + at(i + 1, j), alone + at(i, j + 1));
    }
  }
  const pairs: Pair[] = [];
  for (let [i, j] = [0, 0]; i < a.length || j < b.length; ) {
    const isBoth = i < a.length && j < b.length && at(i, j) === differing(i, j) + at(i + 1, j + 1);
    if (isBoth) pairs.push({ first: a[i++]?.row ?? null, second: b[j++]?.row ?? null });
    else if (i < a.length && at(i, j) === alone + at(i + 1, j)) pairs.push({ first: a[i++]?.row ?? null, second: null });
    else pairs.push({ first: null, second: b[j++]?.row ?? null });
  }
  return pairs;
}

export interface Difference {
  /** the same for the same two texts at the same place: what was settled holds until one of them is changed */
  key: string;
  /** of the pairs; -1: the head */
  row: number;
  /** null: the whole line */
  column: TypedColumn | null;
  first: string;
  second: string;
}

export interface Compared {
  pairs: Pair[];
  differences: Difference[];
}

const lineText = (row: Cells | null, columns: TypedColumn[]): string => (row === null ? '' : columns.map(({ name }) => (row[name] ?? '').trim()).filter(Boolean).join(', '));

export function compare(first: Typing, second: Typing, head: TypedColumn[], columns: TypedColumn[], events: readonly string[]): Compared {
  const pairs = pairRows(first.rows, second.rows, columns, events);
  const cells = (row: number, of: TypedColumn[], a: Cells, b: Cells): Difference[] =>
    of.flatMap((column) => {
      const [was, is] = [(a[column.name] ?? '').trim(), (b[column.name] ?? '').trim()];
      return meaning(was, column.kind, events) === meaning(is, column.kind, events) ? [] : [{ key: JSON.stringify([row, column.name, was, is]), row, column, first: was, second: is }];
    });
  const differences = pairs.flatMap(({ first: a, second: b }, row): Difference[] => {
    if (a && b) return cells(row, columns, a, b);
    const [was, is] = [lineText(a, columns), lineText(b, columns)];
    return [{ key: JSON.stringify([row, '', was, is]), row, column: null, first: was, second: is }];
  });
  return { pairs, differences: [...cells(-1, head, first.head, second.head), ...differences] };
}

/** The sheet as it was settled; null while a difference is open. Of a whole line the text kept is its own or none. */
export function settled(first: Typing, second: Typing, { pairs, differences }: Compared, choices: Cells): Pick<Typing, 'head' | 'rows'> | null {
  if (differences.some(({ key }) => choices[key] === undefined)) return null;
  const change = (row: number, cells: Cells): Cells => {
    const out = { ...cells };
    for (const each of differences) if (each.row === row && each.column) out[each.column.name] = choices[each.key] ?? '';
    return out;
  };
  const rows = pairs.flatMap(({ first: a, second: b }, row) => {
    if (a && b) return [change(row, a)];
    const line = differences.find((each) => each.row === row && each.column === null);
    return line && choices[line.key] !== '' ? [a ?? b ?? {}] : [];
  });
  return { head: change(-1, { ...second.head, ...first.head }), rows };
}
