// @vitest-environment jsdom
// The figures of condition, with all there is and with what may be missing.
import { flushSync } from 'svelte';
import { afterEach, beforeAll, describe, expect, it } from 'vitest';
import BloodAfterEvent from '../src/figures/BloodAfterEvent.svelte';
import ConditionPoints from '../src/figures/ConditionPoints.svelte';
import FishOutline from '../src/figures/FishOutline.svelte';
import FishTimeline from '../src/figures/FishTimeline.svelte';
import PlateCurve from '../src/figures/PlateCurve.svelte';
import PlateMap from '../src/figures/PlateMap.svelte';
import { textWidth } from '../src/figures/svg';
import { paper } from '../src/data/paper.svelte';
import type { Fish, Results } from '../src/data/results';
import { bare, bareStudy, bloodDraw, bloodValue, body, fate, fins, look, none, number, plate, tornPlate } from './condition_fixture';
import { drawAt, expectSound, shown } from './drawing';
import { fixture } from './fixture';

const at = (fish: Fish, minutes: number): string => new Date(Date.parse(fish.time_zero ?? '') + minutes * 60000).toISOString();

function study(): { results: Results; fish: Fish } {
  const results = fixture();
  results.condition = bareStudy();
  results.fish.forEach((each, i) => {
    each.condition = bare();
    each.condition.draws = [
      bloodDraw(at(each, 67), 62 + 5 * i, [
        bloodValue('cortisol', i === 0 ? none('below 3.1 ng/mL', 'ng/mL') : number(60 + i, 'ng/mL', 8), i === 0 ? { below: 3.1 } : {}),
        bloodValue('lactate', i === 0 ? none('above 20 mmol/L', 'mmol/L') : number(5 + i, 'mmol/L', 0.5), i === 0 ? { above: 20 } : {}),
        bloodValue('haematocrit', number(38, '%'), { range_low: none('not of this matrix'), range_high: none('not of this matrix'), range_source: '' }),
      ]),
    ];
    each.condition.fins = [look('landing', 'A', fins([0, 1, 0, 2, 1, 3, null], ['split'])), look('landing', 'B', fins([0, 2, 0, 2, 1, 3, 1]))];
    each.condition.body = [look('landing', 'A', body(2))];
    each.condition.fate = fate({ ending: 'dead', last_alive: at(each, 900), found_dead: at(each, 1500), stage: 'holding' });
    results.condition.points.push({
      fish: each.id, group: each.group, fin_mean: i === 1 ? null : i / 2, impaired_percent: 20 * i, peak_after_capture: 420 + i, recovery_h: i === 2 ? null : 3 + i,
    });
  });
  const [fish] = results.fish;
  if (!fish) throw new Error('fixture without fish');
  return { results, fish };
}

const label = (host: HTMLElement): string => host.querySelector('.plot-place svg')?.getAttribute('aria-label') ?? '';

afterEach(() => {
  paper.isPrinting = false;
});

