// What happened to one fish, in order: steps with their minute, and what lasted.
import type { BloodDraw, Fish, KnownFate } from './results';
import { quantityText, seconds, spoken, zeroOf } from './read';

export type SpanKind = 'played' | 'in_hand' | 'air' | 'chase' | 'chamber' | 'died_between';

export interface Step {
  /** since the fish's time zero */
  minutes: number;
  title: string;
  /** what more is known, in words; may be empty */
  detail: string;
  /** seconds, one standard uncertainty; 0: not known */
  uncertainty: number;
}

export interface Span {
  kind: SpanKind;
  from: number;
  to: number;
  title: string;
}

export interface Timeline {
  /** "hook-up": what the minutes count from */
  zeroTitle: string;
  /** by time */
  steps: Step[];
  spans: Span[];
  /** what has no time written down */
  undated: string[];
}

/** Events of gear and of the day, not of the fish. */
const notOfTheFish = new Set(['lines_in', 'lines_out', 'cleaning', 'role_note', 'sensor_swap', 'lights_on', 'lights_off']);

const titles: Record<string, string> = { hook_up: 'hook-up' };
const titleOf = (word: string): string => titles[word] ?? spoken(word);
const listed = (...parts: string[]): string => parts.filter((each) => each !== '').join(', ');

/** What is recorded twice within these minutes is one thing: a draw and its event, a death and when it was found. */
const sameWithin = 5;
/** A note that the sheet of the draws says better. */
const isVolume = /^[\d.]+ mL$/;

interface Draft extends Step {
  word: string;
}

function eventSteps(fish: Fish, minutesOf: (iso: string) => number): { steps: Draft[]; undated: string[] } {
  const steps: Draft[] = [];
  const undated: string[] = [];
  for (const event of fish.events) {
    if (notOfTheFish.has(event.word)) continue;
    const detail = listed(event.assembly, event.value ? quantityText(event.value) : '', event.note);
    if (event.at === null) undated.push(listed(titleOf(event.word), detail));
    else {
      const uncertainty = event.at_uncertainty_s.value ?? 0;
      steps.push({ word: event.word, minutes: minutesOf(event.at), title: titleOf(event.word), detail, uncertainty });
    }
  }
  return { steps, undated };
}

function drawDetail(draw: BloodDraw): string {
  const drawn = draw.volume_ml.value === null ? '' : quantityText(draw.volume_ml);
  const perKilogram = draw.ml_per_kg.value === null ? '' : quantityText(draw.ml_per_kg);
  return listed(drawn, perKilogram, draw.is_over_ceiling ? 'over the permit’s ceiling' : '');
}

/** Adds to a step that tells of the same, else makes a new one. */
function join(steps: Draft[], words: string[], made: Draft): void {
  const same = steps.find((step) => words.includes(step.word) && Math.abs(step.minutes - made.minutes) <= sameWithin);
  if (!same) steps.push(made);
  else if (isVolume.test(same.detail) && made.detail !== '') same.detail = made.detail;
  else if (!same.detail.includes(made.detail)) same.detail = listed(same.detail, made.detail);
}

function addFate(fate: KnownFate, steps: Draft[], spans: Span[], minutesOf: (iso: string) => number): void {
  const plain = { uncertainty: 0 };
  const where = fate.stage === '' ? '' : `stage: ${spoken(fate.stage)}`;
  if (fate.released !== null) {
    join(steps, ['released'], { ...plain, word: 'released', minutes: minutesOf(fate.released), title: 'released', detail: fate.tags.join(', ') });
  }
  const end = fate.ending === 'dead' ? fate.found_dead : fate.ending === 'lost' ? fate.lost : null;
  if (end !== null) {
    const title = fate.ending === 'dead' ? 'found dead' : 'lost to follow-up';
    join(steps, ['died'], { ...plain, word: 'end', minutes: minutesOf(end), title, detail: listed(where, fate.cause) });
  }
  if (fate.last_alive === null) return;
  const alive = minutesOf(fate.last_alive);
  const isLater = alive > Math.max(...steps.map((step) => step.minutes)) + 1;
  const isApart = steps.every((step) => Math.abs(step.minutes - alive) > 1);
  if (fate.ending === 'alive' ? isLater : isApart) {
    steps.push({ ...plain, word: 'last_alive', minutes: alive, title: 'last known alive', detail: fate.ending === 'alive' ? where : '' });
  }
  if (fate.ending === 'dead' && end !== null && minutesOf(end) > alive + 1) {
    spans.push({ kind: 'died_between', from: alive, to: minutesOf(end), title: 'died in between' });
  }
}

