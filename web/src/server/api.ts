// Made from src/server/openapi.json by tools/schema_types.mjs (npm run types). Do not edit.

export interface About {
  program: "backeddy";
  version: string;
}

export interface SignIn {
  name: string;
  passphrase: string;
}

export interface Session {
  /** Empty for who opened the printed address on the machine itself */
  name: string;
  role: "viewer" | "crew" | "scientist";
  change_token: string;
  /** A paired phone's mark; not there for others */
  label?: string;
}

export interface Pairing {
  /** Started with --deck; what follows is null where it was not */
  is_on: boolean;
  /** Under which phones ask */
  name: string | null;
  deck_address: string | null;
  /** Plain HTTP; null too while the machine is in no network */
  trust_address: string | null;
  /** The same as a QR code, an SVG document */
  trust_qr_svg: string | null;
  /** SHA-256 of the authority in pairs; null where the certificate is one's own */
  fingerprint: string | null;
  /** Its first eight pairs in fours */
  fingerprint_short: string | null;
  authority_until: string | null;
  devices: PairedDevice[];
}

export interface PairedDevice {
  id: string;
  /** The phone's mark */
  label: string;
  /** In whose name it asks */
  author: string;
  role: "viewer" | "crew" | "scientist";
  paired_at: string;
  /** To within an hour */
  last_seen_at: string;
}

export interface PairingWish {
  author: string;
  role: "viewer" | "crew" | "scientist";
  label: string;
}

export interface PairingCode {
  /** Such as K7QM-4XTR-9BHD; letters in any case, with or without hyphens */
  code: string;
  /** What the phone opens: the code stands behind #pair= */
  address: string;
  /** The same as a QR code, an SVG document */
  qr_svg: string;
  expires_at: string;
}

export interface PairingTry {
  code: string;
}

export interface State {
  phase: "reading" | "computing" | "ready" | "stopped";
  /** The work being done; empty when there is none */
  what: string;
  done: number;
  /** 0: unknown */
  total: number;
  unit: string;
  /** Of the results served; empty while there are none */
  revision: string;
  answered_at: string | null;
  /** Of the journal: how many were looked at for the results, or for what stops them */
  entries: number;
  /** Of the folder as it was last read */
  complaints: Complaint[];
  /** Those that only follow from others */
  complaints_left_out: number;
}

export interface Complaint {
  severity: "stops" | "beware";
  /** "journal" where an entry is meant; its number is then the line */
  file: string;
  line: number | null;
  column: string;
  found: string;
  expected: string;
  remedy: string;
  /** All of it in one sentence */
  text: string;
}

export interface File {
  name: string;
  bytes: number;
}

export interface Trace {
  from: string;
  /** Seconds since `from` */
  at_s: number[];
  /** null: a gap */
  oxygen_mg_per_l: (number | null)[];
  saturation_percent: (number | null)[];
  temperature_celsius: (number | null)[];
  states: Record<string, unknown>[];
  /** Readings before thinning */
  rows: number;
}

export interface Road {
  text: string;
}

export interface Wish {
  act: "add" | "set" | "withdraw" | "undo" | "record";
  content: Content;
  reason?: string;
}

/** Of add: table and row. Of set: table, row or added_by, and cells. Of withdraw: table, and row or added_by. Of undo: entry. */
export interface Content {
  /** A table's file without .csv */
  table?: string;
  /** Of add the new row; else the cells by which a row of the file is found. All cells are texts. */
  row?: Record<string, string>;
  /** The entry that added the row */
  added_by?: string;
  cells?: Record<string, {
    was: string;
    now: string;
  }>;
  /** The entry that is undone */
  entry?: string;
  /** A word made at random: the same wish with it is written once, however often it is sent */
  wish?: string;
}

export interface Wishes {
  entries: Wish[];
}

export interface Written {
  ids: string[];
}

export interface Journal {
  entries: Entry[];
  /** Of entries that count for nothing */
  complaints: Complaint[];
}

export interface Entry {
  /** Its place in the order, from 1 */
  number: number;
  id: string;
  at: string;
  author: string;
  role: "crew" | "scientist" | "viewer";
  act: string;
  /** null where it is no JSON */
  content: unknown;
  reason: string;
  is_undone: boolean;
}

export interface Table {
  /** The word for it: its file without .csv */
  table: string;
  file: string;
  what: string;
  needed: boolean;
  /** By who asks */
  may_edit: boolean;
  columns: Column[];
}

