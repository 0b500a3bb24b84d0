import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';

type Triple = [number, number, number];

/** Themes of tokens.css: what stands in each :root block, in order. */
function themes(): Record<string, Record<string, Triple>> {
  const css = readFileSync(new URL('../src/look/tokens.css', import.meta.url), 'utf8').replace(/\/\*[\s\S]*?\*\//g, '');
  const blocks = [...css.matchAll(/:root\s*\{([^}]*)\}/g)].map((match) => match[1] ?? '');
  const names = ['day', 'night', 'sun', 'paper'];
  expect(blocks).toHaveLength(names.length);
  const tokens = blocks.map((block) =>
    Object.fromEntries(
      [...block.matchAll(/--([\w-]+):\s*oklch\(([\d.]+) ([\d.]+) ([\d.]+)\)/g)].map((m) => [
        m[1] ?? '',
        [Number(m[2]), Number(m[3]), Number(m[4])] as Triple,
      ]),
    ),
  );
  // Night and sun hold on screens only: paper is day but for what it sets itself.
  return Object.fromEntries(names.map((name, i) => [name, name === 'paper' ? { ...tokens[0], ...tokens[i] } : (tokens[i] ?? {})]));
}

const oklab = ([l, c, h]: Triple): Triple => [l, c * Math.cos((h * Math.PI) / 180), c * Math.sin((h * Math.PI) / 180)];

/** OKLab to linear sRGB: Ottosson 2020, "A perceptual color space for image processing". */
function linear([l, a, b]: Triple): Triple {
  const l3 = (l + 0.3963377774 * a + 0.2158037573 * b) ** 3;
  const m3 = (l - 0.1055613458 * a - 0.0638541728 * b) ** 3;
  const s3 = (l - 0.0894841775 * a - 1.291485548 * b) ** 3;
  return [
    4.0767416621 * l3 - 3.3077115913 * m3 + 0.2309699292 * s3,
    -1.2684380046 * l3 + 2.6097574011 * m3 - 0.3413193965 * s3,
    -0.0041960863 * l3 - 0.7034186147 * m3 + 1.707614701 * s3,
  ];
}

function toOklab([r, g, b]: Triple): Triple {
  const l = Math.cbrt(0.4122214708 * r + 0.5363325363 * g + 0.0514459929 * b);
  const m = Math.cbrt(0.2119034982 * r + 0.6806995451 * g + 0.1073969566 * b);
  const s = Math.cbrt(0.0883024619 * r + 0.2817188376 * g + 0.6299787005 * b);
  return [
    0.2104542553 * l + 0.793617785 * m - 0.0040720468 * s,
    1.9779984951 * l - 2.428592205 * m + 0.4505937099 * s,
    0.0259040371 * l + 0.7827717662 * m - 0.808675766 * s,
  ];
}

const clamped = (rgb: Triple): Triple => rgb.map((v) => Math.min(1, Math.max(0, v))) as Triple;
/** Relative luminance and contrast ratio: WCAG 2.2, definitions. */
const luminance = (colour: Triple) => {
  const [r, g, b] = clamped(linear(oklab(colour)));
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};
const contrast = (a: Triple, b: Triple) => {
  const [light, dark] = [luminance(a), luminance(b)].sort((x, y) => y - x) as [number, number];
  return (light + 0.05) / (dark + 0.05);
};

/** Dichromats' view of linear sRGB, severity 1: Machado, Oliveira and Fernandes 2009, table 1 (from memory). */
const dichromats: Record<string, Triple[]> = {
  protan: [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
  deutan: [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.01182, 0.04294, 0.968881]],
  tritan: [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.3039]],
};
const seenBy = (rows: Triple[], rgb: Triple): Triple =>
  rows.map((row) => row[0] * rgb[0] + row[1] * rgb[1] + row[2] * rgb[2]) as Triple;
const distance = (a: Triple, b: Triple) => Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);

