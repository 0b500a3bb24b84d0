// Made from src/report/results.schema.json by tools/schema_types.mjs (npm run types). Do not edit.

/** Everything one run of Backeddy has to say about a study. Units stand in the names or in a number's unit; times are UTC (ISO 8601); null means there is no value. No wall-clock time and no absolute path. */
export interface Results {
  schema: "backeddy results";
  schema_version: "1.7";
  study: StudyHeader;
  columns: Column[];
  groups: Group[];
  inputs: Input[];
  settings: Setting[];
  water: Water;
  sensors: Sensor[];
  clocks: Clock[];
  assemblies: Assembly[];
  accounting: Accounting;
  fishing: Fishing;
  fish: Fish[];
  /** stays without a fish */
  blanks: Stay[];
  headlines: Headline[];
  condition: StudyCondition;
  /** The answers of the study's questions ([[question]] of the brief), in their order */
  findings: Finding[];
  exclusions: Exclusion[];
  complaints: Complaint[];
  notes: string[];
  /** What a person answered, once, to the reporting rows that no data can know (`[report.answers]` of the brief): row word (checklist.hpp) and answer. */
  answers: NamedText[];
  /** Methods text, made from the settings */
  methods: Paragraph[];
  checklist: ChecklistRow[];
  cautions: string[];
}

/** A number of the report: a value, or null and the reason why there is none. */
export interface Quantity {
  value: number | null;
  /** '' for a pure number */
  unit: string;
  /** As printed everywhere, without the unit, rounded to the uncertainty ('412 ± 18', '8.1 (6.2 to 12.4)' where an interval stands alone); the reason where there is no value */
  text: string;
  /** Why there is no value */
  reason?: string;
  standard_uncertainty?: number;
  interval?: {
    low: number;
    /** null: no upper limit is known */
    high: number | null;
    level: number;
    method: string;
  };
  /** How it was made */
  method?: string;
  /** Where there are more than twelve, those under 1 % of the variance are gathered by kind (the word before the colon), as root sum of squares */
  contributions?: Contribution[];
  /** Censored: the true value is this or more */
  is_at_least?: boolean;
}

/** What one named source of uncertainty does to the value: its signed change when the source is one standard uncertainty high, and its share of the variance. */
export interface Contribution {
  source: string;
  effect: number;
  share: number;
}

/** What quality control says of a sealed spell */
export type Mark = "good" | "doubtful" | "unusable";

/** A fixed word that programs can count and a sentence that people can read */
export interface Reason {
  word: string;
  text: string;
}

export type ChamberState = "unknown" | "flush" | "settle" | "sealed";

/** Values against an axis, all vectors of one length; a NaN is "no value" and becomes null. `low` and `high` may be empty (no band). */
export interface Curve {
  x: (number | null)[];
  y: (number | null)[];
  low: (number | null)[];
  high: (number | null)[];
}

export interface NamedText {
  name: string;
  text: string;
}

export interface NamedNumber {
  /** Short and fixed, for programs */
  word: string;
  /** For people */
  title: string;
  number: Quantity;
}

export interface StudyHeader {
  title: string;
  place: string;
  permit: string;
  /** IANA name of the zone in which the tables' local times are */
  zone: string;
  species: string[];
  /** Made by `simulate`: said at the top of every page */
  is_simulated: boolean;
  /** "Simulated study: no fish was caught", printed when is_simulated */
  simulated_label: string;
  program: string;
  program_version: string;
}

/** One treatment or covariate column of the tables. */
export interface Column {
  name: string;
  /** "assigned", "before", "during", "after" the treatment, or "" when the brief does not say */
  stage: string;
  /** In order of first appearance; empty for a covariate */
  levels: string[];
}

/** A treatment group as drawn: the same colour and point shape wherever it appears. */
export interface Group {
  /** What Fish::group holds */
  key: string;
  /** "barbless, in water" */
  label: string;
}

export interface RefusedRow {
  line: number;
  reason: string;
  raw: string;
}

export interface Input {
  /** Relative to the study folder */
  path: string;
  /** "brief", "table", "trace", "pump log", "plate", "journal" */
  kind: string;
  sha256: string;
  bytes: number;
  /** "semicolon; decimal comma; UTF-16 LE", "clock boat logger, zone ..." */
  understood: string[];
  rows_kept: number | null;
  rows_refused: number | null;
  /** The first of them */
  refused: RefusedRow[];
}

export interface Setting {
  section: string;
  key: string;
  value: string;
  unit: string;
  default_value: string;
  /** Why this default */
  why: string;
  is_default: boolean;
}

export interface Water {
  salinity: Quantity;
  pressure_kpa: Quantity;
  /** "brief", "trace ctd:salinity", "conductivity referred to 25 degC" */
  salinity_from: string;
  /** "trace, at the station", "brief, reduced to sea level" */
  pressure_from: string;
  /** Of the loggers, and that they were undone */
  assumptions: string[];
}

export interface Calibration {
  at: string | null;
  /** "zero", "air" */
  point: string;
  reading: Quantity;
  temperature_celsius: Quantity;
  pressure_kpa: Quantity;
  salinity: Quantity;
  who: string;
  note: string;
}

/** How noisy a sensor was found to be: white noise plus a first-order autoregressive part. */
export interface NoiseModel {
  white_sd_mg_per_l: Quantity;
  autoregressive_sd_mg_per_l: Quantity;
  correlation_time_s: Quantity;
  /** "2 blanks and 41 long spells, pooled" */
  from: string;
}

export interface Sensor {
  name: string;
  assemblies: string[];
  lag_s: Quantity;
  sampling_interval_s: Quantity;
  noise: NoiseModel;
  calibrations: Calibration[];
  /** Between the calibrations before and after */
  drift: Quantity;
  note: string;
}

export interface ClockCheck {
  shown: string;
  true_time: string | null;
  uncertainty_s: Quantity;
  how: string;
}