describe.each([320, 1400])('at %i px', (pixels) => {
  beforeAll(() => {
    drawAt(Math.min(1180, pixels) - 24);
  });

  it('the timeline names every step once, no line on another, and tells it to those who hear it', () => {
    const { fish } = study();
    const host = shown(FishTimeline, { fish });
    expectSound(host);
    const titles = [...host.querySelectorAll<SVGElement>('.plot-place text[font-size="15"]')];
    const words = [...host.querySelectorAll<SVGElement>('.plot-place text')].filter((each) => Number(each.getAttribute('x')) > 150);
    const lines = words.map((each) => Number(each.getAttribute('y')));
    for (let i = 1; i < lines.length; ++i) expect((lines[i] ?? 0) - (lines[i - 1] ?? 0)).toBeGreaterThanOrEqual(15);
    const room = Number(host.querySelector('.plot-place svg')?.getAttribute('width'));
    for (const each of words) expect(Number(each.getAttribute('x')) + textWidth(each.textContent ?? '', 12), each.textContent ?? '').toBeLessThanOrEqual(room);
    // On a narrow phone a title may be broken into lines.
    const told = titles.map((each) => each.textContent).join(' ');
    for (const word of ['hook-up', 'landed', 'back in water', 'sealed', 'blood', 'transfer', 'released', 'found dead']) {
      expect(told.split(word), word).toHaveLength(2);
      expect(label(host)).toContain(word);
    }
    expect(host.querySelector('.key')?.textContent).toContain('died in between');
  });

  it('blood has a panel per analyte, limits as arrows with their word, the source of the range in the key', () => {
    const { results, fish } = study();
    const host = shown(BloodAfterEvent, { results, fish });
    expectSound(host);
    const words = [...host.querySelectorAll('.plot-place text')].map((each) => each.textContent);
    expect(words).toEqual(expect.arrayContaining(['cortisol, plasma', 'lactate, plasma', 'haematocrit, plasma', 'below', 'above']));
    expect(host.querySelectorAll('.plot-place pattern[id$="range"]').length).toBeGreaterThan(0);
    expect(host.querySelector('.key')?.textContent).toContain('published range of cortisol, lactate: A. Source 1991, from memory');
    expect(label(host)).toContain('cortisol, plasma: below 3.1 ng/mL at 62 min');
  });

  it('blood of all fish has every value in it', () => {
    const { results } = study();
    const host = shown(BloodAfterEvent, { results });
    expectSound(host);
    const titles = [...host.querySelectorAll('.plot-place title')].map((each) => each.textContent ?? '');
    for (const { id } of results.fish) expect(titles.filter((title) => title.startsWith(`${id}: `)), id).toHaveLength(3);
  });

  it('the outline numbers every scored place and marks what was not scored', () => {
    const { results, fish } = study();
    const host = shown(FishOutline, { fish, condition: results.condition });
    expectSound(host);
    const numbers = [...host.querySelectorAll('.plot-place text[pointer-events]')].map((each) => each.textContent);
    expect(numbers).toHaveLength(7 + 9);
    expect(numbers).toContain('–');
    expect(numbers).toContain('1*');
    expect(label(host)).toContain('right pelvic: not scored');
    expect(host.textContent).toContain('* caudal: split');
  });

  it('another look is chosen by its button', () => {
    const { results, fish } = study();
    const host = shown(FishOutline, { fish, condition: results.condition });
    expect(label(host)).toContain('landing, by A');
    const choices = [...host.querySelectorAll<HTMLInputElement>('input[type=radio]')];
    expect(choices).toHaveLength(2);
    choices[1]?.click();
    flushSync();
    expect(label(host)).toContain('landing, by B');
  });

  it('on paper all looks stand in one drawing', () => {
    const { results, fish } = study();
    paper.isPrinting = true;
    const host = shown(FishOutline, { fish, condition: results.condition });
    expectSound(host);
    expect(label(host)).toContain('landing, by A');
    expect(label(host)).toContain('landing, by B');
    expect(host.querySelectorAll('.plot-place text[pointer-events]')).toHaveLength(7 + 9 + 7);
  });

  it('the curve has every standard, the refused ones in words, residuals under it', () => {
    const host = shown(PlateCurve, { plate: plate('P1', 5) });
    expectSound(host);
    const titles = [...host.querySelectorAll('.plot-place title')].map((each) => each.textContent ?? '');
    expect(titles.filter((title) => title.includes('response') && title.includes('refused'))).toHaveLength(2);
    expect([...host.querySelectorAll('.plot-place text')].filter((each) => each.textContent === 'refused')).toHaveLength(1);
    expect([...host.querySelectorAll('.plot-place text')].filter((each) => each.textContent === '//')).toHaveLength(2);
    expect(label(host)).toContain('Standards refused: 12.5');
    expect(host.querySelector('.plot-place')?.textContent).toContain('less 1, %');
  });

  it('the map has every well with its text, excluded ones crossed, and is walked by arrows', () => {
    const host = shown(PlateMap, { plate: plate('P2', -1, 0.14) });
    expectSound(host);
    const wells = [...host.querySelectorAll<SVGElement>('.plot-place .well')];
    expect(wells).toHaveLength(96);
    const names = [...host.querySelectorAll('.plot-place text')].map((each) => each.textContent);
    for (const letter of 'ABCDEFGH') expect(names.filter((name) => name === letter)).toHaveLength(1);
    // Its row's letter stands as high as the well itself, its column's number above it.
    const middleOf = (well?: SVGElement) => /translate\(([\d.]+)[ ,]([\d.]+)\)/.exec(well?.getAttribute('transform') ?? '');
    const letterOf = (name: string) => [...host.querySelectorAll<SVGElement>('.plot-place text')].find((each) => each.textContent === name);
    const last = middleOf(wells.find((well) => (well.getAttribute('aria-label') ?? '').startsWith('H12: ')));
    expect(Number(letterOf('H')?.getAttribute('y'))).toBeCloseTo(Number(last?.[2]) + 4, 6);
    expect(Number(letterOf('12')?.getAttribute('x'))).toBeCloseTo(Number(last?.[1]), 6);
    expect(wells.filter((well) => well.getAttribute('tabindex') === '0')).toHaveLength(1);
    expect(wells.every((well) => (well.getAttribute('aria-label') ?? '').length > 5)).toBe(true);
    expect(host.textContent).toContain('an edge effect');
    const press = (key: string) => (document.activeElement ?? document.body).dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true }));
    wells[0]?.focus();
    for (const key of ['ArrowRight', 'ArrowDown', 'ArrowDown', 'End', 'ArrowRight', 'ArrowUp']) press(key);
    flushSync();
    expect(document.activeElement?.getAttribute('aria-label')).toMatch(/^B12: /);
    expect(host.querySelector('.readout')?.textContent).toMatch(/^B12: /);
    expect(wells.filter((well) => well.getAttribute('tabindex') === '0')).toEqual([document.activeElement]);
  });

  it('arrows step over places without a well', () => {
    const torn = plate('P3');
    torn.wells = torn.wells.filter((well) => well.row === 1 && [1, 6, 12].includes(well.column));
    const host = shown(PlateMap, { plate: torn });
    const wells = [...host.querySelectorAll<SVGElement>('.plot-place .well')];
    wells[0]?.focus();
    const press = (key: string) => (document.activeElement ?? document.body).dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true }));
    for (const key of ['ArrowRight', 'ArrowRight', 'ArrowRight', 'ArrowDown']) press(key);
    expect(document.activeElement).toBe(wells[2]);
    press('Home');
    expect(document.activeElement).toBe(wells[0]);
  });

  it('blood of a later day stretches the first hours', () => {
    const { results, fish } = study();
    fish.condition.draws.push(bloodDraw(at(fish, 900), 900, [bloodValue('lactate', number(2, 'mmol/L', 0.5))]));
    const host = shown(BloodAfterEvent, { results, fish });
    expectSound(host);
    expect(host.querySelector('.plot-place')?.textContent).toContain('stretched early');
  });

  it('a plate of one well is drawn as far as it goes', () => {
    expectSound(shown(PlateMap, { plate: tornPlate() }));
    document.body.replaceChildren();
    expectSound(shown(PlateCurve, { plate: tornPlate() }));
  });

  it('each fish is a point in each panel it has numbers for', () => {
    const { results } = study();
    const host = shown(ConditionPoints, { results });
    expectSound(host);
    const n = results.fish.length;
    expect(label(host)).toContain(`peak against fins at landing, mean level: ${n - 1} fish`);
    expect(label(host)).toContain(`recovery against reflexes lost, % of those tested: ${n - 1} fish`);
    expect(label(host)).toContain(`peak against reflexes lost, % of those tested: ${n} fish`);
  });

  it('a fish that had not recovered is open, with an arrow', () => {
    const { results, fish } = study();
    const hours = fish.metrics.recoveries.find((each) => each.after === 'capture')?.baselines[0]?.hours_by_data;
    if (!hours) throw new Error('fixture without recovery');
    hours.is_at_least = true;
    const host = shown(ConditionPoints, { results });
    expectSound(host);
    expect(host.textContent).toContain('not recovered by then');
  });
});

