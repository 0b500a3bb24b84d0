// The key of a figure as part of its saved drawing: entries stand as they stand on the page.
import { fills, type Fills } from './patterns';

const svgNamespace = 'http://www.w3.org/2000/svg';

function element(name: string, attributes: Record<string, string | number>, text = ''): SVGElement {
  const made = document.createElementNS(svgNamespace, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
  made.textContent = text;
  return made;
}

const symbolWidth = 18;

/** What stands before an entry's words, drawn about the middle of its line; nothing when it has words alone. */
function symbol(entry: Element, middle: number, pattern: Fills): SVGElement | undefined {
  const drawn = entry.querySelector('svg');
  if (drawn) {
    const copy = drawn.cloneNode(true) as SVGSVGElement;
    copy.setAttribute('y', String(middle - drawn.height.baseVal.value / 2));
    return copy;
  }
  const sign = entry.querySelector('.swatch, .stroke, .group');
  if (!sign) return undefined;
  const is = (word: string) => sign.classList.contains(word);
  if (is('group')) {
    const place = /group-(\d)/.exec(sign.className)?.[1] ?? '0';
    const shape = getComputedStyle(sign, '::before').content.replaceAll('"', '');
    return element('text', { y: middle + 4, fill: `var(--group-${place})` }, shape);
  }
  if (is('stroke')) {
    return element('line', {
      x2: symbolWidth, y1: middle, y2: middle, 'stroke-width': 2,
      stroke: is('ink') ? 'var(--ink)' : 'var(--fit)',
      'stroke-dasharray': is('dashed') ? '4 3' : 'none',
    });
  }
  const fill = is('flush') ? pattern.flush
    : is('settle') ? pattern.settle
    : is('sealed') ? 'var(--water)'
    : is('later') ? 'var(--excess)'
    : is('onward') ? 'var(--trace)'
    : (sign as HTMLElement).style.background || 'none';
  return element('rect', {
    y: middle - 6, width: symbolWidth, height: 12, fill, stroke: 'var(--line)', 'fill-opacity': is('band') ? 0.35 : 1,
  });
}

/** Puts the key under the drawing, which grows by its height. `svg` has a viewBox that begins at 0, 0. */
export function addKey(svg: SVGSVGElement, key: Element): void {
  const { width, height } = svg.viewBox.baseVal;
  const all = key.getBoundingClientRect();
  const pattern = fills();
  const group = element('g', { transform: `translate(4 ${height + 8})`, fill: 'var(--ink-soft)', 'text-anchor': 'start' });
  group.append(pattern.defs);
  for (const entry of key.querySelectorAll('.key-entry')) {
    const at = entry.getBoundingClientRect();
    const middle = at.height / 2;
    const place = element('g', { transform: `translate(${at.left - all.left} ${at.top - all.top})` });
    const before = symbol(entry, middle, pattern);
    if (before) place.append(before);
    const words = (entry.textContent ?? '').replace(/\s+/g, ' ').trim();
    place.append(element('text', { x: before ? symbolWidth + 4 : 0, y: middle + 4 }, words));
    group.append(place);
  }
  svg.append(group);
  const taller = height + all.height + 16;
  svg.setAttribute('viewBox', `0 0 ${width} ${taller}`);
  svg.setAttribute('height', String((svg.height.baseVal.value / height) * taller));
}
