// The figures of a finding, a function for each kind. Every row that took part is in it.
import type { Finding, FoundNumber } from '../data/results';
import { drawnPoints, drawnText, heightAt, isRate, isYesOrNo, shortNumber, swarm, type Drawn } from '../data/finding';
import { logTicks } from '../data/log_ticks';
import { shownUnit, spoken } from '../data/read';
import { groupLook, type Shape } from './patterns';
import { axisColour, frame, Plot, ruleColour } from './plot';

export interface FindingLook {
  finding: Finding;
  /** a level's place in the study's list of groups or among themselves: its colour and shape */
  place: (level: string) => number;
}

const pointSize = 8.6;
const upward = -Math.PI / 2;
/** Points grow smaller where a group has more of them than stand side by side. */
const radiusOf = (rows: number): number => Math.max(1.4, 4 * Math.min(1, Math.sqrt(60 / Math.max(1, rows))));

const labelOf = ({ outcome_title, sentence, compare }: Finding): string => `${outcome_title} by ${spoken(compare)}. ${sentence}`;

/** What stands on the outcome's axis. */
function axisTitle(finding: Finding): string {
  const unit = isRate(finding) ? (finding.groups[0]?.unit ?? '') : finding.outcome_unit;
  return unit === '' ? finding.outcome_title : `${finding.outcome_title}, ${spoken(shownUnit(unit))}`;
}

const titleOf = (finding: Finding, drawn: Drawn): string => {
  const unit = isRate(finding) ? spoken(finding.groups[0]?.unit ?? '') : shownUnit(finding.outcome_unit);
  return `${drawn.point.row}: ${drawnText(drawn)} ${unit}`.trim();
};

const limits = (values: number[]): [number, number] => {
  const finite = values.filter(Number.isFinite);
  return [Math.min(...finite), Math.max(...finite)];
};

const isOnLog = (finding: Finding, low: number): boolean => finding.family === 'log_normal' && low > 0;

/** Axis limits with a little air, on whichever scale. */
function aired(low: number, high: number, isLog: boolean): [number, number] {
  if (isLog) {
    const air = (high / low) ** 0.05 || 1.1;
    return [low / air, high * air];
  }
  const air = (high - low) * 0.06 || 1;
  return [low - air, high + air];
}

const arrow = (turn: number): Shape => ({
  draw(context) {
    const tip = (r: number, angle: number) => [r * Math.cos(turn + angle), r * Math.sin(turn + angle)] as const;
    context.moveTo(...tip(8, 0));
    context.lineTo(...tip(5, 1.2));
    context.lineTo(...tip(5, -1.2));
    context.closePath();
  },
});

const rowText = (finding: Finding, rows: number): string =>
  finding.row_noun === 'fish' || finding.row_noun === '' ? `${rows} fish` : `${rows} rows`;

/** "single hook, 20 fish, 5 yes" */
function rowLabel(finding: Finding, level: string, points: Drawn[]): string {
  const yes = isYesOrNo(finding) ? `, ${points.filter((d) => d.at === 1).length} yes` : '';
  return `${spoken(level)}, ${rowText(finding, points.length)}${yes}`;
}

/** A row where it is drawn. */
interface Spot {
  drawn: Drawn;
  x: number;
  y: number;
  r: number;
}

type Look = ReturnType<typeof groupLook>;

/** Points of one look; open where only limits are known, with an arrow to where the truth may lie. `turn` is the way of
 *  higher values. The frame's scale of r must be the identity. */
function dots(finding: Finding, spots: Spot[], look: Look, turn: number): Plot.Markish[] {
  const isKnown = ({ drawn }: Spot) => drawn.low === drawn.high;
  const shared = {
    x: 'x', y: 'y', r: 'r', symbol: look.shape, stroke: look.colour, strokeWidth: (spots[0]?.r ?? 4) < 3 ? 0.7 : 1.3, title: (s: Spot) => titleOf(finding, s.drawn),
  } as const;
  const arrows = (open: Drawn['open'], way: number) =>
    Plot.dot(spots.filter((s) => s.drawn.open === open), { x: 'x', y: 'y', symbol: arrow(way), r: 4, fill: look.colour });
  return [
    arrows('more', turn),
    arrows('less', turn + Math.PI),
    Plot.dot(spots.filter((s) => !isKnown(s)), { ...shared, fill: 'var(--paper)' }),
    Plot.dot(spots.filter(isKnown), { ...shared, fill: look.isOpen ? 'var(--paper)' : look.colour, fillOpacity: 0.8 }),
  ];
}

