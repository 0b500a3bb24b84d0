// One look at a fish as a drawing: its left side and, where places of it were looked at, its right side; each scored place
// filled with its level's pattern and numbered.
import type { ScoredPlace } from '../data/results';
import { lookLines, markLines, placesOf, type OutlineLook } from '../data/outline';
import { levelFills } from './patterns';
import {
  areaShapes, bodyPath, eyeShape, finShapes, gillPath, mouthPath, outlineSize, sideOf, woundShape, type PlaceShape, type Side,
} from './outline_shapes';
import { axisColour } from './plot';
import { element, hint, linesOf, sheet, type Attributes } from './svg';

/** Bleeding at the hook wound: none, slight, moderate, heavy. */
export const woundLevels = 4;

export interface Scales {
  fins: string[];
  body: string[];
}

export const placeText = (place: ScoredPlace): string => {
  const level = place.level === null ? 'not scored' : `${place.level}${place.level_word === '' ? '' : ` ${place.level_word}`}`;
  return `${place.title}: ${level}${place.marks.length > 0 ? `, ${place.marks.join(', ')}` : ''}`;
};

const thin = { stroke: 'var(--ink)', 'stroke-width': 1.1, 'stroke-linejoin': 'round', 'vector-effect': 'non-scaling-stroke' } as const;
/** Looked at by nobody: thin; on the sheet but not scored: broken. */
const outlineOf = (place: ScoredPlace | undefined): Attributes =>
  place && place.level === null ? { ...thin, 'stroke-dasharray': '4 3' } : { ...thin, 'stroke-width': place ? 1.5 : 0.8 };

let clips = 0;

/** One side, `scale` pixels to a unit, its left top at 0, 0. */
function sideView(side: Side, places: ScoredPlace[], scales: Scales, scale: number): SVGElement {
  const here = new Map(places.filter((place) => sideOf(place.word).side === side).map((place) => [sideOf(place.word).shape, place]));
  const fin = levelFills(scales.fins.length);
  const body = levelFills(scales.body.length);
  const wound = levelFills(woundLevels);
  const fill = (place: ScoredPlace | undefined, pattern: { of: (level: number) => string }) =>
    place === undefined || place.level === null ? 'var(--paper)' : pattern.of(place.level);
  const clip = `outline-${++clips}`;
  // Seen from the right the fish looks the other way; numbers must not.
  const turn = side === 'left' ? `scale(${scale})` : `translate(${outlineSize.width * scale} 0) scale(${-scale} ${scale})`;
  const shapes = element('g', { transform: turn });
  const badges = element('g', { 'text-anchor': 'middle', 'font-weight': 600 });
  const seen = (place: ScoredPlace | undefined) => (place ? [hint(placeText(place))] : []);
  const badge = (place: ScoredPlace | undefined, { x, y }: { x: number; y: number }) => {
    if (!place) return;
    const cx = (side === 'left' ? x : outlineSize.width - x) * scale;
    const cy = y * scale;
    const text = `${place.level ?? '–'}${place.marks.length > 0 ? '*' : ''}`;
    badges.append(
      element('circle', { cx, cy, r: 9, fill: 'var(--paper)', stroke: 'var(--line-strong)' }, hint(placeText(place))),
      element('text', { x: cx, y: cy + 4.5, 'font-size': 13, 'pointer-events': 'none' }, text),
    );
  };
  const area = (name: string, shape: PlaceShape) => {
    const place = here.get(name);
    shapes.append(element('path', { d: shape.d, fill: fill(place, body), ...outlineOf(place), 'clip-path': `url(#${clip})` }, ...seen(place)));
    badge(place, shape);
  };
  shapes.append(element('clipPath', { id: clip }, element('path', { d: bodyPath })));
  for (const [name, shape] of Object.entries(finShapes)) {
    if (name === 'pectoral') continue;
    const place = here.get(name);
    shapes.append(element('path', { d: shape.d, fill: fill(place, fin), ...outlineOf(place) }, ...seen(place)));
    badge(place, shape);
  }
  shapes.append(element('path', { d: bodyPath, fill: 'var(--paper)', stroke: 'none' }));
  if ([...here.keys()].some((name) => name in areaShapes)) for (const [name, shape] of Object.entries(areaShapes)) area(name, shape);
  shapes.append(element('path', { d: bodyPath, fill: 'none', ...thin, 'stroke-width': 1.8 }));
  for (const d of [mouthPath, gillPath]) shapes.append(element('path', { d, fill: 'none', ...thin }));
  // The pectoral fin lies on the body.
  const pectoral = here.get('pectoral');
  const { pectoral: shape } = finShapes;
  if (shape) {
    shapes.append(element('path', { d: shape.d, fill: fill(pectoral, fin), ...outlineOf(pectoral) }, ...seen(pectoral)));
    badge(pectoral, shape);
  }
  const eye = here.get('eye');
  shapes.append(element('circle', { cx: eyeShape.cx, cy: eyeShape.cy, r: eyeShape.r, fill: fill(eye, body), ...outlineOf(eye) }, ...seen(eye)));
  if (!eye) shapes.append(element('circle', { cx: eyeShape.cx, cy: eyeShape.cy, r: 2.4, fill: 'var(--ink)' }));
  badge(eye, eyeShape);
  const hook = here.get('hook_wound');
  if (hook) {
    const { cx, cy } = woundShape;
    shapes.append(
      element('path', { d: `M${cx},${cy - 5}L${cx + 4.5},${cy + 4}H${cx - 4.5}Z`, fill: fill(hook, wound), ...outlineOf(hook) }, ...seen(hook)),
      element('line', { x1: cx, y1: cy + 4, x2: woundShape.x, y2: woundShape.y - 8 / scale, ...thin, 'stroke-width': 0.8 }),
    );
    badge(hook, woundShape);
  }
  if (eye) shapes.append(element('line', { x1: eyeShape.cx, y1: eyeShape.cy - eyeShape.r, x2: eyeShape.x, y2: eyeShape.y + 8 / scale, ...thin, 'stroke-width': 0.8 }));
  return element('g', {}, fin.defs, body.defs, wound.defs, shapes, badges);
}

