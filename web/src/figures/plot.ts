// What every Plot figure of ours shares.
import * as Plot from '@observablehq/plot';
import { barredRing, halfDisc, ring } from './patterns';

export { Plot };

export const ruleColour = 'var(--line)';
export const axisColour = 'var(--ink-soft)';

/** Sizes and style; a figure adds its marks and scales. `label` says in one sentence what is seen, for those who hear it. */
export function frame(width: number, height: number, label: string, options: Plot.PlotOptions): SVGSVGElement {
  const plot = Plot.plot({
    width,
    height,
    ariaLabel: label,
    className: 'drawn',
    style: { background: 'none', color: 'var(--ink)', fontFamily: 'inherit', fontSize: '12px', overflow: 'visible' },
    ...options,
  });
  const svg = plot instanceof SVGSVGElement ? plot : plot.querySelector('svg');
  if (!svg) throw new Error('no figure came out');
  svg.setAttribute('role', 'img');
  // Its rules stand in figures.css: a content policy refuses style elements made by a script.
  for (const rules of svg.querySelectorAll('style')) rules.remove();
  // The whole is one image with one sentence; its groups have no role that a label could belong to.
  for (const group of svg.querySelectorAll('g[aria-label]')) {
    group.setAttribute('data-mark', group.getAttribute('aria-label') ?? '');
    group.removeAttribute('aria-label');
  }
  // On paper the figure takes the column's width, whatever it was drawn for.
  svg.setAttribute('viewBox', `0 0 ${width} ${height}`);
  return svg;
}

export interface MarkedPoint {
  x: number;
  y: number;
  mark: 'good' | 'doubtful' | 'unusable';
  title: string;
}

/** Points whose shape is their mark: filled disc, half disc, open ring with a bar. */
export function markedPoints(points: MarkedPoint[], colour: string, size = 3.2): Plot.Markish[] {
  const of = (mark: MarkedPoint['mark']) => points.filter((point) => point.mark === mark);
  const shared = { x: 'x', y: 'y', r: size, title: 'title' } as const;
  const disc = { ...shared, symbol: ring, fill: colour, stroke: 'var(--paper)', strokeWidth: 0.6 } as const;
  return [
    Plot.dot(of('unusable'), { ...shared, symbol: barredRing, fill: 'none', stroke: colour, strokeWidth: 1.1 }),
    Plot.dot(of('doubtful'), { ...shared, symbol: ring, fill: 'var(--paper)', stroke: colour, strokeWidth: 1.1 }),
    Plot.dot(of('doubtful'), { ...shared, symbol: halfDisc, fill: colour, stroke: 'none' }),
    Plot.dot(of('good'), disc),
  ];
}

/** The largest y worth showing and a little air above. */
export const roof = (values: number[], air = 1.08): number => Math.max(1, ...values) * air;