/** From where to where a row may lie on the outcome's axis: its limits, or one standard uncertainty either side. */
function reachOf(drawn: Drawn, [low, high]: [number, number]): { from: number; to: number } {
  const from = drawn.low === drawn.high ? drawn.at - drawn.uncertainty : drawn.low;
  const to = drawn.low === drawn.high ? drawn.at + drawn.uncertainty : drawn.high;
  return { from: Math.max(from, low), to: Math.min(to, high) };
}

/** Rows whose reach is drawn as a thin line: those with an uncertainty, or with both limits. */
const hasReach = ({ drawn }: Spot): boolean => drawn.open === '' && (drawn.low !== drawn.high || drawn.uncertainty > 0);

/** The ends of an interval of which one may not be known: there the bar runs to the frame's edge. */
const ends = (number: FoundNumber, [low, high]: [number, number]): { low: number; high: number } => {
  if (number.lower === null && number.upper === null) return { low: number.value ?? low, high: number.value ?? high };
  return { low: number.lower ?? low, high: number.upper ?? high };
};

/** Yes and no stand in blocks at the axis's ends, a point a row. */
function blocks(points: Drawn[], room: number): { x: number; lift: number }[] {
  const count = { 0: 0, 1: 0 };
  const tall = Math.max(3, Math.ceil((points.length * pointSize) / (0.42 * room)));
  return points.map(({ at }) => {
    const side = at >= 0.5 ? 1 : 0;
    const n = count[side]++;
    const column = Math.floor(n / tall) * pointSize;
    return { x: side === 1 ? room - column : column, lift: ((n % tall) - (tall - 1) / 2) * pointSize };
  });
}

