// The trace as a drawing that scales: for paper and for saving. On screen a canvas draws the same things faster.
import { oxygenRange, type TraceData } from '../data/trace';
import { hourText, tickHours } from '../data/time_axis';
import { fills } from './patterns';
import { axisColour, frame, Plot, ruleColour } from './plot';

/** All runs of one state as a single shape over the figure's height: a night has hundreds, and a printer that meets a
 *  pattern in each of them writes megabytes. */
function bands(runs: { from: number; to: number }[], fill: string): Plot.Markish {
  return (_index, scales, _values, dimensions) => {
    const path = document.createElementNS('http://www.w3.org/2000/svg', 'path');
    const top = dimensions.marginTop;
    const tall = dimensions.height - dimensions.marginTop - dimensions.marginBottom;
    const x = (hour: number): number => Number(scales.x?.(hour) ?? 0);
    path.setAttribute(
      'd',
      runs.map((run) => `M${x(run.from).toFixed(2)},${top}H${x(run.to).toFixed(2)}v${tall}H${x(run.from).toFixed(2)}Z`).join(''),
    );
    path.setAttribute('fill', fill);
    return path;
  };
}

export function traceSvg(data: TraceData, from: number, to: number, width: number, label: string): SVGSVGElement {
  const [low, high] = oxygenRange(data, from, to);
  const isShort = (data.hours[data.hours.length - 1] ?? 0) - (data.hours[0] ?? 0) < 3;
  const pattern = fills();
  const inside = <T extends { from: number; to: number }>(runs: T[]) =>
    runs.filter((run) => run.to > from && run.from < to).map((run) => ({ ...run, from: Math.max(from, run.from), to: Math.min(to, run.to) }));
  const rows = data.hours.flatMap((hour, i) => (hour >= from && hour <= to ? [{ hour, oxygen: data.oxygen[i] ?? NaN }] : []));
  const fillOf = { flush: pattern.flush, settle: pattern.settle, sealed: 'var(--water)', unknown: 'none' };
  const svg = frame(width, Math.round(Math.min(260, Math.max(170, width * 0.32))), label, {
    marginLeft: 44,
    marginRight: 12,
    marginTop: 28,
    marginBottom: 32,
    x: { domain: [from, to], label: null },
    y: { domain: [low, high], label: null },
    marks: [
      ...(['sealed', 'settle', 'flush'] as const).map((state) =>
        bands(inside(data.states.filter((run) => run.state === state)), fillOf[state]),
      ),
      Plot.gridY({ stroke: ruleColour, strokeOpacity: 1, ticks: 4 }),
      Plot.axisY({ label: null, ticks: 4, tickSize: 0, color: axisColour }),
      Plot.axisX({
        label: null, ticks: tickHours(from, to, Math.max(3, Math.floor(width / 70)), isShort ? 'minutes' : 'hours'), tickSize: 3, color: axisColour,
        tickFormat: (hours: number) => hourText(isShort ? hours * 60 : hours),
      }),
      Plot.text(['↑ O₂, mg/L'], { frameAnchor: 'top-left', dx: -44, dy: -20, fill: axisColour, textAnchor: 'start' }),
      Plot.text([`${isShort ? 'minutes' : 'hours'} in the chamber →`], { frameAnchor: 'bottom-right', dy: 28, textAnchor: 'end', fill: axisColour }),
      Plot.line(rows, { x: 'hour', y: 'oxygen', stroke: 'var(--trace)', strokeWidth: 0.8 }),
      ...[true, false].map((isUsable) =>
        Plot.link(data.fits.filter((fit) => fit.isUsable === isUsable && fit.from >= from && fit.to <= to), {
          x1: 'from', x2: 'to', y1: 'start', y2: 'end', stroke: 'var(--fit)', strokeWidth: 1.6,
          ...(isUsable ? {} : { strokeDasharray: '2 2' }),
        }),
      ),
    ],
  });
  svg.prepend(pattern.defs);
  return svg;
}
