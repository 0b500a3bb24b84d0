// What each sensor showed at zero and in air, through time, from the rows of calibrations.csv.
import type { Grid } from '../server/api';
import { instantOf, numberRead, plainName } from './cells';

export interface SensorPoint {
  at: number;
  reading: number;
  point: 'zero' | 'air';
  unit: string;
  /** of the row, to be found again */
  line: number;
}

export interface SensorCourse {
  sensor: string;
  points: SensorPoint[];
}

export interface SensorCourses {
  courses: SensorCourse[];
  /** rows that could not be read */
  left: number;
}

export function sensorCourses(grid: Grid, zone: string): SensorCourses {
  const place = (name: string) => grid.columns.findIndex((column) => plainName(column) === name);
  const [sensor, at, point, reading, unit] = ['sensor', 'at', 'point', 'reading', 'unit'].map(place);
  const of = new Map<string, SensorPoint[]>();
  let left = 0;
  for (const row of grid.rows) {
    const cell = (column: number | undefined) => (column === undefined ? '' : (row.cells[column] ?? ''));
    const moment = instantOf(cell(at), zone);
    const number = numberRead(cell(reading), grid.has_decimal_comma ? ',' : '.').text;
    const kind = plainName(cell(point));
    if (cell(sensor) === '' || moment === null || number === null || (kind !== 'zero' && kind !== 'air')) {
      ++left;
      continue;
    }
    of.set(cell(sensor), [...(of.get(cell(sensor)) ?? []), { at: moment, reading: Number(number), point: kind, unit: cell(unit), line: row.line }]);
  }
  const courses = [...of].map(([name, points]) => ({ sensor: name, points: points.sort((a, b) => a.at - b.at) })).sort((a, b) => a.sensor.localeCompare(b.sensor, 'en', { numeric: true }));
  return { courses, left };
}

/** The widest that readings of one kind lie apart at any sensor: the scale of all, so that drifts can be compared. */
export function widest(courses: SensorCourse[], kind: SensorPoint['point']): number {
  const spans = courses.map(({ points }) => points.filter((point) => point.point === kind).map((point) => point.reading)).filter((readings) => readings.length > 0)
    .map((readings) => Math.max(...readings) - Math.min(...readings));
  return Math.max(0, ...spans);
}