export interface Column {
  name: string;
  kind: "text" | "name" | "number" | "time" | "word" | "channel" | "number or limit";
  needed: boolean;
  unit: string;
  what: string;
  /** Of kind word: those it may be */
  words: string[];
  least: number | null;
  may_equal_least: boolean;
  most: number | null;
}

export interface SettingSection {
  /** As it stands between brackets */
  section: string;
  /** Between double brackets, as often as there are such things */
  is_list: boolean;
  what: string;
  settings: Setting[];
}

export interface Setting {
  key: string;
  /** In words */
  kind: string;
  /** What holds where it does not stand in the brief; empty: not set */
  usual: string;
  unit: string;
  /** Those it may be */
  words: string[];
  /** Numbers it may be */
  choices: number[];
  least: number | null;
  most: number | null;
  /** What it is for, and why it is as it is */
  why: string;
}

export interface Grid {
  file: string;
  exists: boolean;
  /** Cells are as the file writes them */
  has_decimal_comma: boolean;
  /** As the header has them */
  columns: string[];
  rows: GridRow[];
}

export interface GridRow {
  /** Of the file; of an added row its entry's number */
  line: number;
  /** The entry that added it; empty: the file has it */
  added_by: string;
  cells: string[];
  /** As the file has them; shorter where edits brought columns */
  in_file: string[];
}

export interface Brief {
  text: string;
  sha256: string;
}

export interface Deck {
  /** Its title */
  study: string;
  /** IANA name */
  zone: string;
  /** The journal's, 16 digits: two studies are told apart by it */
  identity: string;
  /** Not empty: the sentence that stands on every page */
  simulated: string;
  permit: DeckPermit;
  rods: string[];
  rigs: string[];
  unhooking: string[];
  landing: string[];
  hook_locations: string[];
  lost_reasons: string[];
  handling: string[];
  species: string[];
  anaesthetics: string[];
  blood: DeckBlood;
  /** Of the fish being back in water */
  seal_within_s: number | null;
  assemblies: DeckAssembly[];
  fins: DeckFins;
  body: DeckBody;
  reflexes: string[];
  words: DeckWords;
  rows: DeckRows;
}

export interface DeckPermit {
  number: string;
  /** Most that may be met */
  fish: number | null;
  chases_per_fish: number | null;
  /** Longest single air exposure */
  air_s: number | null;
  /** What the permit says is to be done */
  at_death: string;
  /** Whom to ask */
  watched_by: string;
}

export interface DeckBlood {
  ceiling_ml_per_kg: number | null;
  /** Null: all draws count */
  ceiling_within_h: number | null;
  /** After the landing */
  due_min: number | null;
}

export interface DeckAssembly {
  assembly: string;
  /** Chamber and loop */
  volume_l: number;
}

export interface DeckFins {
  fins: string[];
  scale: string[];
}

export interface DeckBody {
  areas: string[];
  scale: string[];
  hook_wound: string[];
}

export interface DeckWords {
  event: string[];
  role: string[];
  ended: string[];
  fate: string[];
  fate_stage: string[];
  tag_place: string[];
  occasion: string[];
  analyte: string[];
  matrix: string[];
}

export interface DeckRows {
  fish: FileRow[];
  encounters: FileRow[];
  events: FileRow[];
  stays: FileRow[];
  blood: FileRow[];
  fins: FileRow[];
  body: FileRow[];
  reflexes: FileRow[];
  fates: FileRow[];
}

export interface FileRow {
  /** By the table's names of its columns, empty ones too: times in UTC, numbers with a decimal point */
  cells: Record<string, string>;
  /** Those cells whose text in the file is another. An entry finds the row by {...cells, ...in_file}, and says what a cell was by the same */
  in_file: Record<string, string>;
}

export interface Clock {
  /** Microseconds since 1970 UTC */
  now_us: number;
}

/** As docs/journal.md has it; the entry's hash is of these values */
export interface CarriedEntry {
  /** 16 digits, 0 to 9 and a to f */
  device: string;
  sequence: number;
  hybrid_wall_us: number;
  hybrid_count: number;
  wall_us: number;
  monotonic_us: number;
  boot: string;
  clock_offset_us: number | null;
  author: string;
  role: "crew" | "scientist" | "viewer";
  act: string;
  /** JSON as text, whose bytes are hashed as they are */
  content: string;
  reason: string;
}