describe.each(Object.entries(themes()))('theme %s', (name, token) => {
  const of = (word: string): Triple => {
    const colour = token[word];
    if (!colour) throw new Error(`theme ${name} lacks --${word}`);
    return colour;
  };

  it.each(['ink', 'link', 'alert', 'ink-soft'])('text in --%s can be read on paper and on sheets', (word) => {
    const least = name === 'sun' || word === 'ink' ? 7 : 4.5;
    expect(contrast(of(word), of('paper'))).toBeGreaterThanOrEqual(least);
    expect(contrast(of(word), of('sheet'))).toBeGreaterThanOrEqual(least);
  });

  it.each(['trace', 'fit', 'line-strong', 'group-0', 'group-1', 'group-2', 'group-3', 'group-other', 'under-far', 'under-near', 'over-far', 'over-near'])(
    'shapes in --%s stand out from the paper',
    (word) => {
      expect(contrast(of(word), of('paper'))).toBeGreaterThanOrEqual(3);
    },
  );

  it.each(['trace', 'fit'])('--%s stands out from the water behind it', (word) => {
    expect(contrast(of(word), of('water'))).toBeGreaterThanOrEqual(3);
  });

  it.each(['ink', 'alert'])('words in --%s can be read on the water behind a trace', (word) => {
    expect(contrast(of(word), of('water'))).toBeGreaterThanOrEqual(name === 'sun' ? 7 : 4.5);
  });

  it('the dots of settling and the window of a band stand out from the water and the sheet', () => {
    expect(contrast(of('line-strong'), of('water'))).toBeGreaterThanOrEqual(3);
    expect(contrast(of('ink'), of('sheet'))).toBeGreaterThanOrEqual(7);
  });

  it('night is dim: nothing brighter than its ink but what is at risk', () => {
    if (name !== 'night') return;
    expect(luminance(of('paper'))).toBeLessThan(0.01);
    for (const word of Object.keys(token)) expect(luminance(of(word)), word).toBeLessThanOrEqual(0.86);
  });

  it('ink can be read on the excess and the hatching', () => {
    expect(contrast(of('ink'), of('excess'))).toBeGreaterThanOrEqual(4.5);
  });

  it.each(['under-far', 'under-near', 'over-far', 'over-near'])('%s of a plate stands out from its outer wells', (word) => {
    expect(contrast(of(word), of('sheet'))).toBeGreaterThanOrEqual(3);
  });

  it('nearly black levels of a score leave their paper dots to be seen', () => {
    expect(contrast(of('trace'), of('paper'))).toBeGreaterThanOrEqual(4.5);
  });

  it.each(['everybody', 'protan', 'deutan', 'tritan'])('under and over are told apart by %s, and far from near', (eyes) => {
    const seen = (word: string) => {
      const rgb = linear(oklab(of(word)));
      return toOklab(clamped(eyes === 'everybody' ? rgb : seenBy(dichromats[eyes] ?? [], rgb)));
    };
    for (const size of ['far', 'near']) {
      expect(distance(seen(`under-${size}`), seen(`over-${size}`)), size).toBeGreaterThan(0.12);
    }
    // Near and far differ in size as well.
    for (const way of ['under', 'over']) {
      expect(distance(seen(`${way}-near`), seen(`${way}-far`)), way).toBeGreaterThan(0.08);
    }
  });

  it.each(['everybody', 'protan', 'deutan', 'tritan'])('the four groups are told apart by %s', (eyes) => {
    const seen = [0, 1, 2, 3].map((i) => {
      const rgb = linear(oklab(of(`group-${i}`)));
      return toOklab(clamped(eyes === 'everybody' ? rgb : seenBy(dichromats[eyes] ?? [], rgb)));
    });
    for (let i = 0; i < 4; ++i) {
      for (let j = i + 1; j < 4; ++j) {
        // 0.02 is about a just noticeable difference in OKLab; small points need several.
        expect(distance(seen[i] as Triple, seen[j] as Triple), `groups ${i} and ${j}`).toBeGreaterThan(0.12);
      }
    }
  });
});
