import { describe, expect, it } from 'vitest';
import { chapterOf, chapters, pathOf, routeOf, setUpPathOf, type Route } from '../src/data/route';

describe('addresses', () => {
  const all: [string, Route][] = [
    ['/', { page: 'study' }],
    ['/fish', { page: 'fish' }],
    ['/fish/T07', { page: 'one_fish', fish: 'T07', beside: null }],
    ['/fish/T07/beside/T08', { page: 'one_fish', fish: 'T07', beside: 'T08' }],
    ['/fish/sea%20trout%2F7', { page: 'one_fish', fish: 'sea trout/7', beside: null }],
    ['/traces', { page: 'traces', stay: null, spell: null }],
    ['/traces/S005', { page: 'traces', stay: 'S005', spell: null }],
    ['/traces/S005/12', { page: 'traces', stay: 'S005', spell: 12 }],
    ['/findings', { page: 'findings' }],
    ['/findings/rig_peak', { page: 'one_finding', finding: 'rig_peak' }],
    ['/ask', { page: 'ask', finding: null }],
    ['/ask/rig_peak', { page: 'ask', finding: 'rig_peak' }],
    ['/report', { page: 'report' }],
    ['/set-up', { page: 'set_up', part: 'steps', table: null }],
    ['/set-up/files', { page: 'set_up', part: 'files', table: null }],
    ['/set-up/tables', { page: 'set_up', part: 'tables', table: null }],
    ['/set-up/tables/clock_checks', { page: 'set_up', part: 'tables', table: 'clock_checks' }],
    ['/set-up/brief', { page: 'set_up', part: 'brief', table: null }],
    ['/set-up/brief/peak.window_s', { page: 'set_up', part: 'brief', table: null, key: 'peak.window_s' }],
    ['/set-up/sensors', { page: 'set_up', part: 'sensors', table: null }],
    ['/set-up/paper', { page: 'set_up', part: 'paper', table: null }],
    ['/set-up/paper/type-in', { page: 'set_up', part: 'type_in', table: null }],
    ['/set-up/phones', { page: 'set_up', part: 'phones', table: null }],
    ['/watch', { page: 'watch' }],
  ];

  it.each(all)('%s leads to its page and back', (path, route) => {
    expect(routeOf(path)).toEqual(route);
    expect(pathOf(route)).toBe(path);
  });

  it('a slash at the end changes nothing', () => {
    expect(routeOf('/fish/')).toEqual({ page: 'fish' });
  });

  it.each(['/nothing', '/fish/a/beside', '/fish/a/b', '/traces/S1/x', '/traces/S1/0', '/traces/S1/2/3', '/report/x', '/watch/x', '/set-up/x', '/set-up/brief/x', '/set-up/tables/a/b', '/set-up/paper/x', '/set-up/type-in', '/fish/%E0%A4%A'])('%s leads nowhere and says so', (path) => {
    expect(routeOf(path)).toEqual({ page: 'unknown', path });
  });

  it('every chapter of the top line is a page that stands under it', () => {
    for (const { chapter, path } of chapters) expect(chapterOf(routeOf(path))).toBe(chapter);
    expect(chapterOf({ page: 'one_fish', fish: 'a', beside: null })).toBe('fish');
    expect(chapterOf({ page: 'unknown', path: '/x' })).toBeNull();
  });

  it('files of the study have their place in Set-up, others none', () => {
    expect(setUpPathOf('study.toml')).toBe('/set-up/brief');
    expect(setUpPathOf('clock_checks.csv')).toBe('/set-up/tables/clock_checks');
    for (const file of ['', 'journal', 'raw/day.csv', 'results.json']) expect(setUpPathOf(file), file).toBeNull();
  });
});
