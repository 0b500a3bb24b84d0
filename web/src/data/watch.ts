// The watch over live chambers in words, marks and order. Plain functions: what is old, what is worst, what sounds.
import type { WatchAlarm, WatchChamber, WatchCourse, WatchNow, WatchSpell } from '../server/api';

export type Priority = WatchAlarm['priority'];

/** From the worst down. */
export const priorities: readonly Priority[] = ['fish_at_risk', 'high', 'medium', 'low'];

export const priorityWords: Record<Priority, string> = { fish_at_risk: 'Fish at risk', high: 'High', medium: 'Medium', low: 'Low' };

/** A shape of its own for each, so that nothing hangs on colour. */
export const priorityShapes: Record<Priority, string> = { fish_at_risk: '▲', high: '◆', medium: '■', low: '●' };

/** 0 is the worst; 4 stands for none. */
export const rankOf = (priority: Priority | null): number => (priority === null ? priorities.length : priorities.indexOf(priority));

/** Put away for a time, or said of a use in which it means nothing. */
const isAside = (alarm: WatchAlarm): boolean => alarm.state === 'shelved' || alarm.state === 'suppressed';

/** The worst alarm that stands at the chamber; null for none. */
export function worstOf(chamber: string | null, alarms: WatchAlarm[]): Priority | null {
  const own = alarms.filter((each) => each.chamber === chamber && !isAside(each)).map((each) => rankOf(each.priority));
  return priorities[Math.min(priorities.length, ...own)] ?? null;
}

/** The worst whose sign stands now: what is over and was not acknowledged asks for somebody, and says nothing of the fish. */
export const worstNow = (chamber: string | null, alarms: WatchAlarm[]): Priority | null => worstOf(chamber, alarms.filter((each) => each.is_active));

/** In most need first; else as the study has them, so that a row moves only when its worst alarm does. */
export function inOrder(now: WatchNow): WatchChamber[] {
  const need = new Map(now.chambers.map((each) => [each.name, rankOf(worstOf(each.name, now.alarms))]));
  return [...now.chambers].sort((a, b) => (need.get(a.name) ?? 0) - (need.get(b.name) ?? 0));
}

/** Those that ask for somebody first, each kind by how long it stands: the first is where to look. */
export function alarmsInOrder(alarms: WatchAlarm[]): WatchAlarm[] {
  const stage = (each: WatchAlarm) => (isAside(each) ? 2 : each.state === 'acknowledged' ? 1 : 0);
  return [...alarms].sort((a, b) => stage(a) - stage(b) || rankOf(a.priority) - rankOf(b.priority) || Number(b.first_out) - Number(a.first_out) || b.since_s - a.since_s);
}

export const alarmKey = (alarm: WatchAlarm): string => `${alarm.chamber ?? ''}/${alarm.cause}`;

/** One word for how a chamber is. */
export function healthWord(chamber: WatchChamber, alarms: WatchAlarm[], isOld: boolean): string {
  if (isOld) return 'unknown';
  switch (worstNow(chamber.name, alarms)) {
    case 'fish_at_risk':
      return 'danger';
    case 'high':
      return 'trouble';
    case 'medium':
      return 'look';
    case 'low':
      return 'note';
    case null:
      if (chamber.use === 'fish') return chamber.oxygen_percent === null ? 'unsure' : 'well';
      return chamber.use === 'water' ? 'water' : chamber.use;
  }
}

/** What the page sounds for: the worst of those that sound, and a watch of which nothing is heard; null for silence. */
export function soundsOf(now: WatchNow | null, standing: Standing): Priority | null {
  if (now === null) return null;
  if (standing === 'old' || standing === 'gone') return 'high';
  const ranks = now.alarms.filter((each) => each.sounds).map((each) => rankOf(each.priority));
  return priorities[Math.min(priorities.length, ...ranks)] ?? null;
}

// ---- how long

