// @vitest-environment jsdom
import { describe, expect, it } from 'vitest';
import { bloodPanels, bloodTop } from '../src/data/blood';
import { lookLines, markLines, outlineLooks } from '../src/data/outline';
import { logTicks, readTicks, residualPercent, signed, standardPoints, wellText } from '../src/data/plate';
import { bursts, lapseText, timelineOf } from '../src/data/timeline';
import type { Fish, PlateWell, Results } from '../src/data/results';
import { areaShapes, finShapes, sideOf } from '../src/figures/outline_shapes';
import { levelFills, shapePath, ring } from '../src/figures/patterns';
import { bare, bareStudy, bloodDraw, bloodValue, body, fate, finScale, fins, look, none, number, plate, tornPlate } from './condition_fixture';
import { fixture } from './fixture';

function study(): { results: Results; fish: Fish } {
  const results = fixture();
  results.condition = bareStudy();
  for (const each of results.fish) each.condition = bare();
  const [fish] = results.fish;
  if (!fish) throw new Error('fixture without fish');
  return { results, fish };
}

const after = (fish: Fish, minutes: number): string => new Date(Date.parse(fish.time_zero ?? '') + minutes * 60000).toISOString();

describe('what happened to a fish', () => {
  it('has each event at its minute since hook-up, in order', () => {
    const { fish } = study();
    const { steps, zeroTitle } = timelineOf(fish);
    expect(zeroTitle).toBe('hook-up');
    const landed = steps.find((step) => step.title === 'landed');
    expect(landed?.minutes).toBeCloseTo(2.6, 6); // 15:02:10 to 15:04:46
    expect(steps.map((step) => step.minutes)).toEqual(steps.map((step) => step.minutes).sort((a, b) => a - b));
  });

  it('has what lasted from its first event to its second', () => {
    const { fish } = study();
    const event = fish.events[0];
    if (!event) throw new Error('fish without events');
    fish.events.push({ ...event, word: 'air_start', at: after(fish, 3) }, { ...event, word: 'air_end', at: after(fish, 3.5) });
    const { spans } = timelineOf(fish);
    const of = (kind: string) => spans.filter((span) => span.kind === kind).map(({ from, to }) => [Number(from.toFixed(3)), Number(to.toFixed(3))]);
    expect(of('played')).toEqual([[0, 2.6]]);
    expect(of('in_hand')).toEqual([[2.6, 4]]);
    expect(of('air')).toEqual([[3, 3.5]]);
    expect(of('chase')).toHaveLength(1);
    expect(of('chamber')).toHaveLength(fish.stays.length);
  });

  it('draws no air from a start without an end', () => {
    const { fish } = study();
    const event = fish.events[0];
    if (!event) throw new Error('fish without events');
    fish.events.push({ ...event, word: 'air_start', at: after(fish, 3) });
    expect(timelineOf(fish).spans.filter((span) => span.kind === 'air')).toEqual([]);
  });

  it('tells a draw and its event once, with what the sheet knows', () => {
    const { fish } = study();
    fish.condition.draws = [bloodDraw(after(fish, 66), 66, []), bloodDraw(null, null, [])];
    const { steps, undated } = timelineOf(fish);
    expect(steps.filter((step) => step.title === 'blood').map((step) => step.detail)).toEqual(['0.6 mL, 0.74 mL/kg']);
    expect(undated).toEqual(['blood, 0.6 mL, 0.74 mL/kg']);
  });

  it('leaves open when a fish died between two looks', () => {
    const { fish } = study();
    fish.condition.fate = fate({ ending: 'dead', last_alive: after(fish, 900), found_dead: after(fish, 1500), stage: 'after_release', cause: 'gull' });
    const { steps, spans } = timelineOf(fish);
    expect(spans.find((span) => span.kind === 'died_between')).toMatchObject({ from: 900, to: 1500 });
    expect(steps.map((step) => step.title).slice(-2)).toEqual(['last known alive', 'found dead']);
    expect(steps.at(-1)?.detail).toBe('stage: after release, gull');
  });

  it('breaks the axis where more than twenty minutes lie between', () => {
    const at = (minutes: number) => ({ minutes, title: '', detail: '', uncertainty: 0 });
    expect(bursts([0, 4, 24, 44.1, 300].map(at)).map((burst) => burst.map((step) => step.minutes))).toEqual([[0, 4, 24], [44.1], [300]]);
    expect(bursts([])).toEqual([]);
  });

  it('says lengths of time in the unit they are read in', () => {
    expect([-0.4, 0, 2.6, 9.96, 67.2, 346, 1439.8, 41040].map(lapseText)).toEqual([
      '−24 s', '0 s', '2.6 min', '10 min', '67 min', '5 h 46 min', '24 h 00 min', '28.5 d',
    ]);
  });
});

