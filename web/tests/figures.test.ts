// @vitest-environment jsdom
// Every figure is mounted with the invented study, and with what may be missing from a real one.
import { beforeAll, describe, expect, it } from 'vitest';
import Accounting from '../src/figures/Accounting.svelte';
import BlanksThroughTime from '../src/figures/BlanksThroughTime.svelte';
import CutOff from '../src/figures/CutOff.svelte';
import Finding from '../src/figures/Finding.svelte';
import FishStory from '../src/figures/FishStory.svelte';
import PairedPeaks from '../src/figures/PairedPeaks.svelte';
import PeakAgainstWindow from '../src/figures/PeakAgainstWindow.svelte';
import Recovery from '../src/figures/Recovery.svelte';
import RestingDistribution from '../src/figures/RestingDistribution.svelte';
import StudyOverview from '../src/figures/StudyOverview.svelte';
import UncertaintyShares from '../src/figures/UncertaintyShares.svelte';
import UptakeThroughTime from '../src/figures/UptakeThroughTime.svelte';
import { traceSvg } from '../src/figures/trace_svg';
import { oxygenRange, stateAt, traceData } from '../src/data/trace';
import type { Finding as Found, Fish } from '../src/data/results';
import { kindOf } from '../src/data/finding';
import { curveOf } from '../src/data/read';
import { drawAt, expectSound, shown } from './drawing';
import { fixture } from './fixture';

const study = fixture();
const fish = study.fish[0] as Fish;
const dead = study.fish.find((each) => each.fate.word === 'died') as Fish;

describe.each([380, 700])('at %i px', (pixels) => {
  beforeAll(() => {
    drawAt(pixels - 24);
  });

  it('uptake through time draws a point for every sealed spell and a word for every event', () => {
    const body = shown(UptakeThroughTime, { fish });
    expectSound(body);
    const spells = fish.stays.reduce((sum, stay) => sum + stay.spells.number.length, 0);
    expect(body.querySelectorAll('.plot-place path title').length).toBeGreaterThanOrEqual(spells);
    const pieces = fish.stays.reduce((sum, stay) => sum + curveOf(stay, fish.time_zero ?? '').length, 0);
    expect(pieces).toBeGreaterThan(spells / 2);
    expect(body.querySelectorAll('[data-mark="area"] path')).toHaveLength(pieces);
    expect(body.textContent).toContain('95 % band');
    for (const event of fish.events) expect(body.textContent).toContain(event.word.replaceAll('_', ' '));
  });

  it('the story of a fish has events, uptake, every analyte and the temperature on one axis', () => {
    const body = shown(FishStory, { fish });
    expectSound(body);
    for (const event of fish.events) expect(body.textContent).toContain(event.word.replaceAll('_', ' '));
    const analytes = new Set(fish.condition.draws.flatMap((draw) => draw.values.map((value) => value.analyte)));
    expect(analytes.size).toBeGreaterThan(0);
    for (const analyte of analytes) expect(body.textContent).toContain(analyte);
    expect(body.textContent).toContain('temperature, °C');
    // Its panel is too narrow for the word on a phone.
    if (pixels > 400) expect(body.textContent).toContain('in hand');
  });

  it('the story of a fish without blood, temperature or a time zero is drawn all the same', () => {
    const bare = structuredClone(fish);
    bare.time_zero = null;
    bare.events = [];
    bare.condition.draws = [];
    for (const stay of bare.stays) stay.trace.temperature_celsius = [];
    expectSound(shown(FishStory, { fish: bare }));
  });

  it('blanks have a row per chamber', () => {
    const night = fish.stays[1];
    if (!night) throw new Error('fixture without a night');
    const body = shown(BlanksThroughTime, { results: { ...study, blanks: [{ ...night, id: 'B1', assembly: 'tube 1' }, { ...night, id: 'B2', assembly: 'tube 2' }] } });
    expectSound(body);
    for (const tube of ['tube 1', 'tube 2']) expect(body.textContent).toContain(tube);
  });

  it('a fish that died is drawn as far as it came', () => {
    const body = shown(UptakeThroughTime, { fish: dead });
    expectSound(body);
    expect(body.textContent).toContain('died');
  });

  it('the resting distribution has a row for every estimator and shows the pick', () => {
    const { resting } = fish.metrics;
    if (!resting) throw new Error('fixture without rest');
    const body = shown(RestingDistribution, { fish, resting });
    expectSound(body);
    expect(body.textContent).toContain('▸ 0.20 quantile');
    expect(body.textContent).toContain('ten lowest');
  });

  it('an estimator that was skipped gives its reason instead', () => {
    const other = structuredClone(fish);
    const resting = other.metrics.resting;
    const skipped = resting?.estimates.find((each) => each.word === 'lowest_normal');
    if (!resting || !skipped) throw new Error('fixture without rest');
    skipped.raw = skipped.corrected = { value: null, unit: 'mg/kg/h', text: 'fewer than 20 values', reason: 'fewer than 20 values' };
    resting.lowest_normal.components = [];
    const body = shown(RestingDistribution, { fish: other, resting });
    expectSound(body);
    expect(body.textContent).toContain('fewer');
  });

  it('the cut-off, the peak and the recovery are drawn', () => {
    const { resting, peaks, recoveries } = fish.metrics;
    const peak = peaks[0];
    const recovery = recoveries[0];
    if (!resting || !peak || !recovery) throw new Error('fixture too small');
    expectSound(shown(CutOff, { fish, resting }));
    document.body.replaceChildren();
    expectSound(shown(PeakAgainstWindow, { fish, peak }));
    document.body.replaceChildren();
    const body = shown(Recovery, { fish, recovery });
    expectSound(body);
    expect(body.textContent).toContain('recovered at');
  });

  it('a recovery that was not reached says so', () => {
    const other = study.fish.find((each) => each.metrics.recoveries[0]?.baselines[0]?.hours_by_data.is_at_least);
    const recovery = other?.metrics.recoveries[0];
    if (!other || !recovery) throw new Error('fixture without a censored recovery');
    expect(shown(Recovery, { fish: other, recovery }).textContent).toContain('not recovered by');
  });

  it('the study is drawn, group by group', () => {
    const body = shown(StudyOverview, { results: study, measure: 'peak_after_capture' });
    expectSound(body);
    for (const group of study.groups) expect(body.textContent).toContain(group.label);
    document.body.replaceChildren();
    expectSound(shown(PairedPeaks, { results: study }));
    document.body.replaceChildren();
    expectSound(shown(Accounting, { accounting: study.accounting }));
    document.body.replaceChildren();
    expectSound(shown(UncertaintyShares, { fish }));
  });
});