describe('the invented study', () => {
  const results = fixture();
  it.each(results.fish)('has its figures of $id drawn', (fish) => {
    expectSound(shown(FishTimeline, { fish }));
    document.body.replaceChildren();
    if (fish.condition.draws.length > 0) expectSound(shown(BloodAfterEvent, { results, fish }));
    document.body.replaceChildren();
    if (fish.condition.fins.length > 0) expectSound(shown(FishOutline, { fish, condition: results.condition }));
  });

  it.each(results.condition.plates.filter((each) => each.wells.length > 0))('has plate $id drawn', (one) => {
    expectSound(shown(PlateMap, { plate: one }));
    document.body.replaceChildren();
    if (one.curve.x.length > 0) expectSound(shown(PlateCurve, { plate: one }));
  });

  it('has its fish side by side drawn', () => {
    expectSound(shown(ConditionPoints, { results }));
    document.body.replaceChildren();
    expectSound(shown(BloodAfterEvent, { results }));
  });
});

describe('what is missing', () => {
  it('is said in words, not drawn as an empty frame', () => {
    const { results, fish } = study();
    const empty = { ...fish, condition: bare(), events: [], stays: [] };
    const none = { ...results, fish: [empty], condition: bareStudy() };
    expect(shown(FishTimeline, { fish: empty }).textContent).toContain('Nothing with a time');
    document.body.replaceChildren();
    expect(shown(BloodAfterEvent, { results: none, fish: empty }).textContent).toContain('No blood was drawn of this fish');
    document.body.replaceChildren();
    expect(shown(BloodAfterEvent, { results: none }).textContent).toContain('No blood was drawn');
    document.body.replaceChildren();
    expect(shown(FishOutline, { fish: empty, condition: bareStudy() }).textContent).toContain('were not scored');
    document.body.replaceChildren();
    expect(shown(ConditionPoints, { results: none }).textContent).toContain('No fish has both');
    document.body.replaceChildren();
    const unread = { ...tornPlate(), wells: [], standards: [], unanswered: 'the export is empty' };
    expect(shown(PlateCurve, { plate: unread }).textContent).toContain('the export is empty');
    document.body.replaceChildren();
    expect(shown(PlateMap, { plate: unread }).textContent).toContain('the export is empty');
  });

  it('a fish with scores of its body alone has no numbers on its fins', () => {
    const { results, fish } = study();
    fish.condition.fins = [];
    const host = shown(FishOutline, { fish, condition: results.condition });
    expectSound(host);
    expect(host.querySelectorAll('.plot-place text[pointer-events]')).toHaveLength(9);
    expect(host.querySelector('fieldset')).toBeNull();
  });

  it('values without a minute are named', () => {
    const { results, fish } = study();
    for (const each of results.fish) each.condition.draws = [];
    fish.condition.draws = [bloodDraw(null, null, [bloodValue('lactate', number(5, 'mmol/L'))])];
    expect(shown(BloodAfterEvent, { results, fish }).textContent).toContain(`No value has a minute since hook-up: ${fish.id}`);
  });

  it('a curve of standards that are all refused, without a zero and without a band is drawn', () => {
    const bad = plate('P1', 5);
    bad.standards = bad.standards.filter((each) => each.concentration > 0).map((each) => ({ ...each, is_accepted: false }));
    bad.curve.low = bad.curve.high = [];
    bad.quantified_from = bad.quantified_to = none('no standard accepted');
    bad.residuals = bad.residuals.filter((each) => each.concentration > 0);
    bad.wells = bad.wells.filter((well) => well.kind !== 'zero');
    const host = shown(PlateCurve, { plate: bad });
    expectSound(host);
    expect([...host.querySelectorAll('.plot-place text')].filter((each) => each.textContent === '//')).toHaveLength(0);
  });
});
