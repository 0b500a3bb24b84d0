// The numbers of one fish as tables, each with its road back.
import type { Cell, Row } from '../parts/NumberTable.svelte';
import { utcText } from '../data/clock';
import { measuredText } from '../data/measured';
import { spoken } from '../data/read';
import type { EstimatorSpread, Exclusion, Fish, Peak, Quantity, Recovery, Results, ScoredLook } from '../data/results';

const afterWord = (after: string): string => (after === 'chase' ? 'peak_after_chase' : 'peak_after_capture');

export const peakRoad = (fish: Fish, peak: Peak) => ({
  road: { fish: fish.id, number: afterWord(peak.after) },
  trace: { stay: peak.stay, spell: peak.spell },
});

export function peakRows(fish: Fish): Row[] {
  const { peaks } = fish.metrics;
  const numbers: [string, keyof Peak][] = [
    ['Per kilogram', 'uptake_mg_per_kg_h'], ['Whole animal', 'uptake_mg_per_h'], ['As found', 'steepest'], ['Of it luck of the search, taken off', 'selection_bias'],
    ['Mean of the first sealed spell', 'whole_spell'], ['Window', 'window_s'], ['Event to seal', 'delay_to_seal_s'], ['Event to window', 'delay_to_window_s'],
    ['Air', 'air_s'], ['Saturation at the window’s start', 'saturation_start_percent'], ['Saturation at its end', 'saturation_end_percent'],
    ['Temperature', 'temperature_celsius'], ['Error of the slope over the slope', 'relative_slope_error'],
  ];
  const roaded = new Set(['uptake_mg_per_kg_h', 'uptake_mg_per_h', 'steepest', 'selection_bias']);
  return [
    ...numbers.map(([title, key]) => ({
      title,
      cells: peaks.map((peak): Cell => {
        const of = roaded.has(key) ? peakRoad(fish, peak) : { trace: { stay: peak.stay, spell: peak.spell } };
        return { q: peak[key] as Quantity, title: `${fish.id}, ${peak.name}: ${title.toLowerCase()}`, ...of };
      }),
    })),
    { title: 'Where', cells: peaks.map((peak) => `${peak.stay}, spell ${peak.spell}, ${utcText(peak.from)} UTC`) },
    { title: 'Mark', cells: peaks.map((peak) => [peak.mark, ...peak.reasons.map((each) => each.text)].join('; ')) },
  ];
}

export function estimateRows(fish: Fish): Row[] {
  const rest = fish.metrics.resting;
  const road = { fish: fish.id, number: 'resting' };
  return (rest?.estimates ?? []).map((each) => ({
    title: each.is_picked ? `▸ ${each.title}` : each.title,
    cells: [
      { q: each.raw, title: `${fish.id}, ${each.title}, as computed`, ...(each.is_picked ? { road } : {}) },
      { q: each.corrected, title: `${fish.id}, ${each.title}, corrected for noise`, ...(each.is_picked ? { road } : {}) },
      String(each.values),
      each.is_picked ? 'picked by the rule' : '',
    ],
  }));
}

export function spreadText(spread: EstimatorSpread): string {
  if (spread.low.value === null || spread.high.value === null) return '';
  return `${spread.low.text} to ${spread.high.text} ${spread.high.unit} over ${spread.of}`;
}

export function scopeRows(fish: Fish): Row[] {
  return fish.metrics.scopes.map((scope) => {
    const title = `${scope.peak_name} over ${scope.resting_name}`;
    // The server's road is of the scope after capture.
    const of = scope.after === 'capture' ? { road: { fish: fish.id, number: 'scope' } } : {};
    return {
      title,
      cells: [
        { q: scope.absolute, title: `${fish.id}, absolute scope, ${title}`, ...of },
        { q: scope.factorial, title: `${fish.id}, factorial scope, ${title}`, ...of },
        { q: scope.adjusted_absolute, title: `${fish.id}, absolute scope adjusted, ${title}` },
        { q: scope.adjusted_factorial, title: `${fish.id}, factorial scope adjusted, ${title}` },
        { q: scope.temperature_difference_celsius, title: `${fish.id}, peak less rest, temperature` },
        [scope.adjusted_how, ...scope.reasons.map((each) => each.text)].filter((text) => text !== '').join('; '),
      ],
    };
  });
}

