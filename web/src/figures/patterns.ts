// Patterns and point shapes that carry a meaning wherever they stand: chamber states by pattern, marks and groups by
// shape. Colour only repeats what they say.
import type { SpanKind } from '../data/timeline';
import { element } from './svg';

/** A point shape as Plot draws it: a path of the given area about 0, 0. */
export interface Shape {
  draw(context: CanvasPath, size: number): void;
}

let ordinal = 0;

/** A <defs> whose patterns have names of their own: several figures share a page. */
function patternBook() {
  const id = `pattern-${++ordinal}`;
  const defs = element('defs', {});
  return {
    defs,
    /** Adds a tile of `size` pixels, turned by `turn` degrees, and says how to refer to it. */
    add(name: string, size: number, turn: number, ...marks: SVGElement[]): string {
      const made = element('pattern', { id: `${id}-${name}`, width: size, height: size, patternUnits: 'userSpaceOnUse' }, ...marks);
      if (turn !== 0) made.setAttribute('patternTransform', `rotate(${turn})`);
      defs.append(made);
      return `url(#${id}-${name})`;
    },
  };
}

const ground = (size: number, colour: string) => element('rect', { width: size, height: size, fill: `var(${colour})` });
const line = (size: number, colour: string, width: number) =>
  element('line', { x1: 0, y1: 0, x2: 0, y2: size, stroke: `var(${colour})`, 'stroke-width': width });
const across = (size: number, colour: string, width: number) =>
  element('line', { x1: 0, y1: 0, x2: size, y2: 0, stroke: `var(${colour})`, 'stroke-width': width });
const dot = (size: number, colour: string, r: number) =>
  element('circle', { cx: size / 2, cy: size / 2, r, fill: `var(${colour})` });

export interface Fills {
  defs: SVGElement;
  flush: string;
  settle: string;
  excessFirst: string;
  excessLater: string;
  /** what is published of a value */
  range: string;
}

/** The patterns of states, of excess and of ranges. */
export function fills(): Fills {
  const { defs, add } = patternBook();
  return {
    defs,
    flush: add('flush', 5, 45, line(5, '--hatch', 1.6)),
    settle: add('settle', 4, 0, ground(4, '--water'), dot(4, '--line-strong', 0.8)),
    excessFirst: add('first', 5, 45, ground(5, '--excess'), line(5, '--fit', 1.1)),
    excessLater: add('later', 4, 0, ground(4, '--excess')),
    range: add('range', 7, -45, line(7, '--hatch', 1.2)),
  };
}

/** What a fish went through, by pattern. */
export function spanFills(): { defs: SVGElement; of: Record<SpanKind, string> } {
  const { defs, add } = patternBook();
  return {
    defs,
    of: {
      played: add('played', 4, 0, ground(4, '--paper'), across(4, '--trace', 2.4)),
      in_hand: add('in-hand', 5, 0, ground(5, '--paper'), dot(5, '--trace', 1.3)),
      air: 'var(--ink)',
      chase: add('chase', 5, 45, ground(5, '--paper'), line(5, '--fit', 1.6), across(5, '--fit', 1.6)),
      chamber: 'var(--water)',
      died_between: add('died-between', 6, 45, ground(6, '--paper'), line(6, '--alert', 2)),
    },
  };
}

/** Patterns of a scale of `levels` steps from unhurt, which is plain, to worst, which is nearly black. Five are told apart;
 *  on longer scales neighbours share one, and the number tells them apart. */
export function levelFills(levels: number): { defs: SVGElement; of: (level: number) => string } {
  const { defs, add } = patternBook();
  const ink = '--trace';
  const all = [
    'var(--paper)',
    add('dots', 7, 0, ground(7, '--paper'), dot(7, ink, 1)),
    add('hatched', 5, 45, ground(5, '--paper'), line(5, ink, 1.5)),
    add('crossed', 5, 45, ground(5, '--paper'), line(5, ink, 2.2), across(5, ink, 2.2)),
    add('dense', 5, 0, ground(5, ink), dot(5, '--paper', 0.8)),
  ];
  const last = all.length - 1;
  const steps = Math.max(1, levels - 1);
  return { defs, of: (level) => all[Math.max(0, Math.min(last, Math.round((level / steps) * last)))] ?? 'none' };
}

