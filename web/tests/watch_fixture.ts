// Invented words of a watch.
import type { WatchAlarm, WatchChamber, WatchNow } from '../src/server/api';

export const chamber = (part: Partial<WatchChamber> = {}): WatchChamber => ({
  name: 'c1', use: 'fish', role: 'rest', mass_kg: 0.62, handled_at: '2026-06-14T20:10:00Z', phase: 'sealed', why: 'planned', why_in_words: 'as planned', by_hand: false,
  oxygen_percent: 91.4, floor_percent: 80, celsius: 12.1, next_change_s: 200, uptake: { mg_per_h: 41.2, error_mg_per_h: 1.1 }, spells: [], dues: [], worst: null, sounds: false, ...part,
});

export const alarm = (part: Partial<WatchAlarm> = {}): WatchAlarm => ({
  chamber: 'c1', cause: 'sensor_silent', title: 'Oxygen sensor silent', to_do: 'Check the meter.', priority: 'high', state: 'unacknowledged', is_active: true, since_s: 75,
  words: '', by: '', first_out: false, sounds: true, may_be_shelved: true, ...part,
});

export const now = (part: Partial<WatchNow> = {}): WatchNow => ({ at: '2026-06-15T01:12:00Z', through: 1, devices_lost: [], samples_fault: '', flood: false, chambers: [chamber()], alarms: [], ...part });
