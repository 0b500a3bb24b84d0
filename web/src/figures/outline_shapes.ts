// The outline of a fish from its left side, drawn by us: no species in particular, with an adipose fin. 400 by 150 units,
// the head at the left.
export const outlineSize = { width: 400, height: 150 };

export interface PlaceShape {
  d: string;
  /** where its number stands */
  x: number;
  y: number;
}

export const bodyPath =
  'M10,79 C16,68 40,53 84,45 C126,37.5 172,36 214,41.5 C258,47.5 300,60 330,66.5 C338,68 344,67 349,65 C352,73 352,84 349,92 ' +
  'C344,90 338,89.5 330,91 C300,97 272,104 240,110 C192,119 142,121 100,114 C60,107 24,95 12,85 C8,82.5 8,81 10,79 Z';

/** Areas of the body's side, cut by its outline where they reach over it. Later ones lie over earlier ones. */
export const areaShapes: Record<string, PlaceShape> = {
  flank: { d: 'M60,0 H320 V150 H60 Z', x: 236, y: 78 },
  back: { d: 'M60,0 H320 V70 C240,58 160,57 60,66 Z', x: 138, y: 50 },
  belly: { d: 'M60,150 H320 V90 C240,100 160,102 60,96 Z', x: 176, y: 107 },
  head: { d: 'M0,0 H86 C99,52 99,104 86,150 H0 Z', x: 70, y: 86 },
  tail: { d: 'M300,0 H400 V150 H300 Z', x: 324, y: 78 },
};

export const finShapes: Record<string, PlaceShape> = {
  dorsal: { d: 'M166,38.5 C173,24 181,12 192,7 C200,20 209,33 223,43.5 Z', x: 217, y: 18 },
  adipose: { d: 'M288,56 C291,47 298,39 309,39 C308,46 307,54 309,61.5 Z', x: 327, y: 42 },
  caudal: { d: 'M343,67 C357,60 372,46 388,33 C382,52 379,65 379,79 C379,92 382,105 388,124 C372,111 357,98 343,91 C348,84 348,74 343,67 Z', x: 364, y: 78 },
  anal: { d: 'M259,107 C263,119 268,130 275,137 C284,128 292,113 298,99.5 Z', x: 298, y: 126 },
  pelvic: { d: 'M192,116.5 C196,125 204,136 214,141 C219,132 220,123 219,113.5 Z', x: 236, y: 134 },
  pectoral: { d: 'M93,101 C100,113 112,130 130,138 C134,127 128,110 112,101 C103,96 94,96 93,101 Z', x: 148, y: 133 },
};

export const eyeShape = { cx: 42, cy: 70, r: 6, x: 38, y: 40 };
/** the corner of the mouth */
export const woundShape = { cx: 27, cy: 86, x: 22, y: 116 };

export const mouthPath = 'M11,79.5 C17,81 23,83.5 28,87';
export const gillPath = 'M86,50 C97,66 97,94 86,108';

/** The gill cover's and the mouth's lines are drawn on every outline; which side a place is on is in its word. */
export type Side = 'left' | 'right';

/** "left_pectoral" → left, "pectoral"; unpaired places are seen from the left. */
export function sideOf(word: string): { side: Side; shape: string } {
  const match = /^(left|right)_(.+)$/.exec(word);
  return match ? { side: match[1] as Side, shape: match[2] ?? '' } : { side: 'left', shape: word };
}
