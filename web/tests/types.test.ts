import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
// @ts-expect-error a plain script without types
import { typesText } from '../tools/schema_types.mjs';

it('the types of the pages are those of the schema', () => {
  const written = readFileSync(new URL('../src/data/results.ts', import.meta.url), 'utf8');
  expect(written, 'run "npm run types"').toBe((typesText as () => string)());
});