export interface Clock {
  name: string;
  checks: ClockCheck[];
  /** Shown less true, at the first check */
  offset_s: Quantity;
  drift_s_per_day: Quantity;
  /** Uncertainty left after the correction */
  remaining_s: Quantity;
  /** "never checked" */
  note: string;
}

export interface Assembly {
  name: string;
  from: string | null;
  to: string | null;
  chamber_volume_l: Quantity;
  loop_volume_l: Quantity;
  flow_l_per_min: Quantity;
  sensor: string;
  /** "oxygen boat:O2_1, temperature boat:T_1, pump boat:pump_1" */
  channels: string;
  mixing_s: Quantity;
  note: string;
}

/** One that went no further than the stage it stands under. */
export interface Leaving {
  encounter: string;
  /** Empty for a fish never landed */
  fish: string;
  group: string;
  reason: string;
}

/** Stage words, in order: bite, hook_up, landed, eligible, sealed, usable_peak, night, chase. Every row counts those who reached it; `left` names each who did not get from it to the next, with the reason. */
export interface AccountingStage {
  word: string;
  title: string;
  count: number;
  left: Leaving[];
}

export interface FateCount {
  /** "released", "died in the chamber" ... */
  fate: string;
  count: number;
  fish: string[];
}

/** How many fish got that far on one rig; intervals are exact at 95 %. Words: bite, hook_up, landed, wanted (landed, of a species the study is after). */
export interface CatchStep {
  word: string;
  title: string;
  count: number;
  /** Of how many that could have; 0: of none, or nobody counted them */
  of: number;
  share_percent: Quantity;
  /** Of the count: while the lines were in for rod-hours that are known */
  in_hours: number;
  per_rod_hour: Quantity;
  /** Of this rate over the first rig's */
  ratio: Quantity;
}

export interface CatchCount {
  /** A reason; empty: not written down */
  name: string;
  count: number;
}

export interface SpeciesCount {
  /** Empty: not written down */
  species: string;
  count: number;
  is_bycatch: boolean;
}

export interface RigCatch {
  /** Empty: not written down */
  rig: string;
  lines: number;
  /** Of these lines */
  rod_hours: Quantity;
  /** Lines whose hours are not known */
  never_out: number;
  steps: CatchStep[];
  /** Bites that came to no hook-up, by reason */
  misses: CatchCount[];
  /** Of the hooked, by reason */
  losses: CatchCount[];
  /** Hooked, and neither landed nor lost as far as anybody wrote down */
  open_ends: number;
  /** Of the landed */
  species: SpeciesCount[];
}

/** The deck's log, rig by rig. The first rig is what ratios are over; the one without a name comes last. */
export interface Fishing {
  rigs: RigCatch[];
  /** What was not written down, and what that does to the numbers */
  notes: string[];
}

export interface Accounting {
  stages: AccountingStage[];
  fates: FateCount[];
  /** "bites were not written down on 14 June" */
  notes: string[];
}

/** A stretch of raw file that a stay's trace came from. */
export interface SourceSpan {
  path: string;
  first_line: number;
  last_line: number;
}

export interface RoleInterval {
  /** "after_capture", "rest", "after_chase", "handled_only", "control", "held", "blank", ... */
  role: string;
  from: string | null;
  to: string | null;
}

export interface Ending {
  /** "done", "died", "escaped", "welfare_stop", "equipment", "opened" */
  word: string;
  last_good: string | null;
  note: string;
}

export interface StateRun {
  state: ChamberState;
  from: string;
  to: string;
}

/** A trace thinned for drawing (thin.hpp): in each slice of time the lowest and the highest reading are kept, so no extreme is hidden. at_s counts from `from`. A NaN in oxygen_mg_per_l is a gap. */
export interface DrawnTrace {
  from: string;
  at_s: (number | null)[];
  oxygen_mg_per_l: (number | null)[];
  /** Same length, or empty */
  saturation_percent: (number | null)[];
  /** Same length, or empty */
  temperature_celsius: (number | null)[];
  states: StateRun[];
  /** Readings before thinning */
  rows: number;
}

export interface BackgroundPoint {
  /** The blank's */
  stay: string;
  at: string | null;
  slope_mg_per_l_h: Quantity;
  uptake_mg_per_h: Quantity;
  /** "before", "after", "side by side" */
  place: string;
  is_used: boolean;
  note: string;
}

export interface Background {
  /** "both blanks, straight between them, whole chamber volume" */
  how: string;
  points: BackgroundPoint[];
  /** Median over the stay's spells, per cent */
  share_of_uptake: Quantity;
  /** "cleaned between: only the blank before was used" */
  notes: string[];
}

/** Uptake as a curve in time with its pointwise band (state-space smoother), thinned for drawing. x in hours since `from`; a null parts pieces between which nothing is known. No answer rests on it. */
export interface Continuous {
  from: string;
  /** In the fish's drawn_unit */
  uptake: Curve;
  /** Of the pointwise band */
  level: number;
  /** Before thinning */
  points: number;
  method: string;
  /** The part of the band that moves the whole curve together */
  scale_uncertainty_percent: Quantity;
  reasons: Reason[];
  /** Why there is no curve; empty when there is one */
  missing: string;
}

export interface Stay {
  id: string;
  /** Empty for a blank */
  fish: string;
  assembly: string;
  /** More than one after a swap */
  sensors: string[];
  from: string | null;
  to: string | null;
  roles: RoleInterval[];
  ending: Ending;
  /** "pump column", "pump log", "timetable", "found in the trace" */
  states_from: string;
  /** Why nothing could be computed; empty when something could */
  unanswered: string;
  /** Mean over the stay */
  temperature_celsius: Quantity;
  /** Net volume, loop included, per mass of fish, L/kg */
  volume_mass_ratio: Quantity;
  trace: DrawnTrace;
  spells: Spells;
  background: Background;
  continuous: Continuous | null;
  sources: SourceSpan[];
  notes: string[];
}

