// Patterns and point shapes that carry a meaning wherever they stand: chamber states by pattern, marks and groups by
// shape. Colour only repeats what they say.

/** A point shape as Plot draws it: a path of the given area about 0, 0. */
export interface Shape {
  draw(context: CanvasPath, size: number): void;
}

const svgNamespace = 'http://www.w3.org/2000/svg';
let ordinal = 0;

function element(name: string, attributes: Record<string, string | number>): SVGElement {
  const made = document.createElementNS(svgNamespace, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
  return made;
}

export interface Fills {
  defs: SVGElement;
  flush: string;
  settle: string;
  excessFirst: string;
  excessLater: string;
}

/** A <defs> with the patterns under names of its own (several figures share a page), and how to refer to them. */
export function fills(): Fills {
  const id = `pattern-${++ordinal}`;
  const defs = element('defs', {});
  const pattern = (name: string, size: number, turned: boolean, ...marks: SVGElement[]) => {
    const made = element('pattern', { id: `${id}-${name}`, width: size, height: size, patternUnits: 'userSpaceOnUse' });
    if (turned) made.setAttribute('patternTransform', 'rotate(45)');
    made.append(...marks);
    defs.append(made);
    return `url(#${id}-${name})`;
  };
  const line = (size: number, colour: string, width: number) =>
    element('line', { x1: 0, y1: 0, x2: 0, y2: size, stroke: `var(${colour})`, 'stroke-width': width });
  return {
    defs,
    flush: pattern('flush', 5, true, line(5, '--hatch', 1.6)),
    settle: pattern(
      'settle', 4, false,
      element('rect', { width: 4, height: 4, fill: 'var(--water)' }),
      element('circle', { cx: 2, cy: 2, r: 0.8, fill: 'var(--line-strong)' }),
    ),
    excessFirst: pattern(
      'first', 5, true,
      element('rect', { width: 5, height: 5, fill: 'var(--excess)' }),
      line(5, '--fit', 1.1),
    ),
    excessLater: pattern('later', 4, false, element('rect', { width: 4, height: 4, fill: 'var(--excess)' })),
  };
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

const groupShapes: Shape[] = [ring, polygon(4, 0, 1.25), polygon(3, 0, 1.3), polygon(4, Math.PI / 4, 1.25)];

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
