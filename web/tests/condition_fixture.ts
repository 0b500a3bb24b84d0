// A fish's condition made by hand for the figures: values, limits, what is missing, a plate of eight by twelve and one of
// a single well. The numbers are invented and mean nothing.
import type {
  AssayPlate, BloodDraw, BloodValue, FishCondition, KnownFate, PlateWell, Quantity, ReflexLook, ScoredLook, ScoredPlace, StudyCondition,
} from '../src/data/results';

export const number = (value: number, unit: string, standard_uncertainty?: number): Quantity => ({
  value, unit, text: standard_uncertainty === undefined ? String(value) : `${value} ± ${standard_uncertainty}`,
  ...(standard_uncertainty === undefined ? {} : { standard_uncertainty }),
});
export const none = (reason: string, unit = ''): Quantity => ({ value: null, unit, text: reason, reason });

export function bloodValue(analyte: string, value: Quantity, more: Partial<BloodValue> = {}): BloodValue {
  return {
    analyte, matrix: 'plasma', value, below: null, above: null, as_written: '', device: '', haemolysis: 'none', doubts: [], sample: '', plate: '', wells: [],
    from: 'blood.csv, line 2', range_low: number(0.1, value.unit), range_high: number(30, value.unit), range_source: 'A. Source 1991, from memory',
    is_outside_range: false, notes: [], ...more,
  };
}

export function bloodDraw(at: string | null, minutes: number | null, values: BloodValue[]): BloodDraw {
  return {
    at, is_first_after_event: false, since_hook_up_min: minutes === null ? none('no time', 'min') : number(minutes, 'min'), since_sealed_min: none('no time', 'min'),
    volume_ml: number(0.6, 'mL'), ml_per_kg: number(0.74, 'mL/kg'), drawn_ml_per_kg: number(0.74, 'mL/kg'), ceiling_ml_per_kg: none('not set', 'mL/kg'),
    is_over_ceiling: false, who: 'crew', values, notes: [],
  };
}

export const place = (word: string, level: number | null, marks: string[] = []): ScoredPlace => ({
  word, title: word.replaceAll('_', ' '), level, level_word: level === null ? '' : (finScale[level] ?? ''), marks,
});

export const finScale = ['whole', 'frayed edge', 'split', 'part missing'];

export function look(occasion: string, scorer: string, places: ScoredPlace[]): ScoredLook {
  const levels = places.flatMap((each) => (each.level === null ? [] : [each.level]));
  const sum = levels.reduce((a, b) => a + b, 0);
  return {
    occasion, scorer, at: null, places, mean: levels.length > 4 ? number(Number((sum / levels.length).toFixed(2)), '') : none('too few scored'),
    sum: number(sum, ''), worst: levels.length > 0 ? Math.max(...levels) : null, note: '',
  };
}

export const fins = (levels: (number | null)[], marks: string[] = []): ScoredPlace[] =>
  ['dorsal', 'caudal', 'anal', 'left_pectoral', 'right_pectoral', 'left_pelvic', 'right_pelvic'].map((word, i) => place(word, levels[i] ?? null, i === 1 ? marks : []));

export const body = (wound: number): ScoredPlace[] => [
  place('head', 0), place('back', 1), place('left_flank', 2), place('right_flank', 0), place('belly', 1), place('tail', 3),
  place('left_eye', 0), place('right_eye', 1), { ...place('hook_wound', wound), level_word: ['none', 'slight', 'moderate', 'heavy'][wound] ?? '' },
];

export const reflexes = (lost: number): ReflexLook => ({
  at: null, tests: [{ name: 'righting', text: lost > 0 ? 'lost' : 'there' }], impaired_percent: number(lost, '%'),
  can_be_low_percent: number(lost, '%'), can_be_high_percent: number(lost, '%'),
});

export const fate = (more: Partial<KnownFate>): KnownFate => ({
  ending: 'alive', last_alive: null, found_dead: null, lost: null, released: null, stage: '', cause: '', tags: [], doubts: [], ...more,
});

export const bare = (): FishCondition => ({ draws: [], fins: [], body: [], reflexes: [], handling: [], bled_before: [], fate: null, reminders: [], doubts: [] });

/** The course of a sandwich assay turned round: response falls with concentration. */
const responseAt = (c: number): number => 0.08 + 1.9 / (1 + (c / 6) ** 1.1);

