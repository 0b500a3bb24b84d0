// The answers that were looked at on this device: one that becomes another is marked until it is looked at again.
import { movedAnswer, seenFrom, seenOf, type MovedAnswer, type Seen } from '../data/moved_findings';
import type { Finding, Results } from '../data/results';
import { keep, kept } from './kept';

class SeenFindings {
  private study = '';
  private seen = $state.raw<Record<string, Seen>>({});

  /** With each answer of the program: what is met for the first time counts as looked at. */
  meet(results: Results): void {
    const study = results.study.title;
    const seen = study === this.study ? this.seen : seenFrom(kept(`seen findings ${study}`));
    this.study = study;
    const fresh = results.findings.filter((each) => seen[each.name] === undefined);
    if (fresh.length > 0 || seen !== this.seen) this.put({ ...seen, ...Object.fromEntries(fresh.map((each) => [each.name, seenOf(each)])) });
  }

  moved(finding: Finding): MovedAnswer | null {
    const was = this.seen[finding.name];
    return was === undefined ? null : movedAnswer(was, finding);
  }

  look(findings: Finding[]): void {
    this.put({ ...this.seen, ...Object.fromEntries(findings.map((each) => [each.name, seenOf(each)])) });
  }

  private put(seen: Record<string, Seen>): void {
    this.seen = seen;
    keep(`seen findings ${this.study}`, JSON.stringify(seen));
  }
}

export const seenFindings = new SeenFindings();
