import { expect, it } from 'vitest';
import { sensorCourses, widest } from '../src/data/sensor_points';
import type { Grid } from '../src/server/api';

const row = (...cells: string[]) => ({ line: 2, added_by: '', cells, in_file: cells });
const grid: Grid = {
  file: 'calibrations.csv', exists: true, has_decimal_comma: true, columns: ['Sensor', 'at', 'point', 'reading', 'unit'],
  rows: [row('OX-10', '2026-06-02 10:00', 'Air', '99,5', '% air'), row('OX-2', '2026-06-01 10:00', 'zero', '0,1', ''), row('OX-10', '2026-06-01T10:00:00Z', 'air', '100,1', '% air'), row('OX-2', 'later', 'air', '1', ''), row('OX-2', '2026-06-01 10:00', 'air', '', '')],
};

it('each sensor has its points in time; rows that cannot be read are counted', () => {
  const { courses, left } = sensorCourses(grid, 'Europe/London');
  expect(left).toBe(2);
  expect(courses.map(({ sensor, points }) => [sensor, points.map((point) => point.reading)])).toEqual([['OX-2', [0.1]], ['OX-10', [100.1, 99.5]]]);
  expect(courses[1]?.points[1]?.at).toBe(Date.UTC(2026, 5, 2, 9));
  expect(widest(courses, 'air')).toBeCloseTo(0.6, 12);
  expect(widest(courses, 'zero')).toBe(0);
});
