// The fish sheet: one list of boxes, in the order in which they stand on paper and in which Tab goes through them.
import { spoken } from '../read';
import type { FieldSettings } from './settings';

export type BoxKind = 'name' | 'text' | 'time' | 'number' | 'word' | 'level' | 'marks' | 'yes_no' | 'limit';

export interface Box {
  id: string;
  title: string;
  kind: BoxKind;
  /** of numbers; in the title's place where it is alone */
  unit: string;
  /** the usual ones, or all there are */
  words: string[];
  /** words outside the list are taken too */
  isOpen: boolean;
}

export interface SheetPart {
  part: 'catch' | 'times' | 'size' | 'fins' | 'body' | 'reflexes' | 'blood' | 'end';
  title: string;
  boxes: Box[];
}

const box = (id: string, title: string, kind: BoxKind, more: Partial<Box> = {}): Box => ({ id, title, kind, unit: '', words: [], isOpen: true, ...more });

export const occasions = ['landing', 'before_holding', 'after_holding'];
export const bodyAreas = ['head', 'back', 'left_flank', 'right_flank', 'belly', 'tail', 'left_eye', 'right_eye'];
export const bleeding = ['none', 'slight', 'moderate', 'heavy'];
export const usualFins = ['dorsal', 'caudal', 'anal', 'left_pectoral', 'right_pectoral', 'left_pelvic', 'right_pelvic'];
export const fates = ['released', 'held', 'died'];
/** values of one draw that have a line */
export const bloodLines = [1, 2, 3];
export const analytes = ['cortisol', 'glucose', 'lactate', 'haematocrit', 'osmolality', 'sodium', 'potassium', 'calcium', 'magnesium', 'chloride'];

/** Events of the sheet, in the order of a fish's day; `place`: with the chamber. */
export const sheetEvents: { event: string; place: boolean }[] = [
  { event: 'hook_up', place: false },
  { event: 'landed', place: false },
  { event: 'air_start', place: false },
  { event: 'air_end', place: false },
  { event: 'back_in_water', place: false },
  { event: 'sealed', place: true },
  { event: 'opened', place: true },
  { event: 'transfer', place: true },
  { event: 'chase_start', place: false },
  { event: 'chase_end', place: false },
  { event: 'anaesthetic', place: false },
];

export function fishParts(settings: FieldSettings): SheetPart[] {
  const fins = settings.fins.length > 0 ? settings.fins : usualFins;
  const levels = (scale: string[]) => scale.map((word, level) => `${level} ${word}`);
  return [
    {
      part: 'catch', title: 'How it was caught', boxes: [
        box('species', 'Species', 'text', { words: settings.species }),
        box('rod', 'Rod', 'text', { words: settings.rods }),
        box('rig', 'Rig', 'text', { words: settings.rigs }),
        box('landing', 'Landed by', 'text', { words: settings.landing }),
        box('unhooking', 'Unhooked', 'text', { words: settings.unhooking }),
        box('hook_location', 'Hook', 'text', { words: settings.hook_locations }),
        box('water_temperature_c', 'Water', 'number', { unit: '°C' }),
      ],
    },
    {
      part: 'times', title: 'Times', boxes: sheetEvents.flatMap(({ event, place }) => [
        box(`at.${event}`, spoken(event), 'time'),
        ...(place ? [box(`in.${event}`, `${spoken(event)} in`, 'text', { words: settings.assemblies })] : []),
      ]),
    },
    {
      part: 'size', title: 'Size', boxes: [
        box('mass_g', 'Mass', 'number', { unit: 'g' }),
        box('fork_length_mm', 'Fork length', 'number', { unit: 'mm' }),
        box('tag', 'Tag', 'text'),
      ],
    },
    {
      part: 'fins', title: 'Fins', boxes: [
        box('occasion', 'Occasion', 'word', { words: occasions, isOpen: false }),
        box('scorer', 'Scorer', 'text'),
        ...fins.flatMap((fin) => [
          box(`fin.${fin}`, spoken(fin), 'level', { words: levels(settings.fin_scale), isOpen: false }),
          box(`marks.${fin}`, `${spoken(fin)}, marks`, 'marks'),
        ]),
      ],
    },
    {
      part: 'body', title: 'Body', boxes: [
        ...bodyAreas.map((area) => box(`body.${area}`, spoken(area), 'level', { words: levels(settings.body_scale), isOpen: false })),
        box('body.hook_wound', 'bleeding at the hook wound', 'word', { words: bleeding, isOpen: false }),
      ],
    },
    {
      part: 'reflexes', title: 'Reflexes', boxes: [
        box('at.reflexes', 'At', 'time'),
        ...settings.reflexes.map((test) => box(`reflex.${test}`, spoken(test), 'yes_no', { words: ['y', 'n'], isOpen: false })),
      ],
    },
    {
      part: 'blood', title: 'Blood', boxes: [
        box('at.blood', 'Drawn at', 'time'),
        box('blood.volume_ml', 'Volume', 'number', { unit: 'mL' }),
        ...bloodLines.flatMap((n) => [
          box(`blood.${n}.analyte`, `Value ${n}: of what`, 'word', { words: analytes, isOpen: false }),
          box(`blood.${n}.value`, `Value ${n}`, 'limit'),
          box(`blood.${n}.unit`, `Value ${n}: unit`, 'text'),
          box(`blood.${n}.device`, `Value ${n}: device`, 'text'),
        ]),
      ],
    },
    {
      part: 'end', title: 'What became of it', boxes: [
        box('fate', 'Fate', 'word', { words: fates, isOpen: false }),
        box('at.fate', 'At', 'time'),
        box('note', 'Note', 'text'),
      ],
    },
  ];
}

export const boxesOf = (parts: SheetPart[]): Box[] => parts.flatMap((part) => part.boxes);