/** "40 s", "12 min", "1 h 05 min", "2 d 3 h"; never below 0 */
export function spanText(s: number): string {
  const whole = Math.max(0, Math.round(s));
  if (whole < 100) return `${whole} s`;
  const minutes = Math.round(whole / 60);
  if (minutes < 100) return `${minutes} min`;
  if (minutes < 48 * 60) return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, '0')} min`;
  const hours = Math.round(minutes / 60);
  return `${Math.floor(hours / 24)} d ${hours % 24} h`;
}

/** What comes after this phase, and when. */
export function changeText(chamber: WatchChamber): string {
  const next = chamber.phase === 'sealed' ? 'flush' : 'sealing';
  if (chamber.next_change_s === null) return chamber.use === 'fish' || chamber.use === 'water' ? `no ${next} planned` : '';
  return chamber.next_change_s < 1 ? `${next} now` : `${next} in ${spanText(chamber.next_change_s)}`;
}

export const dueNames: Record<'seal' | 'blood' | 'other', string> = { seal: 'Seal', blood: 'Blood', other: 'Step' };

/** "Blood in 12 min", "Blood due now", "Blood overdue by 3 min"; `now` in ms since 1970 */
export function dueText(due: { what: 'seal' | 'blood' | 'other'; at: string }, now: number): string {
  const s = (Date.parse(due.at) - now) / 1000;
  if (Math.abs(s) < 1) return `${dueNames[due.what]} due now`;
  return s > 0 ? `${dueNames[due.what]} in ${spanText(s)}` : `${dueNames[due.what]} overdue by ${spanText(-s)}`;
}

export const useWords: Record<WatchChamber['use'], string> = { empty: 'empty', fish: 'fish', water: 'water alone', cleaning: 'cleaning' };

/** "after capture" */
export const roleText = (role: string): string => role.replaceAll('_', ' ');

/** As stays.csv has them; the first is what a boat needs most. */
export const roles = ['after_capture', 'rest', 'after_chase', 'handled_only', 'control', 'held', 'blank', 'leak_test'] as const;

export const hasNoFish = (role: string): boolean => role === 'blank' || role === 'leak_test';

// ---- numbers

/** "412 ± 18": 95 %, rounded to two figures of what it may be off by; `error` is one standard error. */
export function uptakeText(value: number, error: number): string {
  const off = 1.96 * Math.abs(error);
  const digits = off > 0 && Number.isFinite(off) ? Math.min(3, Math.max(0, 1 - Math.floor(Math.log10(off)))) : 1;
  const minus = (text: string) => text.replace('-', '−');
  return `${minus(value.toFixed(digits))} ± ${off.toFixed(digits)}`;
}

/** The level's scale, % of air saturation: what matters lies between. */
export const levelFrom = 50;
export const levelTo = 110;

/** Share of the level's scale, held at its ends. */
export const levelShare = (percent: number): number => Math.min(1, Math.max(0, (percent - levelFrom) / (levelTo - levelFrom)));

/** Whole percent, rounded down: a level never reads higher than it is. */
export const percentText = (percent: number | null): string => (percent === null ? '–' : String(Math.floor(percent + 1e-9)));

export interface SpellPoint {
  /** 0..1 of the width */
  x: number;
  /** 0..1 of the height, upward */
  y: number;
  low: number;
  high: number;
}

/** The stay's spells in the unit square, from 0 mg/h to the most; none where there are none. */
export function spellLine(spells: WatchSpell[]): SpellPoint[] {
  if (spells.length === 0) return [];
  const times = spells.map((each) => Date.parse(each.from));
  const from = Math.min(...times);
  const span = Math.max(1, Math.max(...times) - from);
  const most = Math.max(1e-9, ...spells.map((each) => each.mg_per_h + 1.96 * each.error_mg_per_h));
  const share = (value: number) => Math.min(1, Math.max(0, value / most));
  return spells.map((each, i) => ({
    x: spells.length === 1 ? 0.5 : ((times[i] ?? from) - from) / span,
    y: share(each.mg_per_h), low: share(each.mg_per_h - 1.96 * each.error_mg_per_h), high: share(each.mg_per_h + 1.96 * each.error_mg_per_h),
  }));
}

// ---- what is old

export type Standing = 'asking' | 'none' | 'live' | 'old' | 'gone';

/** ms without news after which what stands there is old */
export const oldAfter = 6000;

/** `heardAt`: when its last news came to this device, ms; both clocks are this device's. */
export function standingOf(now: WatchNow | null, heardAt: number, isGone: boolean, isAsked: boolean, deviceNow: number): Standing {
  if (now === null) return isAsked ? 'none' : 'asking';
  if (isGone) return 'gone';
  return deviceNow - heardAt > oldAfter ? 'old' : 'live';
}

// ---- the trace

/** Lowest and highest of each piece, with a gap where pieces are missing; in hours. */
export interface CourseData {
  hours: number[];
  low: (number | null)[];
  high: (number | null)[];
  states: { from: number; to: number; state: 'flush' | 'sealed' }[];
}

/** `zero`: ms since 1970 that counts as hour 0 */
export function courseData(course: WatchCourse, zero: number): CourseData {
  const out: CourseData = { hours: [], low: [], high: [], states: [] };
  const step = course.step_s * 1000;
  course.from.forEach((from, i) => {
    const before = course.from[i - 1];
    const isGap = before !== undefined && from - before > 3 * step;
    const hour = (from - zero) / 3_600_000;
    const until = (from + step - zero) / 3_600_000;
    if (isGap) {
      out.hours.push((before + step - zero) / 3_600_000);
      out.low.push(null);
      out.high.push(null);
    }
    out.hours.push(hour);
    out.low.push(course.lowest[i] ?? null);
    out.high.push(course.highest[i] ?? null);
    const state = course.sealed[i] === 1 ? 'sealed' : 'flush';
    const last = out.states.at(-1);
    if (last && last.state === state && !isGap) last.to = until;
    else {
      // Between two pieces that follow each other nothing is left open.
      if (last && !isGap) last.to = hour;
      out.states.push({ from: hour, to: until, state });
    }
  });
  return out;
}

/** mg/L at the floor, by what the same water shows now in both; null where that is not known. */
export function floorOxygen(course: WatchCourse, chamber: WatchChamber): number | null {
  const low = course.lowest.at(-1);
  const high = course.highest.at(-1);
  if (low === undefined || high === undefined || chamber.oxygen_percent === null || chamber.oxygen_percent < 5) return null;
  return (((low + high) / 2) * chamber.floor_percent) / chamber.oxygen_percent;
}

/** How fast the level falls while sealed, % of air saturation a minute, by the last sealed pieces; null where too few are known. */
export function fallPerMinute(course: WatchCourse, chamber: WatchChamber): number | null {
  const floor = floorOxygen(course, chamber);
  if (floor === null || chamber.floor_percent <= 0) return null;
  let last = course.sealed.length - 1;
  while (last >= 0 && course.sealed[last] !== 1) last -= 1;
  let first = last;
  const follows = (i: number) => (course.from[i] ?? 0) - (course.from[i - 1] ?? 0) <= 3000 * course.step_s;
  while (first > 0 && course.sealed[first - 1] === 1 && follows(first)) first -= 1;
  // The first minute of a spell still mixes.
  const minutes = (i: number) => ((course.from[i] ?? 0) - (course.from[first] ?? 0)) / 60_000;
  let from = first;
  while (from < last && minutes(from) < 1) from += 1;
  if (last < 0 || minutes(last) - minutes(from) < 1) return null;
  const middle = (i: number) => ((course.lowest[i] ?? 0) + (course.highest[i] ?? 0)) / 2;
  return (((middle(from) - middle(last)) / (minutes(last) - minutes(from))) * chamber.floor_percent) / floor;
}

/** What a hold would do to the water, in words. */
export function holdText(chamber: WatchChamber, fall: number | null): string {
  if (chamber.oxygen_percent === null || fall === null || fall <= 0.01) return 'Oxygen falls for as long as it is sealed.';
  const room = chamber.oxygen_percent - chamber.floor_percent;
  const rate = fall < 0.1 ? fall.toFixed(2) : fall.toFixed(1);
  return room <= 0 ? 'Oxygen is at its floor.' : `As in the last spell oxygen falls by ${rate} % a minute: the floor is reached in about ${spanText((room / fall) * 60)}.`;
}

// ---- hands

/** A number typed by a hand, with a comma or a point; null where it is none above 0. */
export function positive(typed: string): number | null {
  const text = typed.trim().replace(',', '.');
  const value = /^\d+(\.\d+)?$/.test(text) ? Number(text) : Number.NaN;
  return value > 0 ? value : null;
}
