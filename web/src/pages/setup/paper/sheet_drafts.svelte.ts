// Sheets that are being typed in, kept on this device with every key that is pressed.
import { draftOf, emptyTyping, type SheetDraft, type TypedKind } from '../../../data/field/typing';
import { newWord } from '../sheets';

const prefix = 'backeddy sheet ';

class SheetDrafts {
  all = $state.raw<SheetDraft[]>([]);
  /** false: this browser keeps nothing */
  isKept = $state(true);

  constructor() {
    this.read();
    addEventListener('storage', (event) => {
      if (event.key === null || event.key.startsWith(prefix)) this.read();
    });
  }

  /** Each sheet lies under a name of its own, so that two pages do not overwrite each other's. */
  read(): void {
    try {
      const names = Array.from({ length: localStorage.length }, (_, i) => localStorage.key(i) ?? '').filter((name) => name.startsWith(prefix));
      const kept = names.flatMap((name) => draftOf(localStorage.getItem(name)) ?? []);
      this.all = kept.sort((a, b) => a.begunAt.localeCompare(b.begunAt));
    } catch {
      this.isKept = false;
    }
  }

  put(draft: SheetDraft): void {
    this.all = this.all.some((each) => each.id === draft.id) ? this.all.map((each) => (each.id === draft.id ? draft : each)) : [...this.all, draft];
    try {
      localStorage.setItem(prefix + draft.id, JSON.stringify(draft));
      this.isKept = true;
    } catch {
      this.isKept = false;
    }
  }

  drop(id: string): void {
    this.all = this.all.filter((each) => each.id !== id);
    try {
      localStorage.removeItem(prefix + id);
    } catch {
      this.isKept = false;
    }
  }

  begin(kind: TypedKind, study: string, by: string, date: string): SheetDraft {
    const draft: SheetDraft = {
      id: newWord(), study, kind, begunAt: new Date().toISOString(), first: emptyTyping(kind, by, date), second: null, settled: {}, said: {}, sent: null, entered: null,
    };
    this.put(draft);
    return draft;
  }
}

export const sheetDrafts = new SheetDrafts();
