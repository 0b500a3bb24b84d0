// A fish's uptake through time as a drawing: a panel per stay, so that the first hour, the night and the hour after the
// chase can all be read; its events above.
import type { Fish } from '../data/results';
import { curveOf, type CurvePoint, seconds, spellPoints, spoken, zeroOf } from '../data/read';
import { lanes, timeAxis, type Panel, type TimeAxis } from '../data/time_axis';
import { axisColour, frame, markedPoints, Plot, roof, ruleColour } from './plot';

const laneHeight = 13;
const letterWidth = 6.1;

/** A panel per stay. */
function panelsOf(fish: Fish, zero: string): Panel[] {
  return fish.stays.flatMap((stay) =>
    stay.from !== null && stay.to !== null
      ? [
          {
            from: (seconds(stay.from) - seconds(zero)) / 3600,
            to: (seconds(stay.to) - seconds(zero)) / 3600,
            label: `${spoken(stay.roles[0]?.role ?? '')}, ${stay.assembly}`,
            weight: stay.roles.some((each) => each.role === 'rest') ? 2 : 1,
          },
        ]
      : [],
  );
}

export const uptakeMargins = { marginLeft: 44, marginRight: 20 };

export interface FishAxis {
  axis: TimeAxis;
  /** pixels between the margins */
  inner: number;
  /** where the hours count from */
  zero: string;
}

/** The time axis of a fish for a width in pixels; `before` are panels of its own before the first stay. */
export function fishAxis(fish: Fish, width: number, before: Panel[] = []): FishAxis {
  const zero = zeroOf(fish) ?? '1970-01-01T00:00:00Z';
  const inner = width - uptakeMargins.marginLeft - uptakeMargins.marginRight;
  return { axis: timeAxis([...before, ...panelsOf(fish, zero)], 22 / inner, inner / 46), inner, zero };
}

/** The highest value worth showing of a fish. The band may run wide at a spell's ends: it is cut there rather than shrink
 *  what matters. */
export function uptakeRoof(fish: Fish): number {
  const zero = zeroOf(fish) ?? '1970-01-01T00:00:00Z';
  const points = fish.stays.flatMap((stay) => spellPoints(stay, zero, fish.metrics.drawn_unit));
  const curves = fish.stays.flatMap((stay) => curveOf(stay, zero));
  return roof([...points.map((p) => p.uptake + p.uncertainty), ...curves.flat().map((p) => p.uptake)]);
}

/** Where the events' words stand: their places along the axis and the lane of each. */
function placedEvents(fish: Fish, { axis, inner }: FishAxis) {
  const events = fish.events
    .flatMap((event) => (event.hours === null ? [] : [{ hours: event.hours, word: spoken(event.word) }]))
    .map((event) => ({ ...event, at: axis.place(event.hours) * inner }))
    .sort((a, b) => a.at - b.at)
    .map((event) => {
      const width = event.word.length * letterWidth;
      // A label that would leave the figure on the right ends at its place instead.
      const isFlipped = event.at + width > inner;
      return { ...event, width, isFlipped };
    });
  const lane = lanes(events.map((e) => ({ at: e.isFlipped ? e.at - e.width : e.at, width: e.width + 4 })), 4);
  return { events, lane, count: Math.max(0, ...lane.map((each) => each + 1)) };
}

/** How many lanes the words of a fish's events take. */
export const eventLanes = (fish: Fish, on: FishAxis): number => placedEvents(fish, on).count;

export interface UptakeLook {
  width: number;
  colour: string;
  /** the fish's own axis where nothing is said */
  on?: FishAxis;
  /** of the uptake axis; the fish's own where nothing is said */
  top?: number;
  /** room for so many lanes of events at least: two fish side by side stand at one height */
  leastLanes?: number;
}

