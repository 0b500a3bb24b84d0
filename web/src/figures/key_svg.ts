// The key of a figure as part of its saved drawing: entries stand as they stand on the page.
import { fills, type Fills } from './patterns';
import { element, linesOf } from './svg';

const symbolWidth = 18;
const lineHeight = 18;

/** Where the words begin beside a symbol. */
const wordsLeft = (before: SVGElement): number => Math.max(symbolWidth, Number(before.getAttribute('width') ?? 0)) + 4;

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
    const place = /group-(\d|other)/.exec(sign.className)?.[1] ?? '0';
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
  const group = element('g', { transform: `translate(0 ${height + 8})`, fill: 'var(--ink-soft)', 'text-anchor': 'start' });
  group.append(pattern.defs);
  for (const entry of key.querySelectorAll('.key-entry')) {
    const at = entry.getBoundingClientRect();
    const middle = at.height / 2;
    const place = element('g', { transform: `translate(${at.left - all.left} ${at.top - all.top})` });
    const before = symbol(entry, middle, pattern);
    if (before) place.append(before);
    const words = (entry.textContent ?? '').replace(/\s+/g, ' ').trim();
    const left = before ? wordsLeft(before) : 0;
    // What is broken into lines on the page is broken here as well.
    const lines = at.height < 1.5 * lineHeight ? [words] : linesOf(words, 1.06 * (at.width - left));
    const top = middle - ((lines.length - 1) * lineHeight) / 2;
    lines.forEach((text, i) => place.append(element('text', { x: left, y: top + i * lineHeight + 4 }, text)));
    group.append(place);
  }
  svg.append(group);
  const taller = height + all.height + 16;
  svg.setAttribute('viewBox', `0 0 ${width} ${taller}`);
  svg.setAttribute('height', String((svg.height.baseVal.value / height) * taller));
}
