import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
// @ts-expect-error a plain script without types
import { sources, typesText } from '../tools/schema_types.mjs';

interface Source {
  from: string;
  to: string;
}

it.each(sources as Source[])('the types of the pages in $to are those of $from', (source) => {
  const written = readFileSync(new URL(`../${source.to}`, import.meta.url), 'utf8');
  expect(written, 'run "npm run types"').toBe((typesText as (source: Source) => string)(source));
});
