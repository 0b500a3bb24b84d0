import { describe, expect, it } from 'vitest';
import {
  alarmsInOrder, changeText, courseData, dueText, fallPerMinute, floorOxygen, healthWord, holdText, inOrder, levelShare, oldAfter, percentText, positive, priorities,
  priorityShapes, priorityWords, soundsOf, spanText, spellLine, standingOf, uptakeText, worstOf,
} from '../src/data/watch';
import { watchOf } from '../src/server/watch';
import { alarm, chamber, now } from './watch_fixture';

const three = [chamber({ name: 'c1' }), chamber({ name: 'c2' }), chamber({ name: 'c3' })];
const names = (of: { name: string }[]) => of.map((each) => each.name).join(' ');

describe('order', () => {
  it('puts the chamber in most need on top and leaves the others as they were', () => {
    expect(names(inOrder(now({ chambers: three })))).toBe('c1 c2 c3');
    expect(names(inOrder(now({ chambers: three, alarms: [alarm({ chamber: 'c3', priority: 'medium' })] })))).toBe('c3 c1 c2');
    const two = [alarm({ chamber: 'c3', priority: 'medium' }), alarm({ chamber: 'c2', priority: 'fish_at_risk' })];
    expect(names(inOrder(now({ chambers: three, alarms: two })))).toBe('c2 c3 c1');
  });

  it('does not move rows for readings, times, a lesser alarm or one that was put aside', () => {
    const before = [alarm({ chamber: 'c2' })];
    const quiet = names(inOrder(now({ chambers: three, alarms: before })));
    const risen = three.map((each) => ({ ...each, oxygen_percent: 40, next_change_s: 1 }));
    const more = [...before, alarm({ chamber: 'c2', cause: 'restless', priority: 'low' }), alarm({ chamber: 'c3', priority: 'fish_at_risk', state: 'suppressed' }), alarm({ chamber: 'c3', state: 'shelved' })];
    expect(names(inOrder(now({ chambers: risen, alarms: more })))).toBe(quiet);
  });

  it('leaves what it was given as it was', () => {
    const given = now({ chambers: three, alarms: [alarm({ chamber: 'c3' })] });
    inOrder(given);
    alarmsInOrder(given.alarms);
    expect(names(given.chambers)).toBe('c1 c2 c3');
  });

  it('lists first the alarms that nobody has, the worst and the first of them on top', () => {
    const list = [
      alarm({ cause: 'a', priority: 'fish_at_risk', state: 'acknowledged' }), alarm({ cause: 'b', priority: 'low' }), alarm({ cause: 'c', priority: 'high', since_s: 10 }),
      alarm({ cause: 'd', priority: 'high', since_s: 90 }), alarm({ cause: 'e', priority: 'high', state: 'shelved' }), alarm({ cause: 'f', priority: 'high', since_s: 5, first_out: true }),
    ];
    expect(alarmsInOrder(list).map((each) => each.cause).join('')).toBe('fdcbae');
  });

  it('knows the worst of a chamber, and of the station', () => {
    const list = [alarm({ priority: 'low' }), alarm({ priority: 'high' }), alarm({ chamber: null, priority: 'medium' })];
    expect(worstOf('c1', list)).toBe('high');
    expect(worstOf(null, list)).toBe('medium');
    expect(worstOf('c2', list)).toBeNull();
  });
});