/** A row per group, every point, under them what the model says with its interval. */
export function drawGroups({ finding, place }: FindingLook, width: number): SVGSVGElement {
  const drawn = drawnPoints(finding);
  const yesNo = isYesOrNo(finding);
  const estimates = finding.groups.filter((group) => group.value !== null);
  const values = [
    ...drawn.flatMap((d) => [d.at - d.uncertainty, d.at + d.uncertainty, d.low, d.high]),
    ...estimates.flatMap((g) => [g.value ?? NaN, g.lower ?? NaN, g.upper ?? NaN]),
  ];
  const least = Math.min(...drawn.map((d) => d.at), ...estimates.map((g) => g.lower ?? g.value ?? Infinity));
  const isLog = isOnLog(finding, least);
  const [low, high] = yesNo ? [0, 1] : limits(isLog ? values.filter((v) => v > 0) : values);
  const domain = yesNo ? ([0, 1] as [number, number]) : aired(low, high, isLog);
  const marginLeft = 14;
  const room = width - marginLeft - 14;
  const step = isLog ? Math.log : (v: number) => v;
  const pixel = (v: number) => (room * (step(v) - step(domain[0]))) / (step(domain[1]) - step(domain[0]));
  const value = (x: number) => {
    const at = step(domain[0]) + (x / room) * (step(domain[1]) - step(domain[0]));
    return isLog ? Math.exp(at) : at;
  };
  const heaviest = Math.max(...finding.points.map((p) => p.weight ?? 0));
  const marks: Plot.Markish[] = [];
  let bottom = 6;
  finding.levels.forEach((level, index) => {
    const top = bottom;
    const look = groupLook(place(level));
    const points = drawn.filter((d) => d.point.group === level);
    const radius = yesNo ? 4 : radiusOf(points.length);
    const places = yesNo
      ? blocks(points, room)
      : swarm(points.map((d) => pixel(d.at)), pointSize * (radius / 4), 40).map((lift, i) => ({ x: pixel(points[i]?.at ?? 0), lift }));
    const reach = Math.max(4, ...places.map((p) => Math.abs(p.lift)));
    const middle = top + 24 + reach + 4;
    const under = middle + reach + 15;
    const own = finding.groups.find((group) => group.name === level);
    if (index > 0) marks.push(Plot.ruleY([top], { stroke: ruleColour }));
    marks.push(
      Plot.text([rowLabel(finding, level, points)], {
        frameAnchor: 'left', y: () => top + 12, textAnchor: 'start', fill: 'var(--ink)', stroke: 'var(--paper)', strokeWidth: 4,
        lineWidth: room / 12.5, textOverflow: 'ellipsis', dx: -8,
      }),
    );
    const spots = points.map((d, i) => {
      const { x, lift } = places[i] ?? { x: 0, lift: 0 };
      const r = heaviest > 0 ? 2.2 + 2.8 * Math.sqrt((d.point.weight ?? 0) / heaviest) : radius;
      return { drawn: d, x: value(x), y: middle + lift, r };
    });
    marks.push(
      Plot.link(spots.filter(hasReach), {
        x1: (s: Spot) => reachOf(s.drawn, domain).from, x2: (s: Spot) => reachOf(s.drawn, domain).to, y1: 'y', y2: 'y',
        stroke: look.colour, strokeWidth: radius / 4, strokeOpacity: 0.45 * (radius / 4) ** 2,
      }),
      ...dots(finding, spots, look, 0),
    );
    if (own && own.value !== null) {
      const bar = ends(own, domain);
      marks.push(
        Plot.link([own], { x1: () => bar.low, x2: () => bar.high, y1: () => under, y2: () => under, stroke: 'var(--ink)', strokeWidth: 2 }),
        Plot.dot([own], {
          x: () => own.value ?? 0, y: () => under, r: 4, fill: 'var(--ink)',
          title: () => `${spoken(level)}: ${own.text} ${shownUnit(own.unit)}`.trim(),
        }),
      );
    }
    bottom = under + 12;
  });
  const most = Math.max(3, Math.floor(width / 90));
  const ticks = isLog ? logTicks(...domain, most) : most;
  return frame(width, bottom + 40, labelOf(finding), {
    marginLeft, marginRight: 14, marginTop: 0, marginBottom: 40,
    x: { domain, type: isLog ? 'log' : 'linear', label: null },
    y: { type: 'identity', axis: null },
    r: { type: 'identity' },
    marks: [
      Plot.gridX({ stroke: ruleColour, strokeOpacity: 1, ticks }),
      Plot.axisX({ label: null, ticks, tickSize: 0, color: axisColour, ...(isLog ? { tickFormat: shortNumber } : {}) }),
      yesNo
        ? Plot.text([`← no    ${finding.outcome_title}, share    yes →`], { frameAnchor: 'bottom', dy: 34, fill: axisColour })
        : Plot.text([`${axisTitle(finding)} →`], { frameAnchor: 'bottom-right', dy: 34, textAnchor: 'end', fill: axisColour }),
      ...marks,
    ],
  });
}