export function uptakePlot(fish: Fish, { width, colour, on, top = uptakeRoof(fish), leastLanes = 0 }: UptakeLook): SVGSVGElement {
  const { axis, inner, zero } = on ?? fishAxis(fish, width);
  const margins = uptakeMargins;
  const unit = fish.metrics.drawn_unit;
  const points = fish.stays.flatMap((stay) => spellPoints(stay, zero, unit));
  const curves = fish.stays.flatMap((stay) => curveOf(stay, zero));
  const { events, lane, count } = placedEvents(fish, { axis, inner, zero });
  const laneCount = Math.max(count, leastLanes);
  const marginTop = 30 + laneCount * laneHeight;
  const height = marginTop + Math.min(300, Math.max(200, width * 0.42)) + 40;
  const placed = events.map((event, i) => ({ ...event, x: event.at / inner, lift: (lane[i] ?? 0) * laneHeight + 8 }));
  const resting = fish.metrics.resting?.[unit === 'mg/kg/h' ? 'uptake_mg_per_kg_h' : 'uptake_mg_per_h'].value ?? null;
  return frame(width, height, `Uptake of ${fish.id} through time, ${unit}`, {
    ...margins,
    marginTop,
    marginBottom: 40,
    x: { domain: [0, 1], axis: null },
    y: { domain: [0, top], label: null },
    marks: [
      Plot.rect(axis.panels, { x1: 'left', x2: 'right', y1: 0, y2: top, fill: 'var(--sheet)' }),
      Plot.gridY({ stroke: ruleColour, strokeOpacity: 1, ticks: 5 }),
      Plot.axisY({ label: null, ticks: 5, tickSize: 0, color: axisColour }),
      Plot.text([`↑ ${unit}`], {
        frameAnchor: 'top-left', dx: -margins.marginLeft, dy: -marginTop + 8, fill: axisColour, textAnchor: 'start',
      }),
      ...(resting === null
        ? []
        : [
            Plot.ruleY([resting], { stroke: 'var(--fit)', strokeDasharray: '5 3' }),
            Plot.text([resting], {
              x: 1, y: resting, text: () => 'rest', dy: -6, textAnchor: 'end', fill: 'var(--fit)', stroke: 'var(--sheet)',
              strokeWidth: 3,
            }),
          ]),
      Plot.link(placed, {
        x1: 'x', x2: 'x', y1: 0, y2: top, stroke: 'var(--line-strong)', strokeWidth: 0.8, strokeDasharray: '1 2',
      }),
      ...placed.flatMap((event) => [
        Plot.text([event], {
          x: 'x', y: top, text: 'word', dy: -event.lift, dx: event.isFlipped ? -3 : 3, fontSize: 11,
          textAnchor: event.isFlipped ? 'end' : 'start', fill: 'var(--ink)',
        }),
        Plot.text([event], { x: 'x', y: top, text: () => '|', dy: -event.lift, fontSize: 9, fill: 'var(--line-strong)' }),
      ]),
      ...curves.flatMap((curve) => [
        Plot.areaY(curve, {
          x: (p: CurvePoint) => axis.place(p.hours), y1: (p: CurvePoint) => Math.max(0, Math.min(top, p.low)),
          y2: (p: CurvePoint) => Math.max(0, Math.min(top, p.high)), fill: colour, fillOpacity: 0.22,
        }),
        Plot.lineY(curve, {
          x: (p: CurvePoint) => axis.place(p.hours), y: (p: CurvePoint) => Math.max(0, p.uptake), stroke: colour, strokeWidth: 1,
          strokeOpacity: 0.8,
        }),
      ]),
      Plot.link(points, {
        x1: (p: (typeof points)[number]) => axis.place(p.hours), x2: (p: (typeof points)[number]) => axis.place(p.hours),
        y1: (p: (typeof points)[number]) => p.uptake - p.uncertainty, y2: (p: (typeof points)[number]) => p.uptake + p.uncertainty,
        stroke: colour, strokeWidth: 1, strokeOpacity: 0.55,
      }),
      ...markedPoints(
        points.map((p) => ({
          x: axis.place(p.hours),
          y: p.uptake,
          mark: p.mark,
          title: `spell ${p.number}, ${p.stay.id}: ${p.uptake.toFixed(0)} ± ${p.uncertainty.toFixed(0)} ${unit}, ${p.mark}${p.reasons ? `: ${p.reasons}` : ''}`,
        })),
        colour,
      ),
      Plot.text(axis.ticks, { x: 'at', y: 0, text: 'label', dy: 10, fill: axisColour }),
      Plot.text(axis.panels, {
        x: (p: (typeof axis.panels)[number]) => (p.left + p.right) / 2, y: 0,
        text: (p: (typeof axis.panels)[number]) => fit(p.label, (p.right - p.left) * inner), dy: 25, fill: 'var(--ink)',
      }),
    ],
  });
}

/** Cut to what the panel is wide enough for. */
function fit(label: string, room: number): string {
  const most = Math.floor(room / letterWidth);
  return label.length <= most ? label : label.split(', ').find((part) => part.length <= most) ?? '';
}