/** The steepest window of one length. */
export interface PeakCurvePoint {
  window_s: number | null;
  readings: number | null;
  steepest: number | null;
  /** Of the slope alone */
  standard_uncertainty: number | null;
  /** How much picking the steepest flatters it */
  selection_bias: number | null;
  /** What the mean over the window hides of its start (negative), where known */
  averaging: number | null;
  /** Steepest less the selection bias */
  corrected: number | null;
  start_after_event_s: number | null;
  /** Standard error of the slope over the slope */
  relative_slope_error: number | null;
  saturation_end_percent: number | null;
  /** Why there is no value (all else but window_s is then null); empty when there is one */
  reason: string;
}

/** "Peak after capture", "peak after chase". */
export interface Peak {
  /** "peak after capture" */
  name: string;
  /** "capture", "chase", "handling" */
  after: string;
  event_at: string | null;
  stay: string;
  /** Number of the spell the window lies in */
  spell: number;
  from: string | null;
  to: string | null;
  /** The headline: steepest window of the stated length, selection bias taken off */
  uptake_mg_per_kg_h: Quantity;
  uptake_mg_per_h: Quantity;
  /** As found, before the bias is taken off */
  steepest: Quantity;
  selection_bias: Quantity;
  /** Mean over the first sealed spell, which no search has touched */
  whole_spell: Quantity;
  window_s: Quantity;
  /** Event to chamber closed */
  delay_to_seal_s: Quantity;
  /** Event to the window's first reading */
  delay_to_window_s: Quantity;
  air_s: Quantity;
  saturation_start_percent: Quantity;
  saturation_end_percent: Quantity;
  temperature_celsius: Quantity;
  /** Per cent */
  relative_slope_error: Quantity;
  curve: PeakCurvePoint[];
  mark: Mark;
  reasons: Reason[];
}

/** One way to say what rest costs. */
export interface RestingEstimate {
  /** "lowest_normal", "quantile_20", "mean_of_ten_lowest", ... */
  word: string;
  /** "0.2 quantile" */
  title: string;
  raw: Quantity;
  /** After the noise of the values themselves is allowed for */
  corrected: Quantity;
  noise_bias: Quantity;
  /** How many spells carry weight */
  values: number;
  is_picked: boolean;
}

export interface CutOffPoint {
  hours_since_handling: number | null;
  values: number;
  /** The rule's quantile, raw, of the values from here on */
  resting: number | null;
  /** Over the trend window that begins here; positive is falling */
  fall: number | null;
  fall_uncertainty: number | null;
  /** A downward trend is left */
  is_falling: boolean;
}

export interface NormalComponent {
  mean: number | null;
  sd: number | null;
  weight: number | null;
}

/** The mixture of normal distributions behind the lowest-normal estimator. */
export interface LowestNormal {
  /** Ascending by mean */
  components: NormalComponent[];
  /** Index of the component taken */
  lowest: number;
  /** Values classified into it */
  classified: number;
  /** Of the values classified into it: what the rule judges */
  cv_percent: Quantity;
  /** Why there is no fit */
  reason: string;
}

/** One value of the distribution: a sealed spell's uptake at rest. */
export interface RestingValue {
  spell: number;
  hours_since_handling: number | null;
  uptake: number | null;
  standard_uncertainty: number | null;
  /** After the cut-off and usable */
  counts: boolean;
}

/** The fish's own median by hour of the day: the baseline of recovery. */
export interface RoutineHour {
  /** Local */
  hour_of_day: number;
  values: number;
  median: Quantity;
}

/** How far the answer depends on which estimator is asked: lowest and highest of some of them. A choice, not an error of measurement, and in no standard uncertainty. */
export interface EstimatorSpread {
  /** Which estimators, in words */
  of: string;
  low: Quantity;
  high: Quantity;
}

export interface Resting {
  stay: string;
  /** "SMR", "resting, overnight", "resting, not recovered" */
  kind: string;
  /** The rule's pick, noise-corrected where the settings say so */
  uptake_mg_per_kg_h: Quantity;
  uptake_mg_per_h: Quantity;
  /** Of the pick */
  raw: Quantity;
  /** Of the pick */
  corrected: Quantity;
  /** Word of the estimator */
  picked: string;
  /** The rule's sentence with its numbers filled in */
  rule: string;
  estimates: RestingEstimate[];
  /** Of those that the rule chooses from */
  family_spread: EstimatorSpread;
  /** Of all that could be computed */
  all_spread: EstimatorSpread;
  /** Since handling */
  cut_off_hours: Quantity;
  cut_off_reason: string;
  cut_off_curve: CutOffPoint[];
  values: RestingValue[];
  lowest_normal: LowestNormal;
  routine_hours: RoutineHour[];
  routine_whole_night: Quantity;
  temperature_celsius: Quantity;
  background_share_percent: Quantity;
  hours_counted: Quantity;
  stay_hours: Quantity;
  reasons: Reason[];
}

export interface Scope {
  /** "capture", "chase" */
  after: string;
  peak_name: string;
  /** "SMR", "resting, overnight" ... */
  resting_name: string;
  absolute: Quantity;
  factorial: Quantity;
  /** Rest brought to the peak's temperature by Q10; stands beside the measured */
  adjusted_absolute: Quantity;
  adjusted_factorial: Quantity;
  adjusted_how: string;
  /** Peak less rest */
  temperature_difference_celsius: Quantity;
  reasons: Reason[];
}