export function recoveryRows(fish: Fish, recovery: Recovery): Row[] {
  const isCapture = recovery.after === 'capture';
  return recovery.baselines.map((each) => {
    const of = (number: string) => (isCapture ? { road: { fish: fish.id, number } } : {});
    const title = (what: string) => `${fish.id}, ${what}, ${each.title}`;
    return {
      title: each.is_headline ? `${each.title} (headline)` : each.title,
      cells: [
        { q: each.level, title: title('level') },
        { q: each.excess_boat_hour, title: title(isCapture ? 'excess in the boat hour' : 'excess in the tube'), ...of('excess') },
        { q: each.excess_after_transfer, title: title('excess after transfer') },
        { q: each.capture_plus_handling, title: title(isCapture ? 'capture plus handling' : 'all') },
        { q: each.hours_by_data, title: title('recovered, by the data'), ...of('recovery') },
        { q: each.hours_by_fit, title: title('recovered, by the fit'), ...of('recovery') },
      ],
    };
  });
}

export function pairRows(fish: Fish): Row[] {
  const { pair } = fish.metrics;
  if (!pair || pair.missing !== '') return [];
  const cell = (q: Quantity, title: string): Cell => ({ q, title: `${fish.id}, ${title}` });
  const measured: Row = {
    title: 'As measured',
    cells: [cell(pair.after_capture, 'peak after capture'), cell(pair.after_chase, 'peak after chase'), cell(pair.difference, 'capture less chase'), cell(pair.ratio, 'capture over chase')],
  };
  if (pair.chase_adjusted.value === null) return [measured];
  return [
    measured,
    { title: 'Chase brought to the temperature at capture', cells: [cell(pair.after_capture, 'peak after capture'), cell(pair.chase_adjusted, 'peak after chase, adjusted'), '', cell(pair.ratio_adjusted, 'capture over chase, adjusted')] },
  ];
}

export function bloodRows(fish: Fish): Row[] {
  return fish.condition.draws.flatMap((draw) =>
    draw.values.map((value): Row => {
      const name = spoken(value.analyte);
      const range = value.range_low.value === null || value.range_high.value === null ? '' : `${value.range_low.text} to ${value.range_high.text} ${value.range_high.unit}${value.is_outside_range ? ': outside' : ''}`;
      const remarks = [value.as_written && `written as ${value.as_written}`, value.device, value.haemolysis && `haemolysis: ${value.haemolysis}`, value.doubts.length > 0 && `look at it before it is used: ${value.doubts.join('; ')}`, ...value.notes.filter((note) => !value.doubts.includes(note))];
      return {
        title: `${name}, ${spoken(value.matrix)}`,
        cells: [
          draw.since_hook_up_min.value === null ? utcText(draw.at) : `${Math.round(draw.since_hook_up_min.value)} min after hook-up`,
          { q: value.value, title: `${fish.id}, ${name}`, from: value.from },
          range, value.from, remarks.filter((text) => text).join('; '),
        ],
      };
    }),
  );
}

export function drawRows(fish: Fish): Row[] {
  return fish.condition.draws.map((draw) => ({
    title: utcText(draw.at) || 'time not written down',
    cells: [
      { q: draw.volume_ml, title: `${fish.id}, blood drawn` }, { q: draw.ml_per_kg, title: `${fish.id}, blood per kilogram` },
      { q: draw.drawn_ml_per_kg, title: `${fish.id}, with the draws before` }, { q: draw.ceiling_ml_per_kg, title: 'the permit’s ceiling' },
      [draw.is_over_ceiling ? 'over the ceiling' : draw.is_over_ceiling === null && draw.ceiling_ml_per_kg.value !== null ? 'whether over the ceiling is not known' : '', draw.who, ...draw.notes].filter((text) => text !== '').join('; '),
    ],
  }));
}

/** A row per look at fins or body. */
export function lookRows(fish: Fish, looks: ScoredLook[], what: string): Row[] {
  return looks.map((look) => ({
    title: `${what}, ${spoken(look.occasion)}`,
    cells: [
      look.scorer || 'scorer not written down',
      { q: look.mean, title: `${fish.id}, ${what}, mean level` }, { q: look.sum, title: `${fish.id}, ${what}, sum` },
      look.places.flatMap((place) => (place.level ? [`${place.title} ${place.level} ${place.level_word}`] : [])).join(', ') || 'unhurt where scored',
      look.note,
    ],
  }));
}

export function reflexRows(fish: Fish): Row[] {
  return fish.condition.reflexes.map((look) => ({
    title: utcText(look.at) || 'time not written down',
    cells: [
      { q: look.impaired_percent, title: `${fish.id}, reflexes lost` },
      look.tests.filter((test) => test.text === 'lost').map((test) => spoken(test.name)).join(', ') || 'none lost',
      look.tests.filter((test) => test.text === 'not tested').map((test) => spoken(test.name)).join(', '),
    ],
  }));
}