describe('blood', () => {
  it('stands at its minute with its 95 % interval, a limit at its limit', () => {
    const { results, fish } = study();
    fish.condition.draws = [
      bloodDraw(after(fish, 62), 62, [
        bloodValue('lactate', number(5, 'mmol/L', 0.5)),
        bloodValue('cortisol', none('below 3.1 ng/mL', 'ng/mL'), { below: 3.1 }),
        bloodValue('glucose', none('not measured', 'mmol/L')),
      ]),
    ];
    const panels = bloodPanels(results, fish);
    expect(panels.map((panel) => panel.analyte)).toEqual(['lactate', 'cortisol']);
    const [value] = panels[0]?.points ?? [];
    expect(value).toMatchObject({ at: 5, minutes: 62, open: '' });
    // 1.96: the normal distribution's 0.975 quantile
    expect(value?.low).toBeCloseTo(4.02, 6);
    expect(value?.high).toBeCloseTo(5.98, 6);
    expect(panels[1]?.points[0]).toMatchObject({ at: 3.1, low: 3.1, high: 3.1, open: 'below', text: 'below 3.1 ng/mL' });
  });

  it('keeps matrices apart, and says which value has no minute', () => {
    const { results, fish } = study();
    fish.condition.draws = [
      bloodDraw(null, null, [bloodValue('lactate', number(5, 'mmol/L'))]),
      bloodDraw(after(fish, 62), 62, [bloodValue('lactate', number(6, 'mmol/L'), { matrix: 'whole_blood' })]),
    ];
    const panels = bloodPanels(results);
    expect(panels.map((panel) => [panel.matrix, panel.points.length, panel.untimed])).toEqual([['plasma', 0, [fish.id]], ['whole_blood', 1, []]]);
  });

  it('is not squeezed by a published range that is far wider', () => {
    const { results, fish } = study();
    fish.condition.draws = [bloodDraw(after(fish, 62), 62, [bloodValue('cortisol', number(60, 'ng/mL'), { range_high: number(800, 'ng/mL') })])];
    const [panel] = bloodPanels(results, fish);
    if (!panel) throw new Error('no panel');
    expect(bloodTop(panel)).toBeCloseTo(60 * 2.5 * 1.08, 6);
    panel.range = { low: 0, high: 100 };
    expect(bloodTop(panel)).toBeCloseTo(108, 6);
  });
});

describe('looks at a fish', () => {
  it('put fins and body of one occasion and scorer together, in the order of occasions', () => {
    const condition = bare();
    condition.fins = [look('after_holding', 'A', fins([1])), look('landing', 'A', fins([0, 1])), look('landing', 'B', fins([0, 2]))];
    condition.body = [look('landing', 'B', body(1))];
    const looks = outlineLooks(condition);
    expect(looks.map((each) => [each.title, each.fins !== null, each.body !== null])).toEqual([
      ['landing, by A', true, false], ['landing, by B', true, true], ['after holding, by A', true, false],
    ]);
  });

  it('of one scorer twice on one occasion are both there', () => {
    const condition = bare();
    condition.fins = [look('landing', '', fins([0])), look('landing', '', fins([3]))];
    expect(outlineLooks(condition).map((each) => each.title)).toEqual(['landing', 'landing']);
  });

  it('say why there is no mean, and each mark', () => {
    const condition = bare();
    condition.fins = [look('landing', 'A', fins([0, 2], ['split', 'net marks']))];
    const [one] = outlineLooks(condition);
    if (!one) throw new Error('no look');
    expect(lookLines(one)).toEqual(['fins: no mean (too few scored), worst 2']);
    expect(markLines(one)).toEqual(['caudal: split, net marks']);
  });

  it('know every place of the sheets', () => {
    const fishFins = ['dorsal', 'caudal', 'anal', 'left_pectoral', 'right_pectoral', 'left_pelvic', 'right_pelvic', 'adipose'];
    for (const word of fishFins) expect(finShapes[sideOf(word).shape], word).toBeDefined();
    for (const word of ['head', 'back', 'left_flank', 'right_flank', 'belly', 'tail']) expect(areaShapes[sideOf(word).shape], word).toBeDefined();
    expect(sideOf('right_pelvic')).toEqual({ side: 'right', shape: 'pelvic' });
    expect(sideOf('dorsal')).toEqual({ side: 'left', shape: 'dorsal' });
  });
});