describe('words', () => {
  it('says in one word how a chamber is', () => {
    const word = (priority: (typeof priorities)[number]) => healthWord(chamber(), [alarm({ priority })], false);
    expect(priorities.map(word)).toEqual(['danger', 'trouble', 'look', 'note']);
    expect(healthWord(chamber(), [], false)).toBe('well');
    expect(healthWord(chamber({ oxygen_percent: null }), [], false)).toBe('unsure');
    expect(healthWord(chamber({ use: 'empty' }), [], false)).toBe('empty');
    expect(healthWord(chamber(), [alarm({ state: 'returned', is_active: false })], false)).toBe('well');
    for (const use of ['fish', 'empty'] as const) expect(healthWord(chamber({ use }), [], true)).toBe('unknown');
  });

  it('tells priorities apart by word and by shape', () => {
    expect(new Set(priorities.map((each) => priorityShapes[each])).size).toBe(4);
    expect(new Set(priorities.map((each) => priorityWords[each])).size).toBe(4);
  });

  it.each([[-3, '0 s'], [0, '0 s'], [99, '99 s'], [100, '2 min'], [3599, '60 min'], [5999, '1 h 40 min'], [47 * 3600, '47 h 00 min'], [51 * 3600, '2 d 3 h']])('%s s is %s', (s, text) => {
    expect(spanText(s)).toBe(text);
  });

  it('says what comes next', () => {
    expect(changeText(chamber())).toBe('flush in 3 min');
    expect(changeText(chamber({ phase: 'flush', next_change_s: 40 }))).toBe('sealing in 40 s');
    expect(changeText(chamber({ phase: 'flush', next_change_s: null }))).toBe('no sealing planned');
    expect(changeText(chamber({ use: 'empty', phase: 'flush', next_change_s: null }))).toBe('');
  });

  it('counts down to blood, and on when it is late', () => {
    const at = '2026-06-14T21:00:00Z';
    const zero = Date.parse(at);
    expect(dueText({ what: 'blood', at }, zero - 720_000)).toBe('Blood in 12 min');
    expect(dueText({ what: 'blood', at }, zero)).toBe('Blood due now');
    expect(dueText({ what: 'seal', at }, zero + 40_000)).toBe('Seal overdue by 40 s');
  });

  it('never shows a level higher than it is', () => {
    expect(percentText(79.99)).toBe('79');
    expect(percentText(80)).toBe('80');
    expect(percentText(null)).toBe('–');
  });

  it.each([[412.3, 9.2, '412 ± 18'], [41.23, 1.1, '41.2 ± 2.2'], [0.51, 0.011, '0.510 ± 0.022'], [-0.2, 0.4, '−0.20 ± 0.78'], [2000, 160, '2000 ± 314']])('%s with %s shows as %s', (value, error, text) => {
    expect(uptakeText(value, error)).toBe(text);
  });

  it.each([['0,62', 0.62], ['1.5', 1.5], [' 30 ', 30], ['0', null], ['-1', null], ['', null], ['1e3', null], ['12 kg', null], ['Infinity', null]])('a hand that types %j means %s', (typed, value) => {
    expect(positive(typed)).toBe(value);
  });
});

describe('sound', () => {
  it('is for the worst of what sounds, and for nothing that is silent', () => {
    const list = [alarm({ priority: 'fish_at_risk', sounds: false }), alarm({ priority: 'medium' }), alarm({ priority: 'high' })];
    expect(soundsOf(now({ alarms: list }), 'live')).toBe('high');
    expect(soundsOf(now({ alarms: list.slice(0, 1) }), 'live')).toBeNull();
    expect(soundsOf(null, 'none')).toBeNull();
  });

  it('is for a watch of which nothing is heard', () => {
    expect(soundsOf(now(), 'gone')).toBe('high');
    expect(soundsOf(now(), 'old')).toBe('high');
  });
});

describe('what is old', () => {
  it('is never shown as live', () => {
    expect(standingOf(null, 0, false, false, 5)).toBe('asking');
    expect(standingOf(null, 0, false, true, 5)).toBe('none');
    expect(standingOf(now(), 1000, false, true, 1000 + oldAfter)).toBe('live');
    expect(standingOf(now(), 1000, false, true, 1001 + oldAfter)).toBe('old');
    expect(standingOf(now(), 1000, true, true, 1000)).toBe('gone');
  });
});

