// What a canvas shows of a trace: chamber states by pattern behind it, fitted lines over it. Shared by all charts in time.
import type uPlot from 'uplot';
import type { TraceData } from '../data/trace';
import { tokenColour } from './svg_file';

export type TraceColours = Record<'trace' | 'fit' | 'water' | 'hatch' | 'line' | 'soft' | 'strong' | 'ink' | 'alert' | 'excess', string> & {
  /** strokes are so many times as thick as by day */
  thick: number;
};

export function traceColours(): TraceColours {
  return {
    trace: tokenColour('--trace'), fit: tokenColour('--fit'), water: tokenColour('--water'), hatch: tokenColour('--hatch'),
    line: tokenColour('--line'), soft: tokenColour('--ink-soft'), strong: tokenColour('--line-strong'), ink: tokenColour('--ink'),
    alert: tokenColour('--alert'), excess: tokenColour('--excess'),
    thick: Number(getComputedStyle(document.documentElement).getPropertyValue('--thick')) || 1,
  };
}

/** A small tile of the state's pattern, in device pixels. */
function tile(context: CanvasRenderingContext2D, state: 'flush' | 'settle', colour: TraceColours): CanvasPattern | string {
  const size = Math.round(6 * devicePixelRatio);
  const canvas = document.createElement('canvas');
  canvas.width = canvas.height = size;
  const draw = canvas.getContext('2d');
  if (!draw) return colour.water;
  if (state === 'settle') {
    draw.fillStyle = colour.water;
    draw.fillRect(0, 0, size, size);
    draw.fillStyle = colour.strong;
    draw.beginPath();
    draw.arc(size / 2, size / 2, 0.9 * devicePixelRatio, 0, 2 * Math.PI);
    draw.fill();
  } else {
    draw.strokeStyle = colour.hatch;
    draw.lineWidth = 1.3 * devicePixelRatio;
    for (const shift of [-size, 0, size]) {
      draw.beginPath();
      draw.moveTo(shift - 1, size + 1);
      draw.lineTo(shift + size + 1, -1);
      draw.stroke();
    }
  }
  return context.createPattern(canvas, 'repeat') ?? colour.water;
}

/** What lies within the part of the time axis that is shown: a stay of two weeks has thousands of runs and fits. */
function inView<Stretch extends { from: number; to: number }>(u: uPlot, stretches: Stretch[]): Stretch[] {
  const min = u.scales.x?.min ?? -Infinity;
  const max = u.scales.x?.max ?? Infinity;
  return stretches.filter(({ from, to }) => to >= min && from <= max);
}

export function shadeStates(u: uPlot, states: TraceData['states'], colour: TraceColours): void {
  const { ctx } = u;
  const box = u.bbox;
  const fill = { flush: tile(ctx, 'flush', colour), settle: tile(ctx, 'settle', colour), sealed: colour.water };
  ctx.save();
  for (const run of inView(u, states)) {
    if (run.state === 'unknown') continue;
    const left = Math.max(box.left, u.valToPos(run.from, 'x', true));
    const right = Math.min(box.left + box.width, u.valToPos(run.to, 'x', true));
    if (right <= left) continue;
    ctx.fillStyle = fill[run.state];
    ctx.fillRect(left, box.top, right - left, box.height);
  }
  ctx.restore();
}

export function drawFits(u: uPlot, fits: TraceData['fits'], colour: TraceColours): void {
  const { ctx } = u;
  ctx.save();
  ctx.beginPath();
  ctx.rect(u.bbox.left, u.bbox.top, u.bbox.width, u.bbox.height);
  ctx.clip();
  ctx.strokeStyle = colour.fit;
  ctx.lineWidth = 1.8 * colour.thick * devicePixelRatio;
  const shown = inView(u, fits);
  for (const isUsable of [true, false]) {
    ctx.setLineDash(isUsable ? [] : [3 * devicePixelRatio, 3 * devicePixelRatio]);
    ctx.beginPath();
    for (const fit of shown) {
      if (fit.isUsable !== isUsable) continue;
      ctx.moveTo(u.valToPos(fit.from, 'x', true), u.valToPos(fit.start, 'y', true));
      ctx.lineTo(u.valToPos(fit.to, 'x', true), u.valToPos(fit.end, 'y', true));
    }
    ctx.stroke();
  }
  ctx.restore();
}