/** Excess and recovery above one baseline. A Number that is_at_least is censored: the baseline was not met. */
export interface BaselineVariant {
  /** "hour_matched_median", "resting_plus_10", "resting_plus_20" */
  word: string;
  /** "own overnight median, hour-matched", "SMR + 10 %" */
  title: string;
  is_headline: boolean;
  /** Mean over the span where it varies with the hour */
  level: Quantity;
  excess_boat_hour: Quantity;
  excess_after_transfer: Quantity;
  capture_plus_handling: Quantity;
  /** Of the excess: rests on holding the peak back to time zero */
  held_back_share_percent: Quantity;
  /** Of the excess: lies in gaps between the stays */
  bridged_share_percent: Quantity;
  hours_by_data: Quantity;
  hours_by_fit: Quantity;
  fitted_excess: Quantity;
}

/** What is drawn: uptake at mid-spell against hours since time zero, and the headline baseline at that hour. */
export interface RecoveryPoint {
  hours: number | null;
  uptake: number | null;
  standard_uncertainty: number | null;
  baseline: number | null;
  /** "boat_hour", "after_transfer": which excess it belongs to; "" once recovered */
  part: string;
}

export interface RecoveryEvent {
  hours: number | null;
  /** "blood", "transfer" */
  what: string;
}

export interface DecayFit {
  /** "through_events", "events_allowed_for", "ended_at_first_event" */
  span: string;
  /** The same for people */
  title: string;
  phases: number;
  spells: number;
  formula: string;
  parameters: NamedNumber[];
  half_time_h: Quantity;
  excess_first_hour: Quantity;
  excess_all: Quantity;
  /** X hours since time zero */
  curve: Curve;
  /** Why there is no fit */
  reason: string;
}

export interface Recovery {
  /** "capture", "chase" */
  after: string;
  /** The event's word */
  time_zero: string;
  time_zero_at: string | null;
  /** The headline first */
  baselines: BaselineVariant[];
  half_time_by_data_h: Quantity;
  /** At the tube's last spell */
  recovered_share_percent: Quantity;
  /** The plain one */
  fit: DecayFit;
  sensitivity: DecayFit[];
  points: RecoveryPoint[];
  events: RecoveryEvent[];
  reasons: Reason[];
}

/** The same fish after capture and after chase: a comparison of protocols, with what else differed. */
export interface PairedPeaks {
  after_capture: Quantity;
  after_chase: Quantity;
  /** Capture less chase; shared errors cancel */
  difference: Quantity;
  /** Capture over chase */
  ratio: Quantity;
  hours_between: Quantity;
  temperature_difference_celsius: Quantity;
  /** Chase brought to the temperature at capture, where they differ enough */
  chase_adjusted: Quantity;
  ratio_adjusted: Quantity;
  /** In words: temperature, tube, sensor, bleed, air, hours between */
  differences: string[];
  reasons: Reason[];
  /** Why there is no pair; empty when there is one */
  missing: string;
}

export interface Metrics {
  drawn_unit: string;
  peaks: Peak[];
  resting: Resting | null;
  scopes: Scope[];
  recoveries: Recovery[];
  pair: PairedPeaks | null;
  /** To a common mass or temperature, beside the measured */
  adjusted: NamedNumber[];
  /** What lies outside the plausible bounds: look before believing */
  implausible: Reason[];
  /** Metric word and why this fish has none */
  missing: NamedText[];
}

export interface Encounter {
  id: string;
  at: string | null;
  at_uncertainty_s: Quantity;
  method: string;
  who: string;
  where: string;
  rig: string;
  unhooking: string;
  landing: string;
  hook_location: string;
  water_temperature_celsius: Quantity;
  note: string;
  /** Free columns of the table */
  columns: NamedText[];
}

export interface Event {
  at: string | null;
  at_uncertainty_s: Quantity;
  /** "hook_up" */
  word: string;
  stay: string;
  assembly: string;
  value: Quantity | null;
  who: string;
  note: string;
  /** Since the fish's time zero */
  hours: number | null;
}

/** One analyte of one draw, in its usual unit. Of a limit `value` is null with the reason in words ("below 3.1 ng/mL") and `below` or `above` is what is known: never half a limit, never zero. */
export interface BloodValue {
  /** "cortisol", "lactate", "haematocrit" ... */
  analyte: string;
  /** "plasma", "serum", "whole_blood" ...: values of different matrices are never put together */
  matrix: string;
  /** In the analyte's usual unit; null where only a limit is known */
  value: Quantity;
  /** The truth lies below this (the assay's limit), same unit; null where the value is known or lies above */
  below: number | null;
  /** The truth lies above this (the range's end), same unit; null where the value is known or lies below */
  above: number | null;
  /** "43 mg/dL", where that is another unit than the usual one; else empty */
  as_written: string;
  /** What it was measured with; empty: not written down */
  device: string;
  /** Of the sample; '' where nobody said */
  haemolysis: "" | "none" | "slight" | "marked";
  /** The tube's label; empty: none */
  sample: string;
  /** The assay plate it was read from; empty: typed in blood.csv */
  plate: string;
  /** Wells of that plate that made it */
  wells: string[];
  /** The road back: "blood.csv, line 12", "plate P1, wells C3 and C4; samples.csv, line 7" */
  from: string;
  /** Lower end of the published range of salmonids, from rest to exhaustion; null for a matrix it does not hold for */
  range_low: Quantity;
  /** Its upper end */
  range_high: Quantity;
  /** Where the range is from, and how well that is known */
  range_source: string;
  /** Outside the published range: look before believing; nothing was taken out */
  is_outside_range: boolean;
  /** What is odd about it, in words */
  notes: string[];
  /** Why to look at it before it is used: drawn out beyond a meter's pairs, measured twice and not alike, its matter unknown, its wells apart. Findings that use it say so */
  doubts: string[];
}