const found = (name: string): Found => {
  const finding = study.findings.find((each) => each.name === name);
  if (!finding) throw new Error(`fixture without ${name}`);
  return structuredClone(finding);
};

describe.each([330, 760])('a finding at %i px', (pixels) => {
  beforeAll(() => {
    drawAt(pixels);
  });

  it.each(study.findings.filter((each) => each.unanswered === '').map((each) => each.name))('%s has every row in it', (name) => {
    const finding = found(name);
    const body = shown(Finding, { results: study, finding });
    expectSound(body);
    const titles = [...body.querySelectorAll('.plot-place title')].map((each) => each.textContent ?? '');
    for (const { row } of finding.points) expect(titles.some((title) => title.startsWith(`${row}: `)), row).toBe(true);
    expect(body.querySelector('.plot-place svg')?.getAttribute('aria-label')).toContain(finding.sentence);
    for (const level of finding.levels) expect(body.textContent).toContain(level.replaceAll('_', ' '));
    expect(body.querySelector('button.save')).not.toBeNull();
  });

  it('of groups has each group named above its points, and its estimate under them', () => {
    const finding = found('rig_peak');
    const body = shown(Finding, { results: study, finding });
    const place = (text: string) => {
      const node = [...body.querySelectorAll('.plot-place text')].find((each) => each.textContent?.startsWith(text));
      return Number(/translate\([^,]+,([\d.]+)\)/.exec(node?.getAttribute('transform') ?? '')?.[1]);
    };
    expect(place('single hook, 16 fish')).toBeGreaterThan(0);
    expect(place('treble hooks, 16 fish')).toBeGreaterThan(place('single hook, 16 fish'));
    const titles = [...body.querySelectorAll('.plot-place title')].map((each) => each.textContent);
    for (const group of finding.groups) expect(titles).toContain(`${group.name.replaceAll('_', ' ')}: ${group.text} ${group.unit}`);
  });

  it('says of limits what is known, and opens the point', () => {
    const finding = found('air_lactate');
    const of = (lower: number | null, upper: number | null) => ({ value: null, lower, upper });
    Object.assign(finding.points[0] ?? {}, of(6.5, null));
    Object.assign(finding.points[1] ?? {}, of(null, 2.5));
    const body = shown(Finding, { results: study, finding });
    expectSound(body);
    const titles = [...body.querySelectorAll('.plot-place title')].map((each) => each.textContent);
    expect(titles).toContain('st01: at least 6.5 mmol/L');
    expect(titles).toContain('st02: at most 2.5 mmol/L');
    expect(titles).toContain('st04: between 0 and 2.2 mmol/L');
    expect(body.textContent).toContain('open point');
  });

  it('of pairs joins each fish once and counts those that are higher', () => {
    const finding = found('capture_chase');
    const body = shown(Finding, { results: study, finding });
    expect(body.querySelectorAll('[data-mark="line"] path')).toHaveLength(finding.fish);
    const value = (fish: string, group: string) => finding.points.find((p) => p.fish === fish && p.group === group)?.value ?? NaN;
    const fish = [...new Set(finding.points.map((p) => p.fish))];
    const higher = fish.filter((each) => value(each, 'capture') > value(each, 'chase')).length;
    expect(body.textContent).toContain(`higher with capture: ${higher} of ${fish.length}`);
  });

  it('of scores has a cell per fish and the number of each score that is there', () => {
    const finding = found('rig_reflex');
    const body = shown(Finding, { results: study, finding });
    expect(body.querySelectorAll('.plot-place [data-mark="rect"] rect')).toHaveLength(finding.points.length);
    for (const score of finding.scores) expect(body.textContent).toContain(score);
  });

  it('of times ticks those to whom it had not come', () => {
    const finding = found('rig_recovery');
    const open = finding.points.filter((p) => p.value === null).length;
    expect(open).toBeGreaterThan(0);
    const body = shown(Finding, { results: study, finding });
    expect(body.textContent).toContain('share to whom it has come');
    const titles = [...body.querySelectorAll('.plot-place title')].map((each) => each.textContent ?? '');
    expect(titles.filter((title) => title.includes('at least'))).toHaveLength(open);
  });

  it('of one row, of equal values and of unknown limits is still drawn', () => {
    for (const name of ['rig_peak', 'mass_rest', 'capture_chase']) {
      const finding = found(name);
      finding.points = finding.points.slice(0, 1);
      finding.curves = [];
      for (const group of finding.groups) group.lower = group.upper = null;
      expectSound(shown(Finding, { results: study, finding }));
      document.body.replaceChildren();
    }
    const finding = found('rig_peak');
    for (const point of finding.points) point.value = 400;
    expectSound(shown(Finding, { results: study, finding }));
  });

  it('with an estimate that is open above runs its bar to the edge', () => {
    const finding = found('rig_peak');
    const [group] = finding.groups;
    if (group) group.upper = null;
    expectSound(shown(Finding, { results: study, finding }));
  });
});

