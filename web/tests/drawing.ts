// Mounts a figure in jsdom, which lays nothing out: every element has the width of the moment.
import { flushSync, mount, unmount, type Component } from 'svelte';
import { afterEach, beforeAll, expect } from 'vitest';

let width = 600;

/** Figures mounted from now on find so many pixels. */
export function drawAt(pixels: number): void {
  width = pixels;
}

beforeAll(() => {
  Object.defineProperty(HTMLElement.prototype, 'clientWidth', { get: () => width, configurable: true });
  globalThis.ResizeObserver = class {
    private readonly tell: ResizeObserverCallback;
    constructor(tell: ResizeObserverCallback) {
      this.tell = tell;
    }
    observe(target: Element) {
      this.tell([{ target } as ResizeObserverEntry], this as unknown as ResizeObserver);
    }
    unobserve() {}
    disconnect() {}
  };
});

let mounted: Record<string, unknown>[] = [];
afterEach(async () => {
  for (const each of mounted) await unmount(each);
  mounted = [];
  document.body.replaceChildren();
});

export function shown<Props extends Record<string, unknown>>(figure: Component<Props>, props: Props): HTMLElement {
  mounted.push(mount(figure, { target: document.body, props }));
  flushSync();
  return document.body;
}

/** Numbers in a drawing that are no numbers would be drawn nowhere, silently. */
export function expectSound(body: HTMLElement): void {
  const svg = body.querySelector('.plot-place svg');
  expect(svg, 'nothing was drawn').not.toBeNull();
  const bad = [...(svg?.querySelectorAll('*') ?? [])].flatMap((node) =>
    [...node.attributes].filter(({ value }) => /NaN|undefined|Infinity/.test(value)).map(({ name, value }) => `${node.tagName} ${name}="${value}"`),
  );
  expect(bad).toEqual([]);
}