/** One draw of blood. */
export interface BloodDraw {
  /** When; null: not written down */
  at: string | null;
  /** Minutes since the last hook-up before it */
  since_hook_up_min: Quantity;
  /** Minutes since the last sealing before it */
  since_sealed_min: Quantity;
  /** Drawn, mL */
  volume_ml: Quantity;
  /** Of this draw, per kilogram of fish */
  ml_per_kg: Quantity;
  /** With all draws before it that still count */
  drawn_ml_per_kg: Quantity;
  /** The permit's; null: not set in the brief */
  ceiling_ml_per_kg: Quantity;
  /** All that counts is over the permit's ceiling; null: no ceiling is set, or a mass, a volume or a row is not known (notes say which) */
  is_over_ceiling: boolean | null;
  /** The one that summaries, questions and the table by fish go by: the first with blood values after the capture, before a chase or another encounter; at most one of a fish */
  is_first_after_event: boolean;
  /** Who drew it */
  who: string;
  /** Analyte by analyte */
  values: BloodValue[];
  /** What is odd about the draw */
  notes: string[];
}

/** A place on the fish with the level it was given. */
export interface ScoredPlace {
  /** Fixed, for programs and the outline: "left_pectoral", "head", "left_eye", "hook_wound" */
  word: string;
  /** "left pectoral" */
  title: string;
  /** From 0, unhurt; null: not scored, which is not 0 */
  level: number | null;
  /** The level as the brief's scale has it; empty: not scored */
  level_word: string;
  /** "split", "frayed", "net marks" */
  marks: string[];
}

/** Fins, or body, of one fish by one scorer on one occasion. */
export interface ScoredLook {
  /** "landing", "before_holding", "after_holding" */
  occasion: string;
  /** Who scored; empty: not written down */
  scorer: string;
  /** When; null: not written down */
  at: string | null;
  /** Fins, or areas of the body, eyes and the hook wound */
  places: ScoredPlace[];
  /** Mean level over the places of the settings: steps taken for equal; null where too few were scored */
  mean: Quantity;
  /** Sum of the levels; null where any place is missing */
  sum: Quantity;
  /** Worst level of what was scored; null: nothing was */
  worst: number | null;
  /** What is missing of it */
  note: string;
}

/** Reflex tests of one fish at one moment. A test that was not done is missing, never passed or failed. */
export interface ReflexLook {
  /** When; null: not written down */
  at: string | null;
  /** Test and "there", "lost" or "not tested" */
  tests: NamedText[];
  /** Lost of those tested */
  impaired_percent: Quantity;
  /** Of all tests, had the missing ones all been there */
  can_be_low_percent: Quantity;
  /** Of all tests, had the missing ones all been lost */
  can_be_high_percent: Quantity;
}

/** A length of time by the recorded events and as typed by hand, side by side. */
export interface HandlingTime {
  /** "fight_s", "air_s" ... */
  word: string;
  /** "fight" */
  title: string;
  /** From the events */
  by_events: Quantity;
  /** From the table */
  typed: Quantity;
  /** In words; empty: none, or only one is there */
  disagreement: string;
}

/** What is known of a fish's life: between which looks it died, if it did. */
export interface KnownFate {
  /** When last heard of */
  ending: "alive" | "lost" | "dead";
  /** Last known alive; null: no record says so */
  last_alive: string | null;
  /** Of a dead fish: found, or seen to die; the death lies after last_alive and not after this */
  found_dead: string | null;
  /** Of a fish lost to follow-up: when it was missed */
  lost: string | null;
  /** The first time */
  released: string | null;
  /** Where it died, was lost or was last written down: "play", "tube", "transfer", "chamber", "chase", "holding", "after_release" */
  stage: string;
  /** Of the death or loss; empty: not known */
  cause: string;
  /** "external T-bar 0412" */
  tags: string[];
  /** Records that contradict each other, none of them mended */
  doubts: string[];
}

/** Condition of one fish; every list is empty where no sheet tells of it. */
export interface FishCondition {
  /** By time */
  draws: BloodDraw[];
  /** A look per occasion and scorer */
  fins: ScoredLook[];
  /** Scale loss, eyes, the hook wound */
  body: ScoredLook[];
  /** By time */
  reflexes: ReflexLook[];
  /** Fight, air, time to sealing ... */
  handling: HandlingTime[];
  /** mL/kg drawn before each peak, a covariate of it, by its word: "peak_after_chase" */
  bled_before: NamedNumber[];
  /** null: no record tells of it */
  fate: KnownFate | null;
  /** Of the permit's end points, at lost righting or heavy bleeding */
  reminders: string[];
  /** Times that contradict each other */
  doubts: string[];
}

/** One well of an assay plate. */
export interface PlateWell {
  /** "C7" */
  name: string;
  /** From 0 */
  row: number;
  /** From 0 */
  column: number;
  /** What stands in it, by the plate map */
  kind: "standard" | "zero" | "blank" | "control" | "sample" | "spiked" | "empty";
  /** Of standards the concentration */
  label: string;
  /** As read; null: not read */
  response: number | null;
  /** ln response less the mean of its replicates; null where there is nothing to compare */
  residual: number | null;
  /** Why it does not count; empty: it does */
  excluded: string;
}

/** One concentration of the standards. */
export interface PlateStandard {
  /** As the plate map says, in the plate's unit; 0: the zero wells */
  concentration: number;
  /** That count */
  wells: string[];
  /** As read, of the wells that count */
  responses: number[];
  /** Their mean, as read */
  response: Quantity;
  /** Of the replicates */
  cv_percent: Quantity;
  /** Concentration read back from the curve; null beyond it, and at 0 */
  read_back: Quantity;
  /** Read back over what it should be */
  recovery_percent: Quantity;
  /** Recovery and CV within their limits; false at 0 */
  is_accepted: boolean;
  /** What is wrong with it */
  remarks: string[];
}

/** Wells of one material at one dilution. */
export interface PlateDilution {
  /** How many times diluted; 1: not */
  dilution: number;
  /** That count */
  wells: string[];
  /** Mean, less the blank where that is taken off */
  response: Quantity;
  /** Of the replicates */
  cv_percent: Quantity;
  /** The dilution undone; null with the reason where it lies beyond the curve */
  concentration: Quantity;
}