describe('the kind of a finding', () => {
  it('is by what was compared and what was found', () => {
    const kinds = Object.fromEntries(study.findings.map((each) => [each.name, kindOf(each)]));
    expect(kinds).toMatchObject({
      rig_peak: 'groups', air_lactate: 'groups', capture_chase: 'pairs', mass_rest: 'slope', rig_reflex: 'scores', rig_recovery: 'times',
      rig_bleeding: 'groups', rig_landings: 'groups',
    });
  });
  it('is no longer pairs where a fish stands twice under one level', () => {
    const finding = found('capture_chase');
    finding.points.push(structuredClone(finding.points[0] as Found['points'][number]));
    expect(kindOf(finding)).toBe('groups');
  });
});

describe('what is missing', () => {
  it('is said in words, not drawn as an empty frame', () => {
    const bare = { ...study, fish: [], groups: [], headlines: [] };
    expect(shown(StudyOverview, { results: bare, measure: 'resting' }).textContent).toContain('No fish has this number');
    document.body.replaceChildren();
    expect(shown(PairedPeaks, { results: bare }).textContent).toContain('No fish has both peaks');
    document.body.replaceChildren();
    expect(shown(Finding, { results: study, finding: { ...found('rig_peak'), points: [] } }).textContent).toContain('No row has a value');
    document.body.replaceChildren();
    expect(shown(Accounting, { accounting: { stages: [], fates: [], notes: [] } }).textContent).toContain('Nothing was recorded');
  });

  it('a study without groups is one row of all fish', () => {
    const one = { ...study, groups: [] };
    expect(shown(StudyOverview, { results: one, measure: 'resting' }).textContent).toContain('all fish');
  });
});

describe('a trace', () => {
  const stay = fish.stays[0];
  if (!stay) throw new Error('fixture without a stay');
  const data = traceData(stay);
  it('knows its states and its range', () => {
    const run = data.states[1];
    if (!run) throw new Error('fixture without states');
    expect(stateAt(data, (run.from + run.to) / 2)).toBe(run.state);
    expect(stateAt(data, -5)).toBe('');
    const [low, high] = oxygenRange(data, 0, 99);
    const values = data.oxygen.filter((v): v is number => v !== null);
    expect(low).toBeLessThan(Math.min(...values));
    expect(high).toBeGreaterThan(Math.max(...values));
    expect(oxygenRange(data, 500, 600)).toEqual([0, 1]);
  });
  it('is a drawing with a shape per state and a line per sealed spell', () => {
    const host = document.createElement('div');
    host.append(traceSvg(data, data.hours[0] ?? 0, data.hours.at(-1) ?? 1, 700, 'trace'));
    expect(host.innerHTML).not.toMatch(/NaN|undefined/);
    expect(host.querySelectorAll('pattern').length).toBeGreaterThanOrEqual(2);
    expect(host.querySelectorAll('[stroke="var(--fit)"] path, [stroke="var(--fit)"] line').length).toBe(data.fits.length);
  });
});