/** A look with its words under it, `width` pixels wide. */
export function outlineSvg(fish: string, look: OutlineLook, scales: Scales, width: number): SVGSVGElement {
  const places = placesOf(look);
  const sides: Side[] = places.some((place) => sideOf(place.word).side === 'right') ? ['left', 'right'] : ['left'];
  const isPaired = sides.length > 1;
  const columns = isPaired && width >= 600 ? 2 : 1;
  const each = Math.min(520, (width - 20 * (columns - 1)) / columns);
  const scale = each / outlineSize.width;
  const tall = outlineSize.height * scale + 14;
  const words = [...lookLines(look), ...markLines(look).map((line) => `* ${line}`)].flatMap((line) => linesOf(line, width - 4));
  const top = 20;
  const under = top + Math.ceil(sides.length / columns) * tall;
  const svg = sheet(width, under + words.length * 17 + 6, `Outline of ${fish}, ${look.title}. ${places.map(placeText).join('; ')}`);
  svg.append(element('text', { x: 0, y: 14, 'font-size': 13, 'font-weight': 600 }, look.title));
  sides.forEach((side, i) => {
    const x = (i % columns) * (each + 20);
    const y = top + Math.floor(i / columns) * tall;
    const name = element('text', { x: side === 'left' ? 0 : each, y: 12, fill: axisColour, 'text-anchor': side === 'left' ? 'start' : 'end' }, side);
    svg.append(element('g', { transform: `translate(${x} ${y})` }, sideView(side, places, scales, scale), ...(isPaired ? [name] : [])));
  });
  words.forEach((text, i) => svg.append(element('text', { x: 0, y: under + 14 + 17 * i, fill: axisColour }, text)));
  return svg;
}
