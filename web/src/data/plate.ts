// An assay plate as its figures want it: responses at their concentration, wells in words.
import type { AssayPlate, PlateWell } from './results';
import { shortNumber } from './finding';

export type StandardLook = 'accepted' | 'refused' | 'zero' | 'excluded';

export interface StandardPoint {
  well: string;
  /** in the plate's unit; 0: a zero well */
  concentration: number;
  response: number;
  look: StandardLook;
  why: string;
}

/** Every standard's well that was read, those set aside as well. */
export function standardPoints(plate: AssayPlate): StandardPoint[] {
  const counted = plate.standards.flatMap((standard) =>
    standard.responses.map((response, i): StandardPoint => ({
      well: standard.wells[i] ?? '',
      concentration: standard.concentration,
      response,
      look: standard.concentration === 0 ? 'zero' : standard.is_accepted ? 'accepted' : 'refused',
      why: standard.remarks.join('; '),
    })),
  );
  const excluded = plate.wells.flatMap((well): StandardPoint[] => {
    const concentration = well.kind === 'zero' ? 0 : well.label.trim() === '' ? NaN : Number(well.label);
    const isStandard = well.kind === 'standard' || well.kind === 'zero';
    if (!isStandard || well.excluded === '' || well.response === null || !(concentration >= 0)) return [];
    return [{ well: well.name, concentration, response: well.response, look: 'excluded', why: well.excluded }];
  });
  return [...counted, ...excluded];
}

export interface ReadTick {
  label: string;
  /** in the well, before any dilution is undone; null: beyond the curve */
  concentration: number | null;
  /** mean as read */
  response: number | null;
}

/** Samples, controls and spiked samples, dilution by dilution. */
export function readTicks(plate: AssayPlate): ReadTick[] {
  const responseOf = new Map(plate.wells.map((well) => [well.name, well.response]));
  return [...plate.samples, ...plate.controls, ...plate.spikes].flatMap((material) =>
    material.dilutions.map(({ dilution, wells, concentration }) => {
      const read = wells.map((well) => responseOf.get(well) ?? null).filter((each) => each !== null);
      return {
        label: dilution === 1 ? material.label : `${material.label} diluted ${shortNumber(dilution)} times`,
        concentration: concentration.value === null ? null : concentration.value / dilution,
        response: read.length > 0 ? read.reduce((sum, each) => sum + each, 0) / read.length : null,
      };
    }),
  );
}

/** What a well's response is above (or below) the mean of its replicates, per cent; null where there is nothing to compare. */
export const residualPercent = ({ residual }: PlateWell): number | null => (residual === null ? null : 100 * Math.expm1(residual));

export const signed = (percent: number, digits = 1): string =>
  `${percent < 0 ? '−' : '+'}${Math.abs(percent).toFixed(digits)} %`;

/** "C7: standard 5 ng/mL, response 0.812, +4.1 % against its replicates' mean; excluded: bubble" */
export function wellText(plate: AssayPlate, well: PlateWell): string {
  const isNumber = well.kind === 'standard' && well.label !== '' && Number.isFinite(Number(well.label));
  const what = well.label === '' || well.label === well.kind ? well.kind : `${well.kind} ${well.label}${isNumber ? ` ${plate.unit}` : ''}`;
  const percent = residualPercent(well);
  const parts = [
    what,
    well.kind === 'empty' ? '' : well.response === null ? 'not read' : `response ${shortNumber(well.response)}`,
    percent === null ? '' : `${signed(percent)} against the mean of its replicates`,
  ].filter((each) => each !== '');
  return `${well.name}: ${parts.join(', ')}${well.excluded === '' ? '' : `; excluded: ${well.excluded}`}`;
}

/** Ticks of a logarithmic axis: powers of ten, then fives and twos where there is room for them (`apart` pixels). */
export function logTicks(low: number, high: number, pixel: (value: number) => number, apart: number): number[] {
  const taken: number[] = [];
  const decades = Array.from({ length: Math.floor(Math.log10(high)) - Math.ceil(Math.log10(low)) + 3 }, (_, i) => Math.ceil(Math.log10(low)) - 1 + i);
  for (const step of [1, 5, 2]) {
    for (const decade of decades) {
      const value = Number((step * 10 ** decade).toPrecision(6));
      const isIn = value >= low * 0.999 && value <= high * 1.001;
      if (isIn && taken.every((each) => Math.abs(pixel(each) - pixel(value)) >= apart)) taken.push(value);
    }
  }
  return taken.sort((a, b) => a - b);
}
