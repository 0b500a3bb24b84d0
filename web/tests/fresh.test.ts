import { describe, expect, it } from 'vitest';
import { isBegun, isFresh, stepStates } from '../src/data/fresh';
import type { Results } from '../src/data/results';
import { stateOf, type ServerState, type Worry } from '../src/server/wire';

const worry = (part: Partial<Worry>): Worry => ({ severity: 'stops', text: 'stays.csv: no stay: there is nothing to compute', file: 'stays.csv', line: null, column: null, remedy: '', ...part });
const state = (complaints: Worry[]): ServerState => stateOf({ phase: 'stopped', complaints });
const salinity = worry({ severity: 'beware', file: 'study.toml', text: 'study.toml: [water] says nothing of salinity' });

describe('a new study', () => {
  it('is one without a stay and without answers; calm where nothing else stops it', () => {
    expect(isFresh({ results: null, state: state([worry({}), salinity]) })).toBe(true);
    const broken = { results: null, state: state([worry({}), worry({ file: 'study.toml', text: 'study.toml line 3: no such setting' })]) };
    expect([isBegun(broken), isFresh(broken)]).toEqual([true, false]);
    expect(isFresh({ results: {} as Results, state: state([worry({})]) })).toBe(false);
    expect(isFresh({ results: null, state: state([worry({ line: 3 })]) })).toBe(false);
    expect(isFresh({ results: null, state: null })).toBe(false);
  });

  const empty = { rows: {}, brief: '[study]\ntitle = "My study"\n#[[trace]]\n', worries: [salinity] };
  it('has every step before it, but for paper, which nobody can know', () => {
    const states = stepStates(empty);
    expect(states.paper).toBeNull();
    for (const [word, each] of Object.entries(states)) if (word !== 'paper') expect(each, word).toEqual({ isDone: false, words: '' });
  });

  it('says how far each step is', () => {
    const states = stepStates({ rows: { assemblies: 2, fish: 1 }, brief: '[study]\ntitle = "Pollack"\n[[trace]]\n [[trace]] \n', worries: [salinity] });
    expect(states.brief).toEqual({ isDone: false, words: '“Pollack”, not all of it yet' });
    expect(stepStates({ ...empty, brief: 'title = "Pollack"', worries: [worry({})] }).brief?.isDone).toBe(true);
    expect(states.files).toEqual({ isDone: true, words: '2 loggers' });
    expect(states.chambers).toEqual({ isDone: false, words: '2 chambers' });
    expect(states.fish).toEqual({ isDone: false, words: '1 fish' });
  });
});
