// @vitest-environment jsdom
// Every figure is mounted with the invented study, and with what may be missing from a real one.
import { flushSync, mount, unmount, type Component } from 'svelte';
import { afterEach, beforeAll, describe, expect, it } from 'vitest';
import Accounting from '../src/figures/Accounting.svelte';
import CutOff from '../src/figures/CutOff.svelte';
import PairedPeaks from '../src/figures/PairedPeaks.svelte';
import PeakAgainstWindow from '../src/figures/PeakAgainstWindow.svelte';
import Recovery from '../src/figures/Recovery.svelte';
import RestingDistribution from '../src/figures/RestingDistribution.svelte';
import StudyOverview from '../src/figures/StudyOverview.svelte';
import UncertaintyShares from '../src/figures/UncertaintyShares.svelte';
import UptakeThroughTime from '../src/figures/UptakeThroughTime.svelte';
import { traceSvg } from '../src/figures/trace_svg';
import { oxygenRange, stateAt, traceData } from '../src/data/trace';
import type { Fish } from '../src/data/results';
import { curveOf } from '../src/data/read';
import { fixture } from './fixture';

let width = 600;

beforeAll(() => {
  // jsdom lays nothing out: give every element the width of the moment.
  Object.defineProperty(HTMLElement.prototype, 'clientWidth', { get: () => width, configurable: true });
  globalThis.ResizeObserver = class {
    private readonly tell: ResizeObserverCallback;
    constructor(tell: ResizeObserverCallback) {
      this.tell = tell;
    }
    observe(target: Element) {
      this.tell([{ target } as ResizeObserverEntry], this as unknown as ResizeObserver);
    }
    unobserve() {}
    disconnect() {}
  };
});

let mounted: Record<string, unknown> | undefined;
afterEach(async () => {
  if (mounted) await unmount(mounted);
  mounted = undefined;
  document.body.replaceChildren();
});

function shown<Props extends Record<string, unknown>>(figure: Component<Props>, props: Props): HTMLElement {
  mounted = mount(figure, { target: document.body, props });
  flushSync();
  return document.body;
}

/** Numbers in a drawing that are no numbers would be drawn nowhere, silently. */
function expectSound(body: HTMLElement) {
  const svg = body.querySelector('.plot-place svg');
  expect(svg, 'nothing was drawn').not.toBeNull();
  for (const node of svg?.querySelectorAll('*') ?? []) {
    for (const attribute of node.attributes) {
      expect(attribute.value, `${node.tagName} ${attribute.name}`).not.toMatch(/NaN|undefined|Infinity/);
    }
  }
}

const study = fixture();
const fish = study.fish[0] as Fish;
const dead = study.fish.find((each) => each.fate.word === 'died') as Fish;

describe.each([380, 700])('at %i px', (pixels) => {
  beforeAll(() => {
    width = pixels - 24;
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

describe('what is missing', () => {
  it('is said in words, not drawn as an empty frame', () => {
    const bare = { ...study, fish: [], groups: [], headlines: [] };
    expect(shown(StudyOverview, { results: bare, measure: 'resting' }).textContent).toContain('No fish has this number');
    document.body.replaceChildren();
    expect(shown(PairedPeaks, { results: bare }).textContent).toContain('No fish has both peaks');
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