/** The same fish under each level, joined; beside them what the model says. */
export function drawPairs({ finding, place }: FindingLook, width: number): SVGSVGElement {
  const drawn = drawnPoints(finding);
  const { levels } = finding;
  const last = levels.length - 1;
  const at = (level: string) => levels.indexOf(level);
  const estimates = finding.groups.filter((group) => group.value !== null && at(group.name) >= 0);
  const values = [
    ...drawn.map((d) => d.at),
    ...estimates.flatMap((g) => [g.value ?? NaN, g.lower ?? NaN, g.upper ?? NaN]),
  ];
  const [low, high] = limits(values);
  const isLog = isOnLog(finding, low);
  const domain = aired(low, high, isLog);
  const height = Math.min(400, Math.max(280, width * 0.7));
  const fish = [...new Set(drawn.map((d) => d.point.fish))];
  const of = (name: string, level: string) => drawn.find((d) => d.point.fish === name && d.point.group === level);
  const [first = '', second = ''] = levels;
  const both = fish.flatMap((name) => {
    const [a, b] = [of(name, first), of(name, second)];
    return a && b ? [{ a: a.at, b: b.at }] : [];
  });
  const beside = (level: string) => at(level) + (at(level) === last ? 0.09 : at(level) === 0 ? -0.09 : 0.07);
  const room = (width - 62) / (last + 0.4);
  const ticks = isLog ? logTicks(...domain, 6) : 6;
  return frame(width, height, labelOf(finding), {
    marginLeft: 52, marginRight: 10, marginTop: 34, marginBottom: 46,
    x: { domain: [-0.2, last + 0.2], axis: null },
    y: { domain, type: isLog ? 'log' : 'linear', label: null },
    r: { type: 'identity' },
    marks: [
      Plot.gridY({ stroke: ruleColour, strokeOpacity: 1, ticks }),
      Plot.axisY({ label: null, ticks, tickSize: 0, color: axisColour, ...(isLog ? { tickFormat: shortNumber } : {}) }),
      Plot.text([`↑ ${axisTitle(finding)}`], { frameAnchor: 'top-left', dx: -50, dy: -26, fill: axisColour, textAnchor: 'start' }),
      Plot.text([last === 1 ? `higher with ${spoken(second)}: ${both.filter((p) => p.b > p.a).length} of ${both.length}` : ''], {
        frameAnchor: 'top-right', textAnchor: 'end', dy: -13, fill: 'var(--ink)',
      }),
      Plot.ruleX(levels.map((_, i) => i), { stroke: 'var(--line-strong)' }),
      Plot.text(levels, {
        x: (_: string, i: number) => i, text: (level: string) => spoken(level), frameAnchor: 'bottom', dy: 12, lineAnchor: 'top',
        fill: 'var(--ink)', lineWidth: room / 12.5,
      }),
      Plot.line(drawn.sort((a, b) => at(a.point.group) - at(b.point.group)), {
        x: (d: Drawn) => at(d.point.group), y: 'at', z: (d: Drawn) => d.point.fish, stroke: 'var(--line-strong)', strokeWidth: 1.1, strokeOpacity: 0.8,
      }),
      ...levels.flatMap((level, x) => {
        const own = drawn.filter((d) => d.point.group === level);
        return dots(finding, own.map((d) => ({ drawn: d, x, y: d.at, r: 4 })), groupLook(place(level)), upward);
      }),
      ...estimates.map((g) => {
        const bar = ends(g, domain);
        return Plot.link([g], { x1: () => beside(g.name), x2: () => beside(g.name), y1: () => bar.low, y2: () => bar.high, stroke: 'var(--ink)', strokeWidth: 2 });
      }),
      ...estimates.map((g) => Plot.dot([g], {
        x: () => beside(g.name), y: () => g.value ?? 0, r: 4, fill: 'var(--ink)', title: () => `${spoken(g.name)}: ${g.text} ${shownUnit(g.unit)}`.trim(),
      })),
    ],
  });
}

