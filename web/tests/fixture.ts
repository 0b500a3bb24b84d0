// The invented study as report_example writes it (tests/report/make_example.cpp), parsed anew for each test.
import { parseResults } from '../src/data/read';
import type { Results } from '../src/data/results';
import text from './fixture/results.json?raw';

export const fixtureText: string = text;
export const fixture = (): Results => parseResults(fixtureText);
