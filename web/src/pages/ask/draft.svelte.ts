// What is typed of questions, kept while the pages are open, also when another page is shown in between.
import { emptyDraft, type Draft } from '../../data/question';

class Drafts {
  /** by the question that is changed; "" of a new one */
  private all: Record<string, Draft> = {};

  of(finding: string | null, begun: () => Draft = emptyDraft): Draft {
    return (this.all[finding ?? ''] ??= begun());
  }
  has(finding: string | null): boolean {
    return this.all[finding ?? ''] !== undefined;
  }
  hold(finding: string | null, draft: Draft): void {
    this.all[finding ?? ''] = draft;
  }
  drop(finding: string | null): void {
    delete this.all[finding ?? ''];
  }
}

export const drafts = new Drafts();