/** `bad`: this standard's wells read a third too high; `edge`: outer wells read so much higher. */
export function plate(id: string, bad = -1, edge = 0): AssayPlate {
  const levels = [0.39, 0.78, 1.56, 3.13, 6.25, 12.5, 25, 50];
  const wells: PlateWell[] = [];
  for (let row = 0; row < 8; ++row) {
    for (let column = 0; column < 12; ++column) {
      const name = `${'ABCDEFGH'[row]}${column + 1}`;
      const kind: PlateWell['kind'] =
        column < 2 ? 'standard' : column === 2 ? (row < 2 ? 'zero' : row < 4 ? 'blank' : row < 6 ? 'control' : 'spiked') : column === 11 && row > 5 ? 'empty' : 'sample';
      const level = levels[row] ?? 1;
      const concentration = kind === 'standard' ? level : kind === 'zero' ? 0 : kind === 'control' ? 8 : 0.5 + ((row * 7 + column * 3) % 40);
      const noise = 0.03 * Math.sin(12.9898 * (row * 12 + column) + 4.1);
      const isOuter = row === 0 || row === 7 || column === 0 || column === 11;
      const off = (kind === 'standard' && row === bad ? 0.34 : 0) + (isOuter ? edge : 0) + noise;
      const response = kind === 'empty' ? null : kind === 'blank' ? 0.05 : Number((responseAt(concentration) * (1 + off)).toFixed(4));
      wells.push({
        name, row: row + 1, column: column + 1, kind, label: kind === 'standard' ? String(level) : kind === 'sample' ? `S${row * 9 + column}` : kind === 'control' ? 'low' : '',
        response, residual: kind === 'empty' || kind === 'blank' ? null : Number((off - (isOuter ? edge / 2 : 0)).toFixed(4)),
        excluded: name === 'E7' ? 'bubble' : name === 'H2' ? 'pipetted twice' : '',
      });
    }
  }
  const of = (kind: PlateWell['kind'], row: number) => wells.filter((well) => well.kind === kind && well.row === row + 1 && well.excluded === '' && well.response !== null);
  const standards = [0, ...levels].map((concentration, i) => {
    const own = i === 0 ? wells.filter((well) => well.kind === 'zero') : of('standard', i - 1);
    return {
      concentration, wells: own.map((well) => well.name), responses: own.map((well) => well.response ?? 0), response: number(own[0]?.response ?? 0, ''),
      cv_percent: number(3, '%'), read_back: number(concentration, 'ng/mL'), recovery_percent: number(i - 1 === bad ? 62 : 101, '%'),
      is_accepted: i > 0 && i - 1 !== bad, remarks: i - 1 === bad ? ['recovery 62 %'] : [],
    };
  });
  const x = Array.from({ length: 60 }, (_, i) => 0.39 * (50 / 0.39) ** (i / 59));
  const material = (row: number, column: number, kind: 'sample' | 'control' | 'spiked', isBeyond: boolean) => {
    const well = wells.find((each) => each.row === row + 1 && each.column === column + 1);
    const concentration = isBeyond ? none('above 50', 'ng/mL') : number(1 + row * 5, 'ng/mL', 0.4);
    return {
      kind, label: well?.label ?? '', fish: '', dilutions: [{ dilution: 2, wells: [well?.name ?? ''], response: number(well?.response ?? 0, ''), cv_percent: number(4, '%'), concentration }],
      concentration, expected: none('no sample of known concentration'), recovery_percent: none('no sample of known concentration'), is_accepted: null,
      change_per_doubling_percent: none('one dilution'), parallel: '' as const, remarks: [],
    };
  };
  return {
    id, file: `raw/${id}.csv`, analyte: 'cortisol', unit: 'ng/mL', run_at: null, who: 'lab', unanswered: '', understood: [], rows: 8, columns: 12, wells,
    curve_kind: 'four-parameter logistic', parameters: [], weights: '',
    curve: { x, y: x.map(responseAt), low: x.map((c) => 0.97 * responseAt(c)), high: x.map((c) => 1.03 * responseAt(c)) },
    residuals: standards.flatMap((standard) =>
      standard.wells.map((well, i) => ({
        concentration: standard.concentration, well, percent: 100 * ((standard.responses[i] ?? 0) / responseAt(standard.concentration) - 1),
      })),
    ),
    standards, samples: [3, 4, 5, 6].flatMap((column) => [0, 1, 2, 3, 4, 5].map((row) => material(row, column, 'sample', row === 5 && column === 6))),
    controls: [material(4, 2, 'control', false)], spikes: [material(6, 2, 'spiked', false)],
    edge_percent: number(Math.round(100 * edge), '%', 1.2), is_edge_clear: edge > 0, limits: [], quantified_from: number(0.39, 'ng/mL'), quantified_to: number(50, 'ng/mL'),
    blank: number(0.05, ''), response_cv_percent: number(4, '%'), concentration_cv_percent: number(6, '%'), excluded: ['E7: bubble'], remarks: [],
  };
}

/** One well, no curve: what a torn export leaves. */
export function tornPlate(): AssayPlate {
  const whole = plate('torn');
  const [well] = whole.wells;
  return {
    ...whole, rows: 1, columns: 1, wells: well ? [well] : [], unanswered: 'one standard is no curve', curve: { x: [], y: [], low: [], high: [] }, residuals: [],
    standards: whole.standards.slice(1, 2).map((each) => ({ ...each, wells: each.wells.slice(0, 1), responses: each.responses.slice(0, 1) })), samples: [], controls: [], spikes: [],
    edge_percent: none('fewer than 2 inner wells', '%'), is_edge_clear: false, quantified_from: none('no curve', 'ng/mL'), quantified_to: none('no curve', 'ng/mL'),
  };
}

export const bareStudy = (): StudyCondition => ({
  has_any: true, plates: [], inter_assay: [], analytes: [], agreements: [], mortality: [], points: [], fin_scale: finScale,
  body_scale: ['none', 'under a tenth', 'a tenth to a third', 'over a third'], cautions: [], notes: [],
});