/** A sample, control or spiked sample, over all its dilutions. */
export interface PlateMaterial {
  /** What it is */
  kind: "sample" | "control" | "spiked";
  /** The tube's, as on the plate map */
  label: string;
  /** Of samples, by samples.csv; empty: not known or not a fish's */
  fish: string;
  /** By dilution, ascending */
  dilutions: PlateDilution[];
  /** The dilution undone, with its interval (curve and replicates); null with "below 0.78" beyond the curve, never drawn out past it */
  concentration: Quantity;
  /** Of controls what it should be, of spiked samples what was added */
  expected: Quantity;
  /** Of that */
  recovery_percent: Quantity;
  /** null: nothing to hold it against */
  is_accepted: boolean | null;
  /** Of the result, with each twofold dilution; 0: parallel to the standards */
  change_per_doubling_percent: Quantity;
  /** '' with fewer than two dilutions on the curve */
  parallel: "" | "yes" | "no" | "undecided";
  /** What to know before believing it */
  remarks: string[];
}

/** A standard's well against the curve. */
export interface PlateResidual {
  /** In the plate's unit */
  concentration: number;
  /** Response over the curve's, less 1 */
  percent: number;
  /** "C7" */
  well: string;
}

/** A limit of detection or quantification, by one definition. */
export interface PlateLimit {
  /** In words */
  definition: string;
  /** Undiluted; null with the reason */
  concentration: Quantity;
}

/** One assay plate: wells, standard curve, what was read from it and what is wrong with it. */
export interface AssayPlate {
  /** As the study names it */
  id: string;
  /** The reader's export, relative to the study folder */
  file: string;
  /** "cortisol" */
  analyte: string;
  /** Of every concentration here */
  unit: string;
  /** When it was run; null: not written down */
  run_at: string | null;
  /** Who ran it */
  who: string;
  /** Why there are no numbers; empty when there are */
  unanswered: string;
  /** Of the export and the map */
  understood: string[];
  /** Of the plate */
  rows: number;
  /** Of the plate */
  columns: number;
  /** Row by row */
  wells: PlateWell[];
  /** "four-parameter logistic" */
  curve_kind: string;
  /** Of the curve, with their standard errors */
  parameters: NamedNumber[];
  /** Where the variance's power came from, in words */
  weights: string;
  /** x concentration, y response as read, with its 95 % band */
  curve: Curve;
  /** Of the standards' wells */
  residuals: PlateResidual[];
  /** By concentration, ascending */
  standards: PlateStandard[];
  /** In order of their first well */
  samples: PlateMaterial[];
  /** Of known concentration */
  controls: PlateMaterial[];
  /** Samples to which a known amount was added */
  spikes: PlateMaterial[];
  /** Response of outer wells over that of inner ones, less 1; null: why it cannot be told */
  edge_percent: Quantity;
  /** The interval of edge_percent leaves out 0 */
  is_edge_clear: boolean;
  /** Of detection and quantification */
  limits: PlateLimit[];
  /** The lowest accepted standard */
  quantified_from: Quantity;
  /** The highest accepted standard */
  quantified_to: Quantity;
  /** Mean response of the blanks */
  blank: Quantity;
  /** Of replicates of samples, controls and spikes, pooled */
  response_cv_percent: Quantity;
  /** Intra-assay CV: of those whose wells all lie on the curve, pooled */
  concentration_cv_percent: Quantity;
  /** "C7: bubble" */
  excluded: string[];
  /** What to know of the plate */
  remarks: string[];
}

/** One control over the plates of an analyte. Percent of the mean. */
export interface InterAssay {
  /** "cortisol" */
  analyte: string;
  /** The control's */
  label: string;
  /** On which all of its wells lie on the curve */
  plates: number;
  /** Over all those plates */
  wells: number;
  /** Of the plates' results */
  mean: Quantity;
  /** Scatter of the plates' results: what is mostly called the inter-assay CV */
  cv_of_means_percent: Quantity;
  /** Within plates, by the variance components */
  within_percent: Quantity;
  /** Between plates; 0 where plates differ less than their wells would have it */
  between_percent: Quantity;
  /** Of one well on any plate */
  total_percent: Quantity;
  /** Plates that bear it and do not count, each with why */
  left_out: string[];
}

/** One analyte over the study's fish at the first draw after the event. A quantile is a number only where it is the same whatever the truth within the limits known, else null with the bounds that hold as its reason. */
export interface AnalyteSummary {
  /** "cortisol" */
  analyte: string;
  /** "plasma" */
  matrix: string;
  /** Key of a group; '' with is_all: all fish, else of no group */
  group: string;
  /** Over all fish */
  is_all: boolean;
  /** With this analyte */
  fish: number;
  /** Of them only an upper limit is known */
  below: number;
  /** Of them only a lower limit is known */
  above: number;
  /** In the analyte's usual unit */
  median: Quantity;
  /** Likewise */
  lower_quartile: Quantity;
  /** Likewise */
  upper_quartile: Quantity;
  /** Median of the draws */
  minutes_since_hook_up: Quantity;
}

/** Two people who scored the same fish. */
export interface ScorerAgreement {
  /** "fins", "body" */
  of: string;
  /** One scorer */
  first: string;
  /** The other */
  second: string;
  /** Scored by both */
  fish: number;
  /** Places scored by both */
  pairs: number;
  /** Of them given the same level */
  same: number;
  /** Cohen's, quadratic weights; interval by drawing whole fish */
  kappa: Quantity;
  /** What to make of it where fish are few */
  note: string;
}

