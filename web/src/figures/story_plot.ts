// One fish on one time axis: handling and events, uptake with its band, blood against its published range, temperature.
import type { BloodDraw, BloodValue, Fish } from '../data/results';
import { hoursBetween, quantityText, spoken } from '../data/read';
import type { Panel } from '../data/time_axis';
import { lapseText, timelineOf, type Span } from '../data/timeline';
import { fills, limitArrow, ring, spanFills } from './patterns';
import { axisColour, frame, Plot, ruleColour } from './plot';
import { element, hint, together, type Placed } from './svg';
import { eventLanes, fishAxis, type FishAxis, uptakeMargins, uptakePlot, uptakeRoof } from './uptake_plot';

const spanHeight = 26;
const bloodHeight = 64;
const temperatureHeight = 62;

/** From the first thing done to the fish to its first chamber: stretched, because things happen fast there. */
export function handlingPanel(fish: Fish): Panel[] {
  const hours = fish.events.flatMap((event) => (event.hours === null ? [] : [event.hours]));
  const first = Math.min(0, ...hours);
  const zero = fish.time_zero;
  const stay = fish.stays.find((each) => each.from !== null);
  if (zero === null || !stay?.from) return [];
  const end = hoursBetween(zero, stay.from);
  return end > first ? [{ from: first, to: end, label: 'in hand', weight: 0.4 }] : [];
}

/** Bars of what lasted: played, in hand, in the air, chased; two lanes, as a chase happens within a stay. */
function spanLane(fish: Fish, spans: Span[], width: number, { axis, inner }: FishAxis): SVGSVGElement {
  const svg = element('svg', { width, height: spanHeight }) as SVGSVGElement;
  const pattern = spanFills();
  svg.append(pattern.defs);
  const x = (minutes: number) => uptakeMargins.marginLeft + inner * axis.place(minutes / 60);
  for (const span of spans) {
    const left = x(span.from);
    const isChamber = span.kind === 'chamber';
    svg.append(
      element(
        'rect',
        {
          x: left, width: Math.max(2, x(span.to) - left), y: isChamber ? 14 : 2, height: isChamber ? 9 : 11,
          fill: pattern.of[span.kind], stroke: 'var(--line-strong)', 'stroke-width': 0.8,
        },
        hint(`${fish.id}: ${span.title}, ${lapseText(span.to - span.from)}`),
      ),
    );
  }
  return svg;
}

interface BloodMark {
  at: number;
  hours: number;
  value: BloodValue;
  open: '' | 'below' | 'above';
}

interface BloodLane {
  title: string;
  marks: BloodMark[];
}

/** A lane per analyte and matrix, in the order met; what has no time or neither value nor limit has no place here. */
export function bloodLanes(fish: Fish, zero: string): BloodLane[] {
  const lanes = new Map<string, BloodLane>();
  const add = (draw: BloodDraw, value: BloodValue) => {
    const at = value.value.value ?? value.below ?? value.above;
    if (draw.at === null || at === null) return;
    const title = `${spoken(value.analyte)}, ${value.value.unit || value.range_low.unit}, ${spoken(value.matrix)}`;
    const lane = lanes.get(title) ?? { title, marks: [] };
    lanes.set(title, lane);
    const open = value.value.value !== null ? '' : value.below !== null ? 'below' : 'above';
    lane.marks.push({ at, hours: hoursBetween(zero, draw.at), value, open });
  };
  for (const draw of fish.condition.draws) for (const value of draw.values) add(draw, value);
  return [...lanes.values()];
}