export interface Carried {
  entries: CarriedEntry[];
}

export interface CarriedTaken {
  /** The last place in the order of arrival that there is now */
  through: number;
  added: number;
  /** Here already, byte for byte */
  duplicates: number;
  /** Ids under which another entry stands: kept, and not counting */
  set_aside: string[];
  complaints: EntryComplaint[];
  /** Not taken from who asks */
  refused: RefusedEntry[];
}

export interface RefusedEntry {
  /** device:sequence */
  id: string;
  /** Why */
  detail: string;
  /** What to do */
  remedy: string;
}

export interface EntryComplaint {
  /** device:sequence */
  id: string;
  text: string;
}

export interface Arrivals {
  /** The journal's */
  identity: string;
  /** Ask on with it. Less than `after`: the journal was restored, begin again with 0 */
  through: number;
  entries: CarriedEntry[];
}

export interface QueueFile {
  backeddy_queue: 1;
  study: string;
  /** Of the journal that it was written for */
  identity: string;
  device: string;
  made_us: number;
  entries: CarriedEntry[];
  /** Base64 by SHA-256 */
  photos?: Record<string, string>;
}

export interface QueueLook {
  study: string;
  is_of_this_study: boolean;
  device: string;
  made_at: string;
  authors: string[];
  entries: number;
  /** That the journal has not */
  added: number;
  duplicates: number;
  /** Under whose id another entry stands */
  differing: number;
  first_at: string | null;
  last_at: string | null;
  photos: number;
  photos_added: number;
}

export interface QueueTaken {
  through: number;
  added: number;
  duplicates: number;
  set_aside: string[];
  complaints: EntryComplaint[];
  photos_added: number;
  photos_were_there: number;
  /** In words that name the photo */
  photos_refused: string[];
}

export interface PhotoKept {
  sha256: string;
}

/** The keys of a [[question]] as /api/settings describes them: texts, numbers, true or false, lists of texts. null says nothing. */
export type QuestionKeys = Record<string, unknown>;

export interface Tried {
  /** Of the question; `column` is the key */
  complaints: Complaint[];
  /** The question as study.toml would hold it */
  text: string;
  /** As one of the results document's findings; null where a complaint stops it */
  finding: unknown;
}

export interface TryProgress {
  done: number;
  /** 0: nothing is simulated yet */
  total: number;
  /** Whether this page asked it */
  is_own: boolean;
}

export interface BriefQuestionWish {
  /** The brief's text as it is */
  brief: string;
  /** The question to change or take out; empty: a new one */
  name?: string;
  question?: QuestionKeys | null;
  /** Of a new one: stands above it as a remark */
  remark?: string;
}

export interface BriefText {
  text: string;
}

export interface Askable {
  kinds: RowKind[];
  columns: AskableColumn[];
  questions: QuestionKeys[];
}

export interface RowKind {
  noun: string;
  nouns: string;
  rows: number;
}

export interface AskableColumn {
  name: string;
  title: string;
  unit: string;
  stage: "unknown" | "assigned" | "before" | "during" | "after";
  what: string;
  /** A column of the study's own */
  is_own: boolean;
  is_words: boolean;
  /** Kinds of rows that have it, by their place among `kinds` */
  rows: number[];
  /** Cells that hold something, in the kind that has most; 0: this study has nothing of it */
  filled: number;
  /** Of words: those that are there, at most 60 */
  levels: string[];
  level_count: number;
}

export interface BriefWish {
  text: string;
  /** Of the brief that was opened; needed to save */
  was_sha256?: string;
}

export interface Look {
  id: string;
  name: string;
  bytes: number;
  sha256: string;
  /** Why it cannot be read as it is */
  stop: Stop | null;
  understood: string[];
  /** What became of the rows */
  told: string[];
  columns: SeenColumn[];
  /** With the units of the values */
  readings: string[];
  first_rows: SeenRow[];
  streams: Stream[];
  /** Where a [[trace]] of the brief would take it */
  places: TakingPlace[];
}

export interface Stop {
  text: string;
  found: string;
  expected: string;
  remedy: string;
  column: string;
}

export interface SeenColumn {
  index: number;
  header: string;
  use: string;
  unit: string;
  channel: string;
  why: string;
  /** By the settings, not found */
  is_set: boolean;
}

