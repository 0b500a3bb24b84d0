import { describe, expect, it } from 'vitest';
import { differing, lineAt, lineOfKey, placeOfKey, sectionAt, spanOf, versionsOf, withSetting } from '../src/data/brief_text';
import type { Entry } from '../src/server/api';

const text = '# first\n[study]\ntitle = "x"\n\n[[trace]] # boat\nname = "boat"\n\n[peak]\nwindow_s = 60';

describe('the brief as text', () => {
  it('says in which section a line stands', () => {
    expect([0, 1, 2, 3, 5, 8, 99].map((line) => sectionAt(text, line))).toEqual(['', 'study', 'study', 'study', 'trace', 'peak', 'peak']);
  });
  it('lines and places', () => {
    const { from, to } = spanOf(text, 2);
    expect(text.slice(from, to)).toBe('title = "x"');
    expect(lineAt(text, from)).toBe(2);
    expect(lineAt(text, 0)).toBe(0);
  });
  it('a setting goes behind the last line of its section', () => {
    expect(withSetting(text, 5, 'zone', '"UTC"')).toEqual({ text: text.replace('"boat"\n', '"boat"\nzone = "UTC"\n'), line: 6 });
    expect(withSetting(text, 8, 'a', '1').text).toBe(`${text}\na = 1`);
    expect(withSetting('[peak]', 0, 'a', '1').text).toBe('[peak]\na = 1');
  });
  it('a setting that a remark shows takes its place', () => {
    expect(withSetting('[water]\n# of the sea\n#salinity =\n#flow = 1\n\n[peak]', 1, 'salinity', '31.5')).toEqual({ text: '[water]\n# of the sea\nsalinity = 31.5\n#flow = 1\n\n[peak]', line: 2 });
  });
  it('a key is found in its own section only', () => {
    expect(lineOfKey(text, 3, 'title')).toBe(2);
    expect(lineOfKey(text, 5, 'title')).toBeNull();
    expect(lineOfKey(text, 1, 'name')).toBeNull();
  });
  it('a key is found by its section and name, else its section', () => {
    expect(placeOfKey(text, 'peak.window_s')).toEqual({ line: 8, isKey: true });
    expect(placeOfKey(text, 'peak.floor')).toEqual({ line: 7, isKey: false });
    expect(placeOfKey(text, 'resting.rule')).toBeNull();
  });
  it('tells what differs', () => {
    expect(differing('a\nb\nc', 'a\nb\nc')).toEqual({ a: [], b: [] });
    expect(differing('a\nb\nc\nd', 'a\nx\nc\ny\nd')).toEqual({ a: [1], b: [1, 3] });
    expect(differing('', 'a')).toEqual({ a: [0], b: [0] });
    expect(differing('a\nb', 'b\na')).toEqual({ a: [0], b: [1] });
  });
});

it('earlier versions are those that saved ones replaced, the youngest first', () => {
  const entry = (number: number, act: string, content: unknown): Entry => ({ number, id: `a:${number}`, at: `2026-06-1${number}`, author: 'A. Keen', role: 'scientist', act, content, reason: '', is_undone: false });
  const all = [
    entry(1, 'record', { file: 'study.toml', was: { text: 'one' } }), entry(2, 'record', { file: 'raw/a.csv', now: {} }), entry(3, 'set', null), entry(4, 'record', { file: 'study.toml', was: { text: 'two' } }),
  ];
  expect(versionsOf(all).map(({ text: each, until }) => [each, until])).toEqual([['two', '2026-06-14'], ['one', '2026-06-11']]);
});
