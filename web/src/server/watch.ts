// What the pages ask of the watch, and hands handed on to it.
import type { WatchAnswer, WatchCourse, WatchHand, WatchHandover, WatchNow } from './api';
import { askFor, sendFor, type Asking } from './request';
import { having } from './setup';

/** null: no watch is running */
export function watchOf(value: unknown): WatchNow | null {
  if (value === null) return null;
  const now = having<WatchNow>(value, ['at', 'chambers', 'alarms', 'devices_lost', 'samples_fault', 'flood'], 'the watch');
  if (!Array.isArray(now.chambers) || !Array.isArray(now.alarms)) throw new Error('the watch: chambers and alarms are no lists');
  if (Number.isNaN(Date.parse(now.at))) throw new Error(`the watch: "${now.at}" is no moment`);
  for (const each of now.chambers) having(each, ['name', 'use', 'phase', 'oxygen_percent', 'floor_percent', 'spells', 'dues'], 'a chamber of the watch');
  for (const each of now.alarms) having(each, ['chamber', 'cause', 'title', 'to_do', 'priority', 'state', 'since_s', 'sounds'], 'an alarm of the watch');
  return now;
}

function courseOf(value: unknown): WatchCourse {
  const course = having<WatchCourse>(value, ['step_s', 'from', 'lowest', 'highest', 'sealed'], 'the course');
  for (const name of ['lowest', 'highest', 'sealed'] as const) {
    if (course[name].length !== course.from.length) throw new Error(`the course: "from" and "${name}" are not of one length`);
  }
  return course;
}

export const askWatch = (asking?: Asking): Promise<WatchNow | null> =>
  askFor('/api/watch', (value) => watchOf(having<{ watch: unknown }>(value, ['watch'], 'the answer').watch), asking);
export const askCourse = (chamber: string, asking?: Asking): Promise<WatchCourse> => askFor(`/api/watch/course/${encodeURIComponent(chamber)}`, courseOf, asking);
export const askHandover = (asking?: Asking): Promise<string> => askFor('/api/watch/handover', (value) => having<WatchHandover>(value, ['text'], 'the page').text, asking);
export const handOn = (hand: WatchHand, token: string): Promise<WatchAnswer> =>
  sendFor('POST', '/api/watch/hand', hand, token, (value) => having<WatchAnswer>(value, ['done', 'words'], 'the answer'));
