import { describe, expect, it } from 'vitest';
import { columnsBeside, columnText, complaintsAt, draftOf, emptyDraft, keysOf, nearName, plainWords, proposedName, termMeant, withName, wrongName, type Draft } from '../src/data/question';
import type { Askable, AskableColumn, Complaint } from '../src/server/api';

const column = (part: Partial<AskableColumn> & { name: string }): AskableColumn => ({
  title: part.name, unit: '', stage: 'before', what: '', is_own: false, is_words: false, rows: [0], filled: 12, levels: [], level_count: 0, ...part,
});
const all: Askable = {
  kinds: [{ noun: 'fish', nouns: 'fish', rows: 12 }, { noun: 'spell', nouns: 'spells', rows: 400 }],
  columns: [
    column({ name: 'peak_after_capture', title: 'peak after capture', unit: 'mg/kg/h', stage: 'after' }),
    column({ name: 'mo2', title: 'uptake', rows: [1], filled: 400, stage: 'after' }),
    column({ name: 'hours', rows: [1], filled: 400 }),
    column({ name: 'rig', rows: [0, 1], is_words: true, levels: ['single_hook', 'treble_hooks'], level_count: 2 }),
    column({ name: 'mass_g', title: 'mass', unit: 'g', rows: [0, 1] }),
    column({ name: 'cortisol_ng_per_ml', rows: [], filled: 0 }),
  ],
  questions: [],
};
const draft = (part: Partial<Draft>): Draft => ({ ...emptyDraft(), ...part });
const complaint = (part: Partial<Complaint>): Complaint => ({ severity: 'beware', file: 'study.toml', line: null, column: '', found: '', expected: '', remedy: '', text: '', ...part });

describe('a question that is being written', () => {
  it('sends what is said and nothing else', () => {
    expect(keysOf(emptyDraft())).toEqual({});
    const full = draft({ name: ' q ', outcome: 'resting', compare: 'rig', adjust_for: ['log(mass_g)'], margin: '0,8', effect_wanted: 'much', better: 'higher', weigh_by_uncertainty: true });
    expect(keysOf(full)).toEqual({ name: 'q', outcome: 'resting', compare: 'rig', adjust_for: ['log(mass_g)'], margin: 0.8, effect_wanted: 'much', better: 'higher', weigh_by_uncertainty: true });
  });
  it('comes back from the keys of the brief', () => {
    const keys = { name: 'q', ask: 'Why?', outcome: 'resting', compare: 'rig', random: ['day'], margin: -0.5, better: 'lower', weigh_by_uncertainty: true, order: ['none', 'slight'] };
    expect(keysOf(draftOf(keys))).toEqual(keys);
  });
  it('is named by what it asks, as no other is', () => {
    expect(proposedName(draft({ outcome: 'resting' }), [])).toBe('');
    expect(proposedName(draft({ outcome: 'peak_after_capture', compare: 'log(mass_g)' }), [])).toBe('peak_after_capture_by_mass_g');
    expect(proposedName(draft({ outcome: 'Länge, mm', compare: 'rig' }), ['la_nge_mm_by_rig', 'la_nge_mm_by_rig_2'])).toBe('la_nge_mm_by_rig_3');
  });
  it('offers what stands in a row with the outcome', () => {
    expect(columnsBeside(all, 'mo2').map((each) => each.name)).toEqual(['hours', 'rig', 'mass_g']);
    expect(columnsBeside(all, 'peak_after_capture').map((each) => each.name)).toEqual(['rig', 'mass_g']);
    expect(columnsBeside(all, 'nothing')).toHaveLength(5);
  });
  it('says what a column is, also of its logarithm', () => {
    expect(columnText(all, 'log(mass_g)')).toBe('mass, g; known before the treatment; of fish, spells');
    expect(columnText(all, 'cortisol_ng_per_ml')).toContain('this study has nothing of it');
    expect(columnText(all, 'rig')).toContain('single_hook, treble_hooks');
    expect(columnText(all, 'rigg')).toBe('');
  });
  it('is said in plain words', () => {
    expect(plainWords(draft({ outcome: 'peak_after_capture', compare: 'rig', adjust_for: ['log(mass_g)'], within: 'fish' }), all)).toBe('Does peak after capture differ by rig, each fish compared with itself, adjusted for the logarithm of mass?');
    expect(plainWords(draft({ outcome: 'mo2', compare: 'hours' }), all)).toBe('How does uptake go with hours?');
    expect(plainWords(draft({ outcome: 'mo2' }), all)).toBe('');
  });
});

describe('what the program says of it', () => {
  const wrong = complaint({ column: 'adjust_for', found: 'there is no column "mas_g"', remedy: 'did you mean "mass_g"?' });
  it('stands at its key, with the name that is offered', () => {
    expect(complaintsAt([wrong, complaint({ column: 'name' })], 'adjust_for')).toEqual([wrong]);
    expect(nearName(wrong)).toBe('mass_g');
    expect(nearName(complaint({ remedy: 'write it as its header has it' }))).toBeNull();
    expect(wrongName(wrong)).toBe('mas_g');
  });
  it('mends the term that is meant', () => {
    expect(termMeant(wrong, ['rig', 'log(mas_g)'])).toBe(1);
    expect(withName('log(mas_g)', 'mas_g', 'mass_g')).toBe('log(mass_g)');
    expect(withName('x', 'mas_g', 'mass_g')).toBe('mass_g');
  });
});