/** Dead within a horizon of those whose state at it was known. */
export interface MortalityRow {
  /** "from capture", "from the start of holding", "from release" */
  from: string;
  /** Hours from there */
  horizon_h: number;
  /** Key of a group; '': all */
  group: string;
  /** By the horizon */
  dead: number;
  /** Dead or known alive at the horizon */
  known: number;
  /** Neither: lost before it, or dead between two looks about it */
  unknown: number;
  /** dead of known, exact limits (Clopper and Pearson) */
  percent: Quantity;
  /** Of all, the unknown all alive */
  can_be_low_percent: Quantity;
  /** Of all, the unknown all dead */
  can_be_high_percent: Quantity;
  /** What the treatment adds over the control (Abbott); null: why */
  corrected_percent: Quantity;
  /** Share of dead of this group over that of the control, or of the first, where there are two; score limits (Koopman); null: why */
  relative_risk: Quantity;
}

/** One fish as a point of the study's figure of condition. */
export interface ConditionPoint {
  /** Its id */
  fish: string;
  /** Key of a group */
  group: string;
  /** Fin index at landing, level */
  fin_mean: number | null;
  /** Reflexes lost of those tested */
  impaired_percent: number | null;
  /** mg/kg/h */
  peak_after_capture: number | null;
  /** Hours to recovery after capture, by the data */
  recovery_h: number | null;
}

/** Blood, plates, scores and fates over the study; all lists are empty where has_any is false. */
export interface StudyCondition {
  /** Some sheet of condition holds a row */
  has_any: boolean;
  /** In the study's order */
  plates: AssayPlate[];
  /** Controls over plates */
  inter_assay: InterAssay[];
  /** Analyte by analyte, all fish and group by group */
  analytes: AnalyteSummary[];
  /** Pair of scorers by pair */
  agreements: ScorerAgreement[];
  /** Within the horizons of the settings */
  mortality: MortalityRow[];
  /** A point per fish */
  points: ConditionPoint[];
  /** The levels of the brief's fin scale in words, from unhurt */
  fin_scale: string[];
  /** The same of the body */
  body_scale: string[];
  /** Of blood and of end points */
  cautions: string[];
  /** What was not written down, and what that does to the numbers */
  notes: string[];
}

export interface Fate {
  /** "released", "died" ... */
  word: string;
  at: string | null;
  text: string;
}

export interface Fish {
  id: string;
  species: string;
  tag: string;
  group: string;
  /** Column and value */
  treatments: NamedText[];
  mass_g: Quantity;
  mass_source: string;
  fork_length_mm: Quantity;
  density_kg_per_l: Quantity;
  /** "hook_up" */
  time_zero_word: string;
  time_zero: string | null;
  encounters: Encounter[];
  events: Event[];
  stays: Stay[];
  metrics: Metrics;
  condition: FishCondition;
  fate: Fate;
  note: string;
  notes: string[];
}

export interface Exclusion {
  by: "human" | "automatic";
  /** "exclude", "include", "mark", "move_start", "move_end" */
  act: string;
  fish: string;
  stay: string;
  /** 0 when the whole stay is meant */
  spell: number;
  moment: string | null;
  reasons: Reason[];
  /** Of a human decision */
  author: string;
  decided: string | null;
}

/** A number of the study's first table, over fish. */
export interface Headline {
  /** "peak_after_capture" */
  word: string;
  title: string;
  /** Empty: all fish */
  group: string;
  fish: number;
  /** With the standard error over fish */
  mean: Quantity;
  between_fish_sd: Quantity;
  median: Quantity;
  fish_without_human: number;
  /** The same, human exclusions undone */
  mean_without_human: Quantity;
}

export interface Complaint {
  /** "stops", "beware" */
  severity: string;
  file: string;
  line: number | null;
  column: string;
  found: string;
  expected: string;
  remedy: string;
  /** The whole sentence as `check` prints it */
  text: string;
}

/** Sealed spells of a stay as a table by columns: every array has one entry per spell. Uncertainties are standard uncertainties. */
export interface Spells {
  /** Place within the stay */
  number: number[];
  role: string[];
  /** When the chamber closed */
  sealed_from: string[];
  /** First reading used, after settle */
  from: string[];
  /** Last reading used */
  to: string[];
  readings: number[];
  /** Negative where oxygen falls */
  slope_mg_per_l_h: (number | null)[];
  /** Standard error by the sensor's noise model */
  slope_error_mg_per_l_h: (number | null)[];
  slope_error_ordinary_mg_per_l_h: (number | null)[];
  slope_error_newey_west_mg_per_l_h: (number | null)[];
  effective_readings: (number | null)[];
  /** Reported; decides nothing */
  r_squared: (number | null)[];
  residual_sd_mg_per_l: (number | null)[];
  /** Change of slope over the window as a share of the slope */
  curvature_share: (number | null)[];
  curvature_share_error: (number | null)[];
  /** Of the fitted line, at from */
  oxygen_start_mg_per_l: (number | null)[];
  /** Of the fitted line, at to */
  oxygen_end_mg_per_l: (number | null)[];
  saturation_start_percent: (number | null)[];
  saturation_end_percent: (number | null)[];
  temperature_celsius: (number | null)[];
  temperature_drift_celsius_per_h: (number | null)[];
  total_mg_per_h: (number | null)[];
  total_uncertainty_mg_per_h: (number | null)[];
  background_mg_per_h: (number | null)[];
  background_uncertainty_mg_per_h: (number | null)[];
  /** Of the total, 0 to 1 */
  background_share: (number | null)[];
  /** Whole animal: total less background */
  uptake_mg_per_h: (number | null)[];
  uptake_uncertainty_mg_per_h: (number | null)[];
  /** null until the fish is weighed */
  uptake_mg_per_kg_h: (number | null)[];
  uptake_uncertainty_mg_per_kg_h: (number | null)[];
  mark: Mark[];
  reasons: Reason[][];
  used_for: string[];
  is_excluded_by_hand: boolean[];
  /** Of uptake_mg_per_kg_h, or of uptake_mg_per_h before weighing, in its unit. A source of one spell alone (its slope) stands in the column of its kind */
  contributions: ({
    source: string;
    /** One per spell */
    effect: (number | null)[];
  })[];
}

