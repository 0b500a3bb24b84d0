// The results document as the figures want it: lists of points, hours instead of instants, nulls dropped.
import type { Fish, Mark, Quantity, Results, Spells, Stay } from './results';

export const schemaVersion = '1.7';

/** The document embedded in the page; throws in words when it is not one of ours or of another version. */
export function parseResults(text: string): Results {
  const document: unknown = JSON.parse(text);
  const head = document as Partial<Results> | null;
  if (head === null || typeof head !== 'object' || head.schema !== 'backeddy results') {
    throw new Error('this is no results document');
  }
  if (String(head.schema_version).split('.')[0] !== schemaVersion.split('.')[0]) {
    throw new Error(`results document ${String(head.schema_version)}; these pages read ${schemaVersion}`);
  }
  return document as Results;
}

/** What stands at a JSON pointer (RFC 6901), or undefined. */
export function at(document: unknown, pointer: string): unknown {
  let here: unknown = document;
  for (const part of pointer.split('/').slice(1)) {
    const key = part.replaceAll('~1', '/').replaceAll('~0', '~');
    if (here === null || typeof here !== 'object') return undefined;
    here = (here as Record<string, unknown>)[key];
  }
  return here;
}

export function isQuantity(value: unknown): value is Quantity {
  return typeof value === 'object' && value !== null && 'value' in value && 'unit' in value && 'text' in value;
}

export const seconds = (iso: string): number => Date.parse(iso) / 1000;
export const hoursBetween = (from: string, to: string): number => (seconds(to) - seconds(from)) / 3600;

/** A unit as people read it. */
export const shownUnit = (unit: string): string => unit.replaceAll('degC', '°C');

/** "412 ± 18 mg/kg/h" */
export const quantityText = (q: Quantity): string =>
  q.value === null || q.unit === '' ? q.text : `${q.text} ${shownUnit(q.unit)}`;

export interface SpellPoint {
  stay: Stay;
  number: number;
  /** of its middle, since `zero` */
  hours: number;
  uptake: number;
  uncertainty: number;
  mark: Mark;
  reasons: string;
  usedFor: string;
}

/** A point per sealed spell, per kilogram or whole animal as the fish is drawn; spells without a value are left out. */
export function spellPoints(stay: Stay, zero: string, unit: string): SpellPoint[] {
  const t: Spells = stay.spells;
  const perKilogram = unit === 'mg/kg/h';
  const values = perKilogram ? t.uptake_mg_per_kg_h : t.uptake_mg_per_h;
  const errors = perKilogram ? t.uptake_uncertainty_mg_per_kg_h : t.uptake_uncertainty_mg_per_h;
  const start = seconds(zero);
  return t.number.flatMap((number, i) => {
    const uptake = values[i];
    const from = t.from[i];
    const to = t.to[i];
    if (uptake === null || uptake === undefined || from === undefined || to === undefined) return [];
    return [
      {
        stay,
        number,
        hours: ((seconds(from) + seconds(to)) / 2 - start) / 3600,
        uptake,
        uncertainty: errors[i] ?? 0,
        mark: t.mark[i] ?? 'good',
        reasons: (t.reasons[i] ?? []).map((r) => r.text).join('; '),
        usedFor: t.used_for[i] ?? '',
      },
    ];
  });
}

export interface CurvePoint {
  /** since `zero` */
  hours: number;
  uptake: number;
  low: number;
  high: number;
}

/** The unbroken pieces of a stay's curve in time. */
export function curveOf(stay: Stay, zero: string): CurvePoint[][] {
  const curve = stay.continuous;
  if (!curve) return [];
  const shift = (seconds(curve.from) - seconds(zero)) / 3600;
  const pieces: CurvePoint[][] = [[]];
  curve.uptake.x.forEach((x, i) => {
    const uptake = curve.uptake.y[i];
    if (x === null || uptake === null || uptake === undefined) pieces.push([]);
    else {
      pieces.at(-1)?.push({ hours: x + shift, uptake, low: curve.uptake.low[i] ?? uptake, high: curve.uptake.high[i] ?? uptake });
    }
  });
  return pieces.filter((piece) => piece.length > 1);
}

/** Where a fish's hours count from: its own time zero, else its first stay's start. */
export function zeroOf(fish: Fish): string | null {
  return fish.time_zero ?? fish.stays.find((stay) => stay.from !== null)?.from ?? null;
}

/** The group's place in the study's list (its colour and shape everywhere), or -1. */
export const groupPlace = (results: Results, key: string): number =>
  results.groups.findIndex((group) => group.key === key);

/** "hook_up" as people say it. */
export const spoken = (word: string): string => word.replaceAll('_', ' ');

/** Shares of the variance by kind of source ("slope:s01a 7" and "slopes (of F01)" are cut at the colon or bracket), the largest first. */
export function sharesByKind(q: Quantity): { kind: string; share: number; effect: number; count: number }[] {
  const kinds = new Map<string, { kind: string; share: number; squares: number; count: number }>();
  for (const each of q.contributions ?? []) {
    const kind = each.source.split(/:| \(/)[0] ?? each.source;
    const sum = kinds.get(kind) ?? { kind, share: 0, squares: 0, count: 0 };
    sum.share += each.share;
    sum.squares += each.effect * each.effect;
    sum.count += 1;
    kinds.set(kind, sum);
  }
  return [...kinds.values()]
    .map(({ kind, share, squares, count }) => ({ kind, share, count, effect: Math.sqrt(squares) }))
    .sort((a, b) => b.share - a.share);
}

/** A text begun with a capital. */
export const upper = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1);

/** A sentence from the document: capital, full stop, units as people read them. */
export function sentence(text: string): string {
  const said = upper(shownUnit(text.trim()));
  return said === '' || /[.!?:]$/.test(said) ? said : `${said}.`;
}
