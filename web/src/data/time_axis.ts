// A fish's hours laid out stay by stay: each stay gets a panel of its own, so that the first hour in the tube, the night
// and the hour after the chase can all be read, and none is squeezed by the others.

export interface Panel {
  from: number;
  to: number;
  label: string;
  /** share of the width it asks for, beside the others */
  weight: number;
}

export interface TimeAxis {
  panels: (Panel & { left: number; right: number })[];
  /** hours to 0..1; hours between panels fall in the gap between them, outside ones are held at the edge */
  place: (hours: number) => number;
  ticks: { at: number; label: string }[];
}

/** Round steps, in hours, of axes that are read in hours and of those read in minutes. */
const steps = {
  hours: [0.02, 0.05, 0.1, 0.25, 0.5, 1, 2, 3, 4, 6, 12, 24, 48],
  minutes: [0.5, 1, 2, 5, 10, 15, 30, 60, 120].map((minutes) => minutes / 60),
};

/** At most about `most` ticks, and at least one wherever a round hour or minute lies within. */
export function tickHours(from: number, to: number, most: number, read: keyof typeof steps = 'hours'): number[] {
  const round = steps[read];
  const ticksOf = (step: number) => {
    const ticks: number[] = [];
    for (let k = Math.ceil(from / step - 1e-9); k * step <= to + 1e-9; ++k) ticks.push(k * step);
    return ticks;
  };
  const first = round.findIndex((each) => (to - from) / each <= most);
  for (let i = first === -1 ? round.length - 1 : first; i >= 0; --i) {
    const ticks = ticksOf(round[i] ?? 1);
    if (ticks.length > 0) return ticks;
  }
  return [];
}

/** "0.5", "12": at most two decimals, no trailing zeros. */
export const hourText = (hours: number): string => String(Number(hours.toFixed(2)));

export function timeAxis(panels: Panel[], gap: number, ticksPerWidth: number): TimeAxis {
  const sorted = [...panels].sort((a, b) => a.from - b.from);
  const weights = sorted.reduce((sum, panel) => sum + panel.weight, 0);
  const room = 1 - gap * Math.max(0, sorted.length - 1);
  let left = 0;
  const placed = sorted.map((panel) => {
    const right = left + (room * panel.weight) / weights;
    const out = { ...panel, left, right };
    left = right + gap;
    return out;
  });
  const place = (hours: number): number => {
    let before: (typeof placed)[number] | undefined;
    for (const panel of placed) {
      if (hours < panel.from) {
        if (!before) return panel.left;
        // Between two stays: somewhere in the gap, in proportion.
        const share = (hours - before.to) / Math.max(panel.from - before.to, 1e-9);
        return before.right + share * (panel.left - before.right);
      }
      if (hours <= panel.to) {
        return panel.left + ((hours - panel.from) / Math.max(panel.to - panel.from, 1e-9)) * (panel.right - panel.left);
      }
      before = panel;
    }
    return before ? before.right : 0;
  };
  const ticks = placed.flatMap((panel) =>
    tickHours(panel.from, panel.to, Math.max(1, Math.floor((panel.right - panel.left) * ticksPerWidth))).map((hours) => ({
      at: place(hours),
      label: hourText(hours),
    })),
  );
  return { panels: placed, place, ticks };
}

/** Lanes for labels that stand to the right of their place: no two in one lane overlap. */
export function lanes(labels: { at: number; width: number }[], space: number): number[] {
  const ends: number[] = [];
  return labels.map(({ at, width }) => {
    const free = ends.findIndex((end) => end + space <= at);
    const lane = free === -1 ? ends.length : free;
    ends[lane] = at + width;
    return lane;
  });
}