/** Each row against a number, with what the model says and its band. */
export function drawSlope({ finding }: FindingLook, width: number): SVGSVGElement {
  const drawn = drawnPoints(finding).filter((d) => d.point.x !== null);
  const line = finding.curves.flatMap((curve) =>
    curve.x.flatMap((x, i) => {
      const y = curve.y[i];
      if (x === null || y === null || y === undefined) return [];
      return [{ group: curve.group, x, y, low: curve.lower[i] ?? y, high: curve.upper[i] ?? y }];
    }),
  );
  const values = [...drawn.flatMap((d) => [d.at - d.uncertainty, d.at + d.uncertainty, d.low, d.high]), ...line.flatMap((l) => [l.low, l.high])];
  const [low, high] = limits(values);
  const least = Math.min(...drawn.map((d) => d.at), ...line.map((l) => l.low));
  const isLog = isOnLog(finding, least);
  const domain = isLog ? aired(least, high, true) : aired(low, high, false);
  const look = { ...groupLook(-1), colour: 'var(--trace)' };
  const spots = drawn.map((d) => ({ drawn: d, x: d.point.x ?? 0, y: d.at, r: radiusOf(drawn.length / 3) }));
  const height = Math.min(420, Math.max(280, width * 0.62));
  const scores = finding.scores;
  const ticks = isLog ? logTicks(...domain, 6) : 6;
  return frame(width, height, labelOf(finding), {
    marginLeft: scores.length > 0 ? 110 : 52, marginRight: 24, marginTop: 34, marginBottom: 40,
    x: { label: null },
    y: { domain, type: isLog ? 'log' : 'linear', label: null },
    r: { type: 'identity' },
    marks: [
      Plot.gridY({ stroke: ruleColour, strokeOpacity: 1, ticks }),
      scores.length > 0
        ? Plot.axisY(scores.map((_, i) => i + 1), { label: null, tickSize: 0, color: axisColour, tickFormat: (rank: number) => scores[rank - 1] ?? '' })
        : Plot.axisY({ label: null, ticks, tickSize: 0, color: axisColour, ...(isLog ? { tickFormat: shortNumber } : {}) }),
      Plot.axisX({ label: null, ticks: Math.max(3, Math.floor(width / 90)), tickSize: 0, color: axisColour }),
      Plot.text([`↑ ${axisTitle(finding)}`], { frameAnchor: 'top-left', dx: scores.length > 0 ? -108 : -50, dy: -24, fill: axisColour, textAnchor: 'start' }),
      Plot.text([`${spoken(finding.compare)} →`], { frameAnchor: 'bottom-right', dy: 34, textAnchor: 'end', fill: axisColour }),
      Plot.areaY(line, { x: 'x', y1: 'low', y2: 'high', z: 'group', fill: 'var(--fit)', fillOpacity: 0.18 }),
      Plot.line(line, { x: 'x', y: 'y', z: 'group', stroke: 'var(--fit)', strokeWidth: 2 }),
      Plot.link(spots.filter(hasReach), {
        x1: 'x', x2: 'x', y1: (s: Spot) => reachOf(s.drawn, domain).from, y2: (s: Spot) => reachOf(s.drawn, domain).to,
        stroke: look.colour, strokeWidth: 1, strokeOpacity: 0.45,
      }),
      ...dots(finding, spots, look, upward),
    ],
  });
}

/** How much of the trace's colour a score's cells have; the lowest is the faintest. */
export const scoreOpacity = (rank: number, scores: number): number => (scores < 2 ? 0.5 : 0.12 + (0.8 * (rank - 1)) / (scores - 1));

/** A bar per group, a cell per row, from the lowest score to the highest. */
export function drawScores({ finding }: FindingLook, width: number): SVGSVGElement {
  const marks: Plot.Markish[] = [];
  const rowHeight = 62;
  const room = width - 34;
  finding.levels.forEach((level, row) => {
    const points = finding.points.filter((p) => p.group === level && p.value !== null).sort((a, b) => (a.value ?? 0) - (b.value ?? 0));
    const top = row * rowHeight;
    marks.push(
      Plot.text([`${spoken(level)}, ${rowText(finding, points.length)}`], {
        frameAnchor: 'left', y: () => top + 12, textAnchor: 'start', fill: 'var(--ink)', lineWidth: room / 12.5, textOverflow: 'ellipsis',
      }),
      Plot.rect(points, {
        x1: (_: unknown, i: number) => i / points.length, x2: (_: unknown, i: number) => (i + 1) / points.length, y1: () => top + 24, y2: () => top + 52,
        fill: 'var(--trace)', fillOpacity: (p: (typeof points)[number]) => scoreOpacity(p.value ?? 1, finding.scores.length), stroke: 'var(--paper)', strokeWidth: 1,
        title: (p: (typeof points)[number]) => `${p.row}: ${finding.scores[(p.value ?? 1) - 1] ?? String(p.value)}`,
      }),
    );
    let before = 0;
    finding.scores.forEach((_, i) => {
      const count = points.filter((p) => p.value === i + 1).length;
      const from = before;
      before += count;
      if (count > 0) {
        marks.push(
          Plot.ruleX([from / points.length], { y1: () => top + 22, y2: () => top + 54, stroke: 'var(--ink)', strokeWidth: 1.5 } as Plot.RuleXOptions),
          Plot.text([`${i + 1}`], { x: () => (from + count / 2) / points.length, y: () => top + 38, fill: 'var(--ink)', stroke: 'var(--paper)', strokeWidth: 4 }),
        );
      }
    });
  });
  return frame(width, finding.levels.length * rowHeight + 36, labelOf(finding), {
    marginLeft: 14, marginRight: 20, marginTop: 0, marginBottom: 34,
    x: { domain: [0, 1], label: null },
    y: { type: 'identity', axis: null },
    opacity: { type: 'identity' },
    marks: [
      ...marks,
      Plot.axisX([0, 0.25, 0.5, 0.75, 1], { label: null, tickSize: 0, color: axisColour, tickFormat: (v: number) => `${v * 100} %` }),
    ],
  });
}

