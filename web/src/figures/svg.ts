// SVG made by hand, for what Plot has no marks for, and several drawings laid out on one sheet.
export type Attributes = Record<string, string | number>;

const svgNamespace = 'http://www.w3.org/2000/svg';

/** Style set as an attribute is refused by the content policy of the application's pages; set as a property it is not. */
function setAttribute(element: SVGElement, key: string, value: string): void {
  if (key === 'style') element.style.cssText = value;
  else element.setAttribute(key, value);
}

/** An SVG element with its attributes and what stands in it. */
export function element(name: string, attributes: Attributes, ...inside: (Node | string)[]): SVGElement {
  const made = document.createElementNS(svgNamespace, name) as SVGElement;
  for (const [key, value] of Object.entries(attributes)) setAttribute(made, key, String(value));
  made.append(...inside);
  return made;
}

/** What is shown of a shape when one rests on it. */
export const hint = (text: string): SVGElement => element('title', {}, text);

/** An empty drawing of the figures' look. `label` says in one sentence what is seen, for those who hear it. */
export function sheet(width: number, height: number, label: string): SVGSVGElement {
  return element('svg', {
    viewBox: `0 0 ${width} ${height}`, width, height, role: 'img', 'aria-label': label, fill: 'var(--ink)',
    style: 'font-size: 12px; overflow: visible',
  }) as SVGSVGElement;
}

export interface Placed {
  svg: SVGSVGElement;
  x: number;
  y: number;
}

/** Drawings beside and under each other as one. Their elements move into it. */
export function together(width: number, height: number, label: string, parts: Placed[]): SVGSVGElement {
  const whole = sheet(width, height, label);
  for (const { svg, x, y } of parts) {
    const group = element('g', { transform: `translate(${x} ${y})` });
    for (const name of ['class', 'fill', 'style', 'text-anchor']) {
      const value = svg.getAttribute(name);
      if (value !== null) setAttribute(group, name, value);
    }
    group.append(...svg.childNodes);
    whole.append(group);
  }
  return whole;
}

/** A letter is about this share of its font's size wide: enough to keep texts of a drawing from overlapping. */
const letterShare = 0.54;
export const textWidth = (text: string, size = 12): number => text.length * size * letterShare;

/** The text cut to a room in pixels, with a sign that it was. */
export function cutTo(text: string, room: number, size = 12): string {
  if (textWidth(text, size) <= room) return text;
  return `${text.slice(0, Math.max(1, Math.floor(room / (size * letterShare)) - 1))}…`;
}

/** The text in lines no wider than a room in pixels; a word that is wider stands alone. */
export function linesOf(text: string, room: number, size = 12): string[] {
  const lines: string[] = [];
  for (const word of text.split(/\s+/).filter((each) => each !== '')) {
    const last = lines.at(-1);
    const longer = last === undefined ? word : `${last} ${word}`;
    if (last !== undefined && textWidth(longer, size) <= room) lines[lines.length - 1] = longer;
    else lines.push(word);
  }
  return lines;
}