export interface SeenRow {
  line: number;
  stream: string;
  at: string;
  values: (number | null)[];
}

export interface Stream {
  name: string;
  rows: number;
  first: string;
  last: string;
  usual_interval_s: number;
}

export interface TakingPlace {
  trace: string;
  place: string;
}

export interface LookWish {
  /** As this [[trace]] of the brief */
  trace?: string;
  /** By the keys of a [[trace]]; "column" is a list of objects */
  settings?: Record<string, unknown>;
}

export interface TakeWish {
  /** Inside the study, below raw/ */
  place: string;
  /** Of a new [[trace]], its name with them */
  settings?: Record<string, unknown>;
}

export interface Taken {
  place: string;
  sha256: string;
}

export interface Copy {
  folder: string;
  /** Entries that the copy is not known to have */
  behind: number;
  /** Why; empty when nothing is wrong */
  trouble: string;
  /** When it last had everything */
  complete: string | null;
}

export interface Watch {
  watch: WatchNow | null;
}

export interface WatchNow {
  /** Of the watch's own clock */
  at: string;
  /** Readings are on disk through this number */
  through: number;
  devices_lost: string[];
  /** Why samples are not being kept; empty while they are */
  samples_fault: string;
  /** So many alarms at once that only the first of each chamber are announced */
  flood: boolean;
  chambers: WatchChamber[];
  alarms: WatchAlarm[];
}

export interface WatchChamber {
  name: string;
  use: "empty" | "fish" | "water" | "cleaning";
  /** Of the stay */
  role: string | null;
  /** null until the fish is weighed */
  mass_kg: number | null;
  handled_at: string | null;
  phase: "flush" | "sealed";
  why: string;
  why_in_words: string;
  /** Held or flushed by hand */
  by_hand: boolean;
  /** Of air saturation */
  oxygen_percent: number | null;
  floor_percent: number;
  celsius: number | null;
  next_change_s: number | null;
  uptake: WatchUptake | null;
  spells: WatchSpell[];
  dues: WatchDue[];
  /** The cause of its worst alarm */
  worst: string | null;
  sounds: boolean;
}

export interface WatchUptake {
  mg_per_h: number;
  /** Standard error */
  error_mg_per_h: number;
}

export interface WatchSpell {
  from: string;
  sealed_s: number;
  mg_per_h: number;
  /** Standard error */
  error_mg_per_h: number;
}

export interface WatchDue {
  what: "seal" | "blood" | "other";
  at: string;
}

export interface WatchAlarm {
  /** null: of the station */
  chamber: string | null;
  cause: string;
  title: string;
  to_do: string;
  priority: "fish_at_risk" | "high" | "medium" | "low";
  state: "unacknowledged" | "acknowledged" | "returned" | "shelved" | "suppressed";
  /** Its sign stands */
  is_active: boolean;
  since_s: number;
  words: string;
  /** Who has it; empty when nobody */
  by: string;
  first_out: boolean;
  sounds: boolean;
  may_be_shelved: boolean;
}

/** put_in {role, mass_kg}, taken_out, disturbed, weighed {mass_kg}, clean, hold and flush {minutes}, resume, expect {what, at}, done {what}, acknowledge, quiet and unshelve {cause}, shelve {cause, minutes, reason} */
export interface WatchHand {
  /** null: the station */
  chamber: string | null;
  act: "put_in" | "taken_out" | "disturbed" | "weighed" | "clean" | "hold" | "flush" | "resume" | "expect" | "done" | "acknowledge" | "quiet" | "shelve" | "unshelve";
  role?: string;
  mass_kg?: number;
  minutes?: number;
  what?: "seal" | "blood" | "other";
  at?: string;
  cause?: string;
  reason?: string;
}

export interface WatchAnswer {
  done: boolean;
  words: string;
}

export interface WatchCourse {
  /** Length of one piece */
  step_s: number;
  /** Beginning of each piece, ms since 1970 */
  from: number[];
  /** mg/L */
  lowest: number[];
  /** mg/L */
  highest: number[];
  /** 1: sealed, 0: flush */
  sealed: number[];
}

export interface WatchHandover {
  text: string;
}

export interface Problem {
  type: "about:blank";
  title: string;
  status: number;
  /** What is wrong */
  detail: string;
  /** What the reader can do */
  remedy: string;
}
