// Photos of a fish, as events.csv and the journal name them: by the SHA-256 of their bytes.
import type { Grid } from '../server/api';

export interface FishPhoto {
  sha256: string;
  /** what was noted with it; else the event's word */
  what: string;
  /** as the table has it */
  at: string;
  who: string;
}

export function photosOf(events: Pick<Grid, 'columns' | 'rows'>, fish: string): FishPhoto[] {
  const place = (column: string) => events.columns.indexOf(column);
  const [photo, whose, note, event, at, who] = [place('photo'), place('fish'), place('note'), place('event'), place('at'), place('who')];
  if (photo < 0 || whose < 0) return [];
  return events.rows.filter(({ cells }) => cells[whose] === fish).flatMap(({ cells }) =>
    (cells[photo] ?? '').split(/\s+/).filter((sha256) => /^[0-9a-f]{64}$/.test(sha256)).map((sha256) => ({
      sha256, what: cells[note] || (cells[event] ?? '').replaceAll('_', ' '), at: cells[at] ?? '', who: cells[who] ?? '',
    })));
}