/** A shape as the path of an SVG element: for signs of a key and drawings that Plot does not make. */
export function shapePath(shape: Shape, size: number): string {
  const parts: string[] = [];
  const at = (x: number, y: number) => `${Number(x.toFixed(2))},${Number(y.toFixed(2))}`;
  const pen = {
    moveTo: (x: number, y: number) => void parts.push(`M${at(x, y)}`),
    lineTo: (x: number, y: number) => void parts.push(`L${at(x, y)}`),
    closePath: () => void parts.push('Z'),
    /** in two halves: SVG draws no arc that ends where it began */
    arc(x: number, y: number, r: number, from: number, to: number) {
      for (const angle of [(from + to) / 2, to]) parts.push(`A${r},${r} 0 0 1 ${at(x + r * Math.cos(angle), y + r * Math.sin(angle))}`);
    },
  };
  shape.draw(pen as unknown as CanvasPath, size);
  return parts.join('');
}

const radius = (size: number) => Math.sqrt(size / Math.PI);

/** The filled half of "doubtful"; drawn over a ring. */
export const halfDisc: Shape = {
  draw(context, size) {
    const r = radius(size);
    context.moveTo(0, -r);
    context.arc(0, 0, r, -Math.PI / 2, Math.PI / 2);
    context.closePath();
  },
};

/** "unusable": an open ring with a bar. */
export const barredRing: Shape = {
  draw(context, size) {
    const r = radius(size);
    context.moveTo(r, 0);
    context.arc(0, 0, r, 0, 2 * Math.PI);
    context.moveTo(-1.5 * r, 0);
    context.lineTo(1.5 * r, 0);
  },
};

export const ring: Shape = {
  draw(context, size) {
    const r = radius(size);
    context.moveTo(r, 0);
    context.arc(0, 0, r, 0, 2 * Math.PI);
  },
};

/** Only a limit is known: an open arrow that begins there, to where the truth lies. */
export const limitArrow = (open: 'below' | 'above'): Shape => ({
  draw(context) {
    const way = open === 'below' ? 1 : -1;
    const outline = [[-1.8, 0], [-1.8, 6], [-4.4, 6], [0, 12.5], [4.4, 6], [1.8, 6], [1.8, 0]] as const;
    outline.forEach(([x, y], i) => (i === 0 ? context.moveTo(x, way * y) : context.lineTo(x, way * y)));
    context.closePath();
  },
});

/** Set aside: a cross. */
export const cross: Shape = {
  draw(context, size) {
    const r = radius(size);
    for (const way of [-1, 1]) {
      context.moveTo(-r, -way * r);
      context.lineTo(r, way * r);
    }
  },
};

const polygon = (corners: number, turn: number, swell: number): Shape => ({
  draw(context, size) {
    const r = swell * radius(size);
    for (let i = 0; i < corners; ++i) {
      const angle = turn + (2 * Math.PI * i) / corners;
      const x = r * Math.sin(angle);
      const y = -r * Math.cos(angle);
      if (i === 0) context.moveTo(x, y);
      else context.lineTo(x, y);
    }
    context.closePath();
  },
});

export const diamond = polygon(4, 0, 1.25);

const groupShapes: Shape[] = [ring, diamond, polygon(3, 0, 1.3), polygon(4, Math.PI / 4, 1.25)];

/** Shape and colour of a treatment group by its place in the study's list; groups past the fourth share the colours but
 *  are filled open. -1: no group. */
export function groupLook(place: number): { shape: Shape; colour: string; isOpen: boolean } {
  if (place < 0) return { shape: ring, colour: 'var(--group-other)', isOpen: false };
  return {
    shape: groupShapes[place % 4] ?? ring,
    colour: `var(--group-${place % 4})`,
    isOpen: place >= 4,
  };
}