/** A number of a finding with its 95 % interval: a value, or null and the reason why there is none. A limit is null where none is known. */
export interface FoundNumber {
  name: string;
  value: number | null;
  /** '' for a ratio or a pure number */
  unit: string;
  /** As printed, without the unit: '12.4 (3.1 to 21.7)'; the reason where there is no value */
  text: string;
  /** Why there is no value */
  reason?: string;
  /** Standard error; of ratios that of the logarithm; null where none is made */
  se: number | null;
  /** null: no lower limit is known */
  lower: number | null;
  /** null: no upper limit is known */
  upper: number | null;
  /** Degrees of freedom of its t; null: normal or exact */
  freedom: number | null;
  /** Two-sided, of no difference; null where that is not asked */
  p: number | null;
  /** Within the question's own comparisons and its family of tests; null where nothing was corrected */
  p_corrected: number | null;
  /** How interval and p were made, where it is not the finding's */
  method: string;
}

/** A row as it is drawn. */
export interface FoundPoint {
  row: string;
  /** '' of no fish */
  fish: string;
  /** Level of what is compared; '' for a slope */
  group: string;
  /** Value of what is compared, for a slope; null for groups */
  x: number | null;
  /** The outcome, words of a score by their rank from 1; null where only limits are known */
  value: number | null;
  /** Standard; null where none is known */
  uncertainty: number | null;
  /** Of an outcome of which only limits are known */
  lower: number | null;
  /** null beside a lower limit: none is known */
  upper: number | null;
  /** Trials or exposure where rows are counts; null elsewhere */
  weight: number | null;
}

/** A line through the points: what the model says at x, or a curve of those to whom the event has not come; all vectors of one length, lower and upper may be empty. */
export interface FoundCurve {
  group: string;
  x: (number | null)[];
  y: (number | null)[];
  lower: (number | null)[];
  upper: (number | null)[];
}

/** What was looked at before the model was believed. */
export interface FoundCheck {
  name: string;
  verdict: "fine" | "look" | "doubtful";
  text: string;
}

/** A row that takes no part. */
export interface LeftOutRow {
  row: string;
  /** In which it has no value */
  column: string;
  why: string;
}

/** A test of a whole term, or another way of asking the same. */
export interface FoundTest {
  name: string;
  text: string;
  /** null where the way gives none */
  p: number | null;
}

/** The answer in a variant of the data. */
export interface FoundVariant {
  rows: number;
  fish: number;
  effects: FoundNumber[];
  unanswered: string;
  /** The same rows and values */
  is_same: boolean;
}

/** Of those of one group who waited for an event: to how many this came, whichever was first. */
export interface FoundFate {
  /** 'all' for a slope */
  group: string;
  /** 'came to it', 'died', 'escaped', 'withdrawn' */
  fate: string;
  count: number;
  of: number;
  /** To which it has come by fates_until, from 0 to 1 */
  share: FoundNumber;
}

export interface FoundSize {
  power: number;
  /** Of what found_plan.counted says */
  n: number;
}

/** How many fish would show an effect that somebody wants to see. */
export interface FoundPlan {
  /** As asked: a difference or a ratio */
  effect: number;
  /** The standard deviation that it rests on, of ratios that of the logarithm; null for shares and where there is no number */
  scatter: number | null;
  /** 'pairs', 'fish in each group' ...; empty where there is no number */
  counted: string;
  /** None: text says why */
  sizes: FoundSize[];
  text: string;
}

/** A question of the study and its answer, whole. */
export interface Finding {
  name: string;
  /** The question as a sentence */
  ask: string;
  outcome: string;
  outcome_title: string;
  outcome_unit: string;
  compare: string;
  within: string;
  adjusted_for: string[];
  random: string[];
  /** 'normal', 'log_normal', 'binomial', 'poisson', 'negative_binomial', 'ordinal', 'time'; '' where no model was chosen */
  family: string;
  family_of_tests: string;
  /** Of how many comparisons, by which rule */
  correction: string;
  declared: "never" | "before_any_fish" | "before_results" | "after_results" | "changed_since";
  declared_text: string;
  /** The answer in one sentence; empty where there is none */
  sentence: string;
  /** Why there is no answer; empty when there is one */
  unanswered: string;
  scale: "difference" | "ratio" | "odds_ratio" | "hazard_ratio";
  model: string;
  method: string;
  /** Comparisons of groups, or the slope; the first is the headline */
  effects: FoundNumber[];
  /** What the model says of each group, on the outcome's own scale */
  groups: FoundNumber[];
  coefficients: FoundNumber[];
  /** Standard deviations between fish, days and so on, and what is left */
  spreads: FoundNumber[];
  tests: FoundTest[];
  checks: FoundCheck[];
  warnings: string[];
  /** What is shown against the declared margin; empty without one */
  margin_text: string;
  /** null where the question says no effect_wanted */
  plan: FoundPlan | null;
  /** Of times: what kept fish from coming to it, how many, and what that does */
  fates_text: string;
  /** Where something did: group by group, the event first */
  fates: FoundFate[];
  /** In the outcome's unit: until then three of each group still waited */
  fates_until: number | null;
  rows: number;
  fish: number;
  row_noun: string;
  /** Of what is compared, the reference first; empty for a slope */
  levels: string[];
  /** Words of an ordered outcome, lowest first: what the ranks of the points mean */
  scores: string[];
  points: FoundPoint[];
  curves: FoundCurve[];
  left_out: LeftOutRow[];
  /** Decisions made by hand undone; null when there are none */
  without_human: FoundVariant | null;
}

/** One row of the reporting checklist, answered from the results where they know */
export interface ChecklistRow {
  word: string;
  /** Of the published list, to be confirmed; null for rows of our own */
  number: number | null;
  section: string;
  criterion: string;
  state: "answered" | "unanswered" | "not_applicable";
  answer: string;
  filled_from: string;
}

export interface Paragraph {
  title: string;
  text: string;
}