describe('an assay plate', () => {
  it('has every standard’s well, those refused and those excluded among them', () => {
    const bad = plate('P1', 5);
    const points = standardPoints(bad);
    const count = (look: string) => points.filter((point) => point.look === look).length;
    expect([count('accepted'), count('refused'), count('zero'), count('excluded')]).toEqual([13, 2, 2, 1]);
    expect(points.find((point) => point.look === 'excluded')).toMatchObject({ well: 'H2', concentration: 50, why: 'pipetted twice' });
    expect(points.find((point) => point.look === 'refused')?.why).toBe('recovery 62 %');
    expect(standardPoints(tornPlate())).toHaveLength(1);
  });

  it('reads samples in the well, before the dilution is undone', () => {
    const ticks = readTicks(plate('P1'));
    expect(ticks[0]).toMatchObject({ label: 'S3 diluted 2 times', concentration: 0.5 });
    expect(ticks.filter((tick) => tick.concentration === null)).toHaveLength(1);
  });

  it('takes residuals of logarithms for per cent', () => {
    const well = (residual: number | null) => ({ residual }) as PlateWell;
    expect(residualPercent(well(Math.log(1.1)))).toBeCloseTo(10, 9);
    expect(residualPercent(well(Math.log(0.8)))).toBeCloseTo(-20, 9);
    expect(residualPercent(well(null))).toBeNull();
    expect([signed(4.12), signed(-20)]).toEqual(['+4.1 %', '−20.0 %']);
  });

  it('says of each well what it is', () => {
    const one = plate('P1');
    const text = (name: string) => wellText(one, one.wells.find((well) => well.name === name) as PlateWell);
    expect(text('A1')).toMatch(/^A1: standard 0\.39 ng\/mL, response [\d.]+, [+−][\d.]+ % against the mean of its replicates$/);
    expect(text('E7')).toContain('excluded: bubble');
    expect(text('H12')).toBe('H12: empty');
    expect(text('C3')).toBe('C3: blank, response 0.05');
  });

  it('has ticks at round concentrations with room between', () => {
    const pixel = (value: number) => 100 * Math.log10(value);
    expect(logTicks(0.4, 60, pixel, 60)).toEqual([1, 10, 50]);
    expect(logTicks(0.4, 60, pixel, 30)).toEqual([0.5, 1, 2, 5, 10, 20, 50]);
    expect(logTicks(0.4, 60, pixel, 75)).toEqual([1, 10]);
    expect(logTicks(3, 3, pixel, 30)).toEqual([]);
  });
});

describe('patterns of levels', () => {
  it('differ from step to step, unhurt plain', () => {
    for (const levels of [2, 3, finScale.length, 5]) {
      const { of } = levelFills(levels);
      const drawn = Array.from({ length: levels }, (_, level) => of(level).replace(/pattern-\d+/, ''));
      expect(new Set(drawn).size).toBe(levels);
      expect(drawn[0]).toBe('var(--paper)');
    }
  });
});

it('a shape is the same as a path', () => {
  expect(shapePath(ring, Math.PI * 16)).toBe('M4,0A4,4 0 0 1 -4,0A4,4 0 0 1 4,0');
});