/** From each `from` to the next of `to`, where no other `from` stands between. */
function pairedSpans(steps: Draft[], kind: SpanKind, from: string, to: string[], title: string): Span[] {
  return steps.flatMap((step, i) => {
    if (step.word !== from) return [];
    const end = steps.slice(i + 1).find((each) => each.word === from || to.includes(each.word));
    return end && end.word !== from ? [{ kind, from: step.minutes, to: end.minutes, title }] : [];
  });
}

export function timelineOf(fish: Fish): Timeline {
  const dates = [
    ...fish.events.map((each) => each.at),
    ...fish.condition.draws.map((each) => each.at),
    fish.condition.fate?.released ?? null,
    fish.condition.fate?.last_alive ?? null,
  ].filter((each) => each !== null);
  const zero = zeroOf(fish) ?? dates.sort()[0] ?? '1970-01-01T00:00:00Z';
  const minutesOf = (iso: string) => (seconds(iso) - seconds(zero)) / 60;
  const { steps, undated } = eventSteps(fish, minutesOf);
  const spans: Span[] = [];
  for (const stay of fish.stays) {
    if (stay.from === null || stay.to === null) continue;
    const from = minutesOf(stay.from);
    spans.push({ kind: 'chamber', from, to: minutesOf(stay.to), title: stay.assembly });
    join(steps, ['sealed'], { word: 'into', minutes: from, title: `into ${stay.assembly}`, detail: '', uncertainty: 0 });
  }
  for (const draw of fish.condition.draws) {
    const detail = drawDetail(draw);
    if (draw.at === null) undated.push(listed('blood', detail));
    else join(steps, ['blood'], { word: 'blood', minutes: minutesOf(draw.at), title: 'blood', detail, uncertainty: 0 });
  }
  if (fish.condition.fate) addFate(fish.condition.fate, steps, spans, minutesOf);
  steps.sort((a, b) => a.minutes - b.minutes);
  spans.push(
    ...pairedSpans(steps, 'played', 'hook_up', ['landed', 'lost'], 'played'),
    ...pairedSpans(steps, 'in_hand', 'landed', ['back_in_water', 'sealed'], 'landed, not yet back in water'),
    ...pairedSpans(steps, 'air', 'air_start', ['air_end'], 'in the air'),
    ...pairedSpans(steps, 'chase', 'chase_start', ['chase_end'], 'chased'),
  );
  return { zeroTitle: titleOf(fish.time_zero_word) || 'the first stay', steps, spans, undated };
}

/** Steps that follow each other within `gap` minutes. */
export function bursts(steps: Step[], gap = 20): Step[][] {
  const out: Step[][] = [];
  for (const step of steps) {
    const last = out.at(-1);
    const before = last?.at(-1);
    if (last && before && step.minutes - before.minutes <= gap) last.push(step);
    else out.push([step]);
  }
  return out;
}

/** "24 s", "4.2 min", "67 min", "5 h 46 min", "12.3 d" */
export function lapseText(minutes: number): string {
  const sign = minutes < 0 ? '−' : '';
  const size = Math.abs(minutes);
  if (size < 0.995) return `${sign}${Math.round(size * 60)} s`;
  if (size < 9.95) return `${sign}${size.toFixed(1)} min`;
  if (size < 119.5) return `${sign}${Math.round(size)} min`;
  if (size < 2880) {
    const whole = Math.round(size);
    return `${sign}${Math.floor(whole / 60)} h ${String(whole % 60).padStart(2, '0')} min`;
  }
  return `${sign}${(size / 1440).toFixed(1)} d`;
}
