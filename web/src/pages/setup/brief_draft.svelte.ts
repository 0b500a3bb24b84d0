// The brief as it is being changed: kept while the pages are open, also when another page is shown in between.
import type { Brief } from '../../server/api';

class BriefDraft {
  /** that the text grew from */
  base = $state.raw<Brief | null>(null);
  text = $state('');
  /** what somebody else saved meanwhile */
  theirs = $state.raw<Brief | null>(null);
  /** a text that gave way and is not lost: what it is, and itself */
  aside = $state.raw<{ what: string; text: string } | null>(null);

  get isChanged(): boolean {
    return this.base !== null && this.text !== this.base.text;
  }

  begin(brief: Brief): void {
    this.base = brief;
    this.text = brief.text;
    this.theirs = null;
  }

  /** What stands in the study now: taken over where nothing was typed, else held beside. */
  meet(brief: Brief): void {
    if (this.base === null || (!this.isChanged && this.base.sha256 !== brief.sha256)) this.begin(brief);
    else if (brief.sha256 === this.base.sha256) this.theirs = null;
    else if (brief.text === this.text) this.begin(brief);
    else this.theirs = brief;
  }
}

export const briefDraft = new BriefDraft();
