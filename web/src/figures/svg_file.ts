// A figure as an SVG file that stands alone: tokens replaced by their present colours, fonts named, its key under it, a
// paper behind it.
import { addKey } from './key_svg';

function rgb(colour: string): string {
  const context = document.createElement('canvas').getContext('2d');
  if (!context) return colour;
  context.canvas.width = context.canvas.height = 1;
  context.fillStyle = colour;
  context.fillRect(0, 0, 1, 1);
  const [r, g, b] = context.getImageData(0, 0, 1, 1).data;
  return `rgb(${r},${g},${b})`;
}

/** The present value of a token, as any canvas or SVG reader understands it. */
export function tokenColour(token: string): string {
  const value = getComputedStyle(document.documentElement).getPropertyValue(token).trim();
  return value === '' ? 'currentColor' : rgb(value);
}

/** The drawing as text, with the figure's key under it where it has one on the page. */
export function svgText(svg: SVGSVGElement, key: Element | null): string {
  const copy = svg.cloneNode(true) as SVGSVGElement;
  copy.setAttribute('xmlns', 'http://www.w3.org/2000/svg');
  if (!copy.hasAttribute('viewBox')) {
    copy.setAttribute('viewBox', `0 0 ${svg.clientWidth} ${svg.clientHeight}`);
  }
  if (key) addKey(copy, key);
  copy.style.cssText = 'font: 12px system-ui, sans-serif; font-variant-numeric: tabular-nums; white-space: pre';
  copy.setAttribute('color', 'var(--ink)');
  const paper = document.createElementNS('http://www.w3.org/2000/svg', 'rect');
  paper.setAttribute('width', '100%');
  paper.setAttribute('height', '100%');
  paper.setAttribute('fill', 'var(--paper)');
  copy.prepend(paper);
  const text = new XMLSerializer().serializeToString(copy);
  return text.replace(/var\((--[\w-]+)\)/g, (_, token: string) => tokenColour(token));
}

/** Offers `text` as a file named `name`.svg. */
export function save(text: string, name: string): void {
  const link = document.createElement('a');
  link.href = URL.createObjectURL(new Blob([text], { type: 'image/svg+xml' }));
  link.download = `${name.replace(/[^\w-]+/g, '_')}.svg`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}