export const dashes = ['none', '7 3', '2 3', '9 3 2 3'];

/** The share to whom the event has come (or not yet), step by step; each row is on its curve. */
export function drawTimes({ finding, place }: FindingLook, width: number): SVGSVGElement {
  const drawn = drawnPoints(finding);
  const steps = finding.curves.flatMap((curve) =>
    curve.x.flatMap((x, i) => {
      const y = curve.y[i];
      if (x === null || y === null || y === undefined) return [];
      return [{ group: curve.group, x, y, low: curve.lower[i] ?? y, high: curve.upper[i] ?? y }];
    }),
  );
  const end = Math.max(...steps.map((s) => s.x), ...drawn.map((d) => d.at)) * 1.03 || 1;
  // A curve holds until the last fish of its group was seen.
  const whole = finding.curves.flatMap(({ group }) => {
    const own = steps.filter((s) => s.group === group);
    const tail = own.at(-1);
    const until = Math.max(tail?.x ?? 0, ...drawn.filter((d) => d.point.group === group).map((d) => d.at));
    return tail && until > tail.x ? [...own, { ...tail, x: until }] : own;
  });
  const isRising = (finding.curves[0]?.y[0] ?? 0) < 0.5;
  const marks = finding.curves.flatMap((curve) => {
    const look = groupLook(place(curve.group));
    const own = whole.filter((s) => s.group === curve.group);
    return [
      Plot.areaY(own, { x: 'x', y1: 'low', y2: 'high', curve: 'step-after', fill: look.colour, fillOpacity: 0.12 }),
      Plot.line(own, {
        x: 'x', y: 'y', curve: 'step-after', stroke: look.colour, strokeWidth: 2, strokeDasharray: dashes[Math.max(0, finding.levels.indexOf(curve.group)) % 4] ?? 'none',
      }),
    ];
  });
  const points = finding.curves.flatMap((curve) => {
    const look = groupLook(place(curve.group));
    const own = drawn
      .filter((d) => d.point.group === curve.group)
      .map((d) => ({ drawn: d, x: d.at, y: heightAt(curve, d.at), r: 3.4 }));
    return [
      Plot.link(own.filter((s) => s.drawn.open === 'more'), {
        x1: 'x', x2: 'x', y1: (s: Spot) => s.y - 0.03, y2: (s: Spot) => s.y + 0.03, stroke: look.colour, strokeWidth: 2,
        title: (s: Spot) => titleOf(finding, s.drawn),
      }),
      ...dots(finding, own.filter((s) => s.drawn.open !== 'more'), look, 0),
    ];
  });
  const height = Math.min(420, Math.max(290, width * 0.6));
  return frame(width, height, labelOf(finding), {
    marginLeft: 48, marginRight: 14, marginTop: 34, marginBottom: 40,
    x: { domain: [0, end], label: null },
    y: { domain: [0, 1], label: null, clamp: true },
    r: { type: 'identity' },
    marks: [
      Plot.gridY({ stroke: ruleColour, strokeOpacity: 1, ticks: 5 }),
      Plot.axisY({ label: null, ticks: 5, tickSize: 0, color: axisColour, tickFormat: (v: number) => `${Math.round(v * 100)} %` }),
      Plot.axisX({ label: null, ticks: Math.max(3, Math.floor(width / 90)), tickSize: 0, color: axisColour }),
      Plot.text([isRising ? '↑ share to whom it has come' : '↑ share to whom it has not come'], { frameAnchor: 'top-left', dx: -46, dy: -24, fill: axisColour, textAnchor: 'start' }),
      Plot.text([`${axisTitle(finding)} →`], { frameAnchor: 'bottom-right', dy: 34, textAnchor: 'end', fill: axisColour }),
      ...marks,
      ...points,
    ],
  });
}