describe('drawings', () => {
  it('holds the level within its scale', () => {
    expect([0, 50, 80, 110, 140].map(levelShare)).toEqual([0, 0, 0.5, 1, 1]);
  });

  it('lays spells out from 0 to the most, with what each may be off by', () => {
    expect(spellLine([])).toEqual([]);
    const points = spellLine([
      { from: '2026-06-14T20:00:00Z', sealed_s: 150, mg_per_h: 100, error_mg_per_h: 0 }, { from: '2026-06-14T20:30:00Z', sealed_s: 150, mg_per_h: 50, error_mg_per_h: 100 / 1.96 },
      { from: '2026-06-14T21:00:00Z', sealed_s: 150, mg_per_h: 25, error_mg_per_h: 0 },
    ]);
    expect(points.map((each) => each.x)).toEqual([0, 0.5, 1]);
    expect(points[1]?.low).toBe(0);
    expect(points[1]?.high).toBeCloseTo(1);
    expect(points[0]?.y).toBeCloseTo(100 / 150);
    for (const { y, low, high } of points) expect(low <= y && y <= high).toBe(true);
  });

  const minute = 60_000;
  const course = { step_s: 60, from: [0, 1, 2, 3, 10, 11, 12, 13, 14].map((each) => each * minute), lowest: [9, 9, 9, 9, 9.5, 9.4, 9.2, 9, 8.8], highest: [9, 9, 9, 9, 9.5, 9.4, 9.2, 9, 8.8], sealed: [0, 0, 1, 1, 1, 1, 1, 1, 1] };

  it('breaks the trace where readings are missing and joins states that go on', () => {
    const data = courseData(course, 15 * minute);
    expect(data.hours.length).toBe(10);
    expect(data.low[4]).toBeNull();
    expect(data.hours.every((hour, i) => i === 0 || hour > (data.hours[i - 1] ?? 0))).toBe(true);
    expect(data.states.map((each) => each.state)).toEqual(['flush', 'sealed', 'sealed']);
    expect(data.states[0]?.to).toBeCloseTo(-13 / 60);
    expect(data.states[2]).toMatchObject({ from: -5 / 60, to: 0 });
  });

  it('draws the floor by the same water, or not at all', () => {
    expect(floorOxygen(course, chamber({ oxygen_percent: 88 }))).toBeCloseTo(8);
    expect(floorOxygen(course, chamber({ oxygen_percent: null }))).toBeNull();
    expect(floorOxygen({ ...course, from: [], lowest: [], highest: [], sealed: [] }, chamber())).toBeNull();
  });

  it('says how fast sealed water falls, and when the floor is reached', () => {
    const fall = fallPerMinute(course, chamber({ oxygen_percent: 88 }));
    expect(fall).toBeCloseTo(2); // 0.2 mg/L a minute, where 0.1 mg/L are 1 %
    expect(holdText(chamber({ oxygen_percent: 88 }), fall)).toBe('As in the last spell oxygen falls by 2.0 % a minute: the floor is reached in about 4 min.');
    expect(holdText(chamber({ oxygen_percent: 79 }), fall)).toBe('Oxygen is at its floor.');
    expect(holdText(chamber(), null)).toContain('for as long as it is sealed');
    expect(fallPerMinute({ ...course, sealed: course.sealed.map(() => 0) }, chamber())).toBeNull();
  });
});

describe('what the watch says is checked at the door', () => {
  it('takes it, and that there is none', () => {
    expect(watchOf(now({ alarms: [alarm()] }))?.alarms.length).toBe(1);
    expect(watchOf(null)).toBeNull();
  });

  it.each([[undefined], [3], [{}], [{ ...now(), at: 'noon' }], [{ ...now(), chambers: {} }], [{ ...now(), chambers: [{ name: 'c1' }] }], [{ ...now(), alarms: [{ cause: 'x' }] }]])('refuses %j', (value) => {
    expect(() => watchOf(value)).toThrow();
  });
});
