// How Deck says things: short, in the trade's words.
import { knownZone } from '../data/clock';

export const spoken = (word: string): string => word.replaceAll('_', ' ');

const eventWords: Record<string, string> = {
  lines_in: 'line in', lines_out: 'line out', hook_up: 'hook-up', transfer: 'taken out', blood: 'blood drawn', air_start: 'air begins', air_end: 'air ends',
  chase_start: 'chase begins', chase_end: 'chase ends', righting_lost: 'righting reflex lost', sealed: 'sealed in chamber', released: 'let go', held: 'kept in holding',
};
export const eventWord = (word: string): string => eventWords[word] ?? spoken(word);

const timeFormats = new Map<string, Intl.DateTimeFormat>();

/** "06:10:12" at the study's place */
export function clockText(ms: number, zone: string): string {
  const timeZone = knownZone(zone);
  const format = timeFormats.get(zone) ?? new Intl.DateTimeFormat('en-GB', { hour: '2-digit', minute: '2-digit', second: '2-digit', ...(timeZone ? { timeZone } : {}) });
  timeFormats.set(zone, format);
  return format.format(ms);
}

/** "0:07", "12:30", "1:02:30" */
export function watchText(ms: number): string {
  const s = Math.max(0, Math.floor(ms / 1000));
  const two = (n: number) => String(n).padStart(2, '0');
  const h = Math.floor(s / 3600);
  const minutes = Math.floor(s / 60) % 60;
  return h > 0 ? `${h}:${two(minutes)}:${two(s % 60)}` : `${minutes}:${two(s % 60)}`;
}

/** "3 min ago", "40 s ago", "2 h 5 min ago" */
export function agoText(ms: number): string {
  const s = Math.max(0, Math.round(ms / 1000));
  if (s < 90) return `${s} s ago`;
  const minutes = Math.round(s / 60);
  return minutes < 90 ? `${minutes} min ago` : `${Math.floor(minutes / 60)} h ${minutes % 60} min ago`;
}

/** The last moment before `now` at which a clock at the study's place showed "06:10" or "06:10:12"; null for no time. */
export function lastTime(typed: string, now: number, zone: string): number | null {
  const match = /^(\d{1,2})[:.](\d{2})(?:[:.](\d{2}))?$/.exec(typed.trim());
  if (!match) return null;
  const [h, m, s] = [Number(match[1]), Number(match[2]), Number(match[3] ?? 0)];
  if (h > 23 || m > 59 || s > 59) return null;
  const shown = clockText(now, zone).split(':').map(Number) as [number, number, number];
  const back = (shown[0] - h) * 3600 + (shown[1] - m) * 60 + (shown[2] - s);
  const second = Math.floor(now / 1000) * 1000;
  return second - (back < 0 ? back + 24 * 3600 : back) * 1000;
}
