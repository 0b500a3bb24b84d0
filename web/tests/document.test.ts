import { readFileSync } from 'node:fs';
import Ajv2020 from 'ajv/dist/2020';
import { describe, expect, it } from 'vitest';
import { at, groupPlace, isQuantity, parseResults, quantityText, spellPoints } from '../src/data/read';
import { rowsOf } from '../src/data/study';
import { fixture, fixtureText } from './fixture';

const schema: unknown = JSON.parse(readFileSync(new URL('../../src/report/results.schema.json', import.meta.url), 'utf8'));

describe('the results document', () => {
  it('is valid by its schema, as a validator that is not ours judges it', () => {
    const validate = new Ajv2020({ strict: true, strictTypes: false, strictRequired: false, validateFormats: false, allErrors: true });
    const check = validate.compile(schema as object);
    expect(check(JSON.parse(fixtureText)), JSON.stringify(check.errors?.slice(0, 5))).toBe(true);
    const broken = JSON.parse(fixtureText) as { fish: { mass_g: object }[] };
    (broken.fish[0] as { mass_g: unknown }).mass_g = 812;
    expect(check(broken)).toBe(false);
  });

  it('is refused when it is none of ours, or of another version', () => {
    expect(() => parseResults('{"a": 1}')).toThrow('no results document');
    expect(() => parseResults(fixtureText.replace('"schema_version":"1.7"', '"schema_version":"2.0"'))).toThrow('2.0');
    expect(() => parseResults('')).toThrow();
  });

  it('gives what stands at a JSON pointer', () => {
    // RFC 6901, section 5.
    const document = { foo: ['bar', 'baz'], 'a/b': 1, 'm~n': 8 };
    expect(at(document, '/foo/0')).toBe('bar');
    expect(at(document, '/a~1b')).toBe(1);
    expect(at(document, '/m~0n')).toBe(8);
    expect(at(document, '/foo/0/none')).toBeUndefined();
    expect(isQuantity(at(fixture(), '/fish/0/metrics/peaks/0/uptake_mg_per_kg_h'))).toBe(true);
  });
});

describe('numbers', () => {
  it('are printed as the program rounded them, with their unit', () => {
    expect(quantityText({ value: 412.34, text: '412 ± 18', unit: 'mg/kg/h' })).toBe('412 ± 18 mg/kg/h');
    expect(quantityText({ value: 13.1, text: '13.1', unit: 'degC' })).toBe('13.1 °C');
    expect(quantityText({ value: null, text: 'not weighed', unit: 'mg/kg/h', reason: 'not weighed' })).toBe('not weighed');
  });
});

describe('spells as points', () => {
  const [fish] = fixture().fish;
  const stay = fish?.stays[0];
  it('stand at their middle, in hours since the zero', () => {
    if (!stay) throw new Error('fixture without a stay');
    const zero = new Date(Date.parse(stay.spells.from[0] ?? '') - 3600_000).toISOString();
    const [first] = spellPoints(stay, zero, 'mg/kg/h');
    const half = (Date.parse(stay.spells.to[0] ?? '') - Date.parse(stay.spells.from[0] ?? '')) / 7200_000;
    expect(first?.hours).toBeCloseTo(1 + half, 6);
    expect(first?.uptake).toBe(stay.spells.uptake_mg_per_kg_h[0]);
  });
  it('are whole-animal for a fish that was never weighed', () => {
    if (!stay) throw new Error('fixture without a stay');
    expect(spellPoints(stay, stay.from ?? '', 'mg/h')[0]?.uptake).toBe(stay.spells.uptake_mg_per_h[0]);
  });
});

describe('study rows', () => {
  it('hold every fish that has the number, once, under its group', () => {
    const results = fixture();
    const { rows, unit } = rowsOf(results, 'peak_after_capture');
    expect(rows.map((row) => row.points.length).reduce((a, b) => a + b)).toBe(results.fish.length);
    expect(unit).toBe('mg/kg/h');
    expect(groupPlace(results, 'treble/water')).toBe(2);
    expect(groupPlace(results, 'nobody')).toBe(-1);
  });
  it('leave out a peak that is unusable', () => {
    const results = fixture();
    const peak = results.fish[0]?.metrics.peaks[0];
    if (peak) peak.mark = 'unusable';
    const { rows } = rowsOf(results, 'peak_after_capture');
    expect(rows.flatMap((row) => row.points).map((p) => p.fish)).not.toContain(results.fish[0]?.id);
  });
});