export function handlingRows(fish: Fish): Row[] {
  return fish.condition.handling.map((each) => ({
    title: each.title,
    cells: [{ q: each.by_events, title: `${fish.id}, ${each.title}, by the events` }, { q: each.typed, title: `${fish.id}, ${each.title}, typed by hand` }, each.disagreement],
  }));
}

export function eventRows(fish: Fish): Row[] {
  return fish.events.map((event) => ({
    title: spoken(event.word),
    cells: [
      utcText(event.at) || 'unknown', { q: event.at_uncertainty_s, title: `${fish.id}, ${spoken(event.word)}: sure to` },
      event.hours === null ? '' : (Math.abs(event.hours) < 0.005 ? 0 : event.hours).toFixed(2), event.stay,
      event.value ? { q: event.value, title: `${fish.id}, ${spoken(event.word)}` } : '', event.who, event.note,
    ],
  }));
}

export function stayRows(fish: Fish): Row[] {
  return fish.stays.map((stay) => ({
    title: stay.id,
    cells: [
      stay.assembly, utcText(stay.from), utcText(stay.to), spoken(stay.ending.word), String(stay.spells.number.length), stay.states_from,
      { q: stay.background.share_of_uptake, title: `${fish.id}, ${stay.id}: share of background`, from: stay.background.how },
      stay.sources.map((source) => `${source.path} lines ${source.first_line} to ${source.last_line}`).join('; '),
      [stay.unanswered, ...stay.notes, ...stay.background.notes].filter((text) => text !== '').join('; '),
    ],
  }));
}

const acts: Record<string, string> = { exclude: 'left out', include: 'taken in', mark: 'marked', move_start: 'start moved', move_end: 'end moved' };

export interface LeftOut {
  what: string;
  why: string;
  by: string;
  trace: { stay: string; spell: number | null };
}

/** Everything of this fish that does not count, or is doubted, and why: decisions first. */
export function leftOut(results: Results, fish: Fish): LeftOut[] {
  const own = new Set(fish.stays.map((stay) => stay.id));
  const decided = (each: Exclusion): LeftOut => ({
    what: `${each.stay}${each.spell > 0 ? `, spell ${each.spell}` : ', whole stay'}: ${acts[each.act] ?? spoken(each.act)}`,
    why: each.reasons.map((reason) => reason.text).join('; '),
    by: each.by === 'human' ? [each.author, utcText(each.decided)].filter((text) => text !== '').join(', ') : 'the program',
    trace: { stay: each.stay, spell: each.spell > 0 ? each.spell : null },
  });
  const byHand = results.exclusions.filter((each) => each.by === 'human' && (each.fish === fish.id || own.has(each.stay))).map(decided);
  const marked = fish.stays.flatMap((stay) =>
    stay.spells.number.flatMap((number, i): LeftOut[] => {
      const mark = stay.spells.mark[i];
      if (mark === 'good' || mark === undefined || stay.spells.is_excluded_by_hand[i]) return [];
      return [{ what: `${stay.id}, spell ${number}: ${mark}`, why: (stay.spells.reasons[i] ?? []).map((reason) => reason.text).join('; '), by: 'the program', trace: { stay: stay.id, spell: number } }];
    }),
  );
  return [...byHand, ...marked];
}

/** A spell's uptake as a number that can be asked after. */
export function spellQuantity(fish: Fish | null, stay: Fish['stays'][number], i: number): Quantity {
  const t = stay.spells;
  const perKilogram = t.uptake_mg_per_kg_h[i] ?? null;
  const value = perKilogram ?? t.uptake_mg_per_h[i] ?? null;
  const uncertainty = (perKilogram === null ? t.uptake_uncertainty_mg_per_h[i] : t.uptake_uncertainty_mg_per_kg_h[i]) ?? 0;
  if (value === null) return { value: null, unit: 'mg/h', text: 'no uptake', reason: (t.reasons[i] ?? []).map((each) => each.text).join('; ') || 'no uptake' };
  const effects = t.contributions.map((each) => ({ source: each.source, effect: each.effect[i] ?? 0 })).filter((each) => each.effect !== 0);
  const variance = effects.reduce((sum, each) => sum + each.effect ** 2, 0);
  return {
    value, unit: perKilogram === null ? 'mg/h' : 'mg/kg/h', text: measuredText(value, uncertainty), standard_uncertainty: uncertainty,
    method: `${fish ? 'total less background' : 'a blank'}: slope times the water’s volume${fish && perKilogram !== null ? ', per kilogram of fish' : ''}`,
    contributions: effects.map((each) => ({ ...each, share: variance > 0 ? each.effect ** 2 / variance : 0 })),
  };
}