function bloodLane(lane: BloodLane, width: number, on: FishAxis): SVGSVGElement {
  const range = lane.marks.find((mark) => mark.value.range_high.value !== null)?.value;
  const highest = Math.max(...lane.marks.map((mark) => Math.max(mark.at, mark.value.value.interval?.high ?? 0)));
  const top = Math.max(highest, Math.min(range?.range_high.value ?? 0, 2.5 * highest)) * 1.3 || 1;
  const pattern = fills();
  const x = (mark: BloodMark) => on.axis.place(mark.hours);
  const known = lane.marks.filter((mark) => mark.open === '');
  const svg = frame(width, bloodHeight, lane.title, {
    ...uptakeMargins,
    marginTop: 16,
    marginBottom: 6,
    x: { domain: [0, 1], axis: null },
    y: { domain: [0, top], label: null },
    marks: [
      Plot.rect(on.axis.panels, { x1: 'left', x2: 'right', y1: 0, y2: top, fill: 'var(--sheet)' }),
      ...(range
        ? [Plot.rect([range], { x1: 0, x2: 1, y1: range.range_low.value ?? 0, y2: Math.min(top, range.range_high.value ?? top), fill: pattern.range })]
        : []),
      Plot.ruleY([0], { stroke: ruleColour }),
      Plot.axisY({ label: null, ticks: 2, tickSize: 0, color: axisColour }),
      Plot.text([lane.title], { frameAnchor: 'top-left', dx: -42, dy: -14, textAnchor: 'start', fill: 'var(--ink)' }),
      Plot.link(known.filter((mark) => mark.value.value.interval), {
        x1: x, x2: x, y1: (m: BloodMark) => m.value.value.interval?.low ?? 0, y2: (m: BloodMark) => m.value.value.interval?.high ?? 0, stroke: 'var(--trace)',
      }),
      Plot.dot(known, {
        x, y: 'at', r: 3.4, symbol: ring, fill: 'var(--trace)', stroke: 'var(--paper)', title: (m: BloodMark) => quantityText(m.value.value),
      }),
      ...(['below', 'above'] as const).map((open) =>
        Plot.dot(lane.marks.filter((mark) => mark.open === open), {
          x, y: 'at', symbol: limitArrow(open), fill: 'var(--paper)', stroke: 'var(--trace)', title: (m: BloodMark) => m.value.value.text,
        }),
      ),
      Plot.text(lane.marks, {
        x, y: 'at', text: (m: BloodMark) => (m.open === '' ? (m.value.value.text.split(' ')[0] ?? '') : `${m.open} ${m.at.toPrecision(2)}`),
        dx: 8, textAnchor: 'start', fontSize: 11, fill: 'var(--ink)', stroke: 'var(--paper)', strokeWidth: 3,
      }),
    ],
  });
  svg.prepend(pattern.defs);
  return svg;
}

/** Temperature of each stay, as many points as can be told apart. */
function temperatures(fish: Fish, zero: string): { hours: number; celsius: number }[][] {
  return fish.stays.map((stay) => {
    const { trace } = stay;
    const start = hoursBetween(zero, trace.from);
    const step = Math.max(1, Math.ceil(trace.temperature_celsius.length / 300));
    return trace.temperature_celsius.flatMap((celsius, i) => {
      const at = trace.at_s[i];
      return celsius === null || at === null || at === undefined || i % step !== 0 ? [] : [{ hours: start + at / 3600, celsius }];
    });
  });
}

function temperatureLane(runs: { hours: number; celsius: number }[][], width: number, on: FishAxis): SVGSVGElement {
  const all = runs.flat().map((point) => point.celsius);
  const low = Math.floor(Math.min(...all) * 2 - 0.4) / 2;
  const high = Math.ceil(Math.max(...all) * 2 + 0.4) / 2;
  return frame(width, temperatureHeight, 'Temperature in the chamber, °C', {
    ...uptakeMargins,
    marginTop: 18,
    marginBottom: 8,
    x: { domain: [0, 1], axis: null },
    y: { domain: [low, high], label: null },
    marks: [
      Plot.rect(on.axis.panels, { x1: 'left', x2: 'right', y1: low, y2: high, fill: 'var(--sheet)' }),
      Plot.axisY({ label: null, ticks: 2, tickSize: 0, color: axisColour }),
      Plot.text(['temperature, °C'], { frameAnchor: 'top-left', dx: -42, dy: -15, textAnchor: 'start', fill: 'var(--ink)' }),
      ...runs.map((run) =>
        Plot.line(run, { x: (p: (typeof run)[number]) => on.axis.place(p.hours), y: 'celsius', stroke: 'var(--trace)', strokeWidth: 1.2 }),
      ),
    ],
  });
}

/** The whole story for a width in pixels. `beside` is the fish that stands next to it: both have one uptake axis and stand
 *  at one height. */
export function storyPlot(fish: Fish, width: number, colour: string, beside?: Fish): SVGSVGElement {
  const axisOf = (each: Fish) => fishAxis(each, width, handlingPanel(each));
  const on = axisOf(fish);
  const both = beside ? { top: Math.max(uptakeRoof(fish), uptakeRoof(beside)), leastLanes: eventLanes(beside, axisOf(beside)) } : {};
  const { spans } = timelineOf(fish);
  const lanes = bloodLanes(fish, on.zero);
  const runs = temperatures(fish, on.zero).filter((run) => run.length > 1);
  const parts: SVGSVGElement[] = [uptakePlot(fish, { width, colour, on, ...both })];
  if (spans.length > 0) parts.push(spanLane(fish, spans, width, on));
  parts.push(...lanes.map((lane) => bloodLane(lane, width, on)));
  if (runs.length > 0) parts.push(temperatureLane(runs, width, on));
  let y = 0;
  const placed: Placed[] = parts.map((svg) => {
    const here = { svg, x: 0, y };
    y += Number(svg.getAttribute('height')) + 6;
    return here;
  });
  return together(width, y, `${fish.id} through time: events, uptake, blood and temperature on one axis`, placed);
}
