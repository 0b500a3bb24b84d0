// How field sheets lie on paper: which pages, how many rows fit, what stands in the foot.
import { deckFirst, electricity, nightWork, noLifeSupport, permitDecides, sharps, wetHands } from './cautions';
import type { FieldSettings } from './settings';

export type PaperSize = 'A4' | 'Letter';
export type SheetKind = 'deck' | 'fish' | 'night';

/** Lying, less 10 mm all round: mm. */
export const paperArea: Record<PaperSize, { width: number; height: number }> = {
  A4: { width: 277, height: 190 },
  Letter: { width: 259, height: 195 },
};

export const paperSizes: PaperSize[] = ['A4', 'Letter'];

/** Of the head, and of the foot where the permit's rule is short: mm. */
const headHeight = 21;
const footHeight = 17;
/** of a row that a cold hand writes into, where the lists above it are not long: mm */
export const rowHeight = 10;

/** What stands above the rows, in mm. */
const aboveRows: Record<'deck' | 'night', number> = { deck: 22, night: 23 };

export interface FieldPage {
  kind: SheetKind;
  title: string;
  /** of its kind, from 1 */
  sheet: number;
  /** of all, from 1 */
  page: number;
  pages: number;
  rows: number;
  cautions: string[];
}

export interface PagesWish {
  size: PaperSize;
  sheets: Record<SheetKind, number>;
}

/** Most sheets of a kind that are made at once. */
export const mostSheets = 60;

export const sheetTitles: Record<SheetKind, string> = { deck: 'Deck sheet', fish: 'Fish sheet', night: 'Night sheet' };

const cautionsOf: Record<SheetKind, string[]> = {
  deck: [deckFirst, sharps, permitDecides],
  fish: [permitDecides, wetHands, sharps],
  night: [noLifeSupport, electricity, nightWork],
};

/** Rows that fit between head and foot. */
export function rowsThatFit(kind: 'deck' | 'night', size: PaperSize): number {
  return Math.floor((paperArea[size].height - headHeight - footHeight - aboveRows[kind]) / rowHeight);
}

export function fieldPages({ size, sheets }: PagesWish): FieldPage[] {
  const kinds: SheetKind[] = ['deck', 'fish', 'night'];
  const all = kinds.flatMap((kind) =>
    Array.from({ length: Math.max(0, Math.min(mostSheets, Math.floor(sheets[kind]) || 0)) }, (_, i) => ({ kind, sheet: i + 1 })));
  return all.map(({ kind, sheet }, i) => ({
    kind, sheet, title: sheetTitles[kind], page: i + 1, pages: all.length,
    rows: kind === 'fish' ? 0 : rowsThatFit(kind, size), cautions: cautionsOf[kind],
  }));
}

const ended = (text: string): string => (/[.!?]$/.test(text.trim()) ? text.trim() : `${text.trim()}.`);

/** "Permit AC-17: at most 40 fish, 1 chase a fish, 60 s in air. At a death: stop. Watched by …" */
export function permitLine({ permit, blood }: FieldSettings): string {
  const limits = [
    permit.fish === null ? '' : `at most ${permit.fish} fish`,
    permit.chases_per_fish === null ? '' : `${permit.chases_per_fish} ${permit.chases_per_fish === 1 ? 'chase' : 'chases'} a fish`,
    permit.air_s === null ? '' : `${permit.air_s} s in air`,
    blood.ceiling_ml_per_kg === null ? '' : `${blood.ceiling_ml_per_kg} mL of blood per kg${blood.ceiling_within_h === null ? '' : ` in ${blood.ceiling_within_h} h`}`,
  ].filter((each) => each !== '');
  const head = permit.number === '' ? 'Permit: no number in the brief' : `Permit ${permit.number}`;
  const death = permit.at_death === '' ? '' : ` At a death: ${ended(permit.at_death)}`;
  return `${head}${limits.length > 0 ? `: ${limits.join(', ')}` : ''}.${death}${permit.watched_by === '' ? '' : ` Watched by ${ended(permit.watched_by)}`}`;
}
