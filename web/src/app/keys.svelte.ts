// Keys of the pages: each page says which it takes, the sheet behind "?" lists them. Single letters can be switched off,
// for those who speak to their device.
import { keep, kept } from './kept';

export interface Key {
  /** KeyboardEvent.key */
  key: string;
  /** as it stands on the sheet, where that is not the key itself */
  shown?: string;
  what: string;
  press: () => void;
}

class Keys {
  isOn = $state(kept('keys') !== 'off');
  /** of the page that is shown */
  page = $state.raw<{ title: string; keys: Key[] }>({ title: '', keys: [] });
  everywhere: Key[] = [];

  switch(isOn: boolean): void {
    this.isOn = isOn;
    keep('keys', isOn ? null : 'off');
  }

  start(): void {
    addEventListener('keydown', (event) => {
      if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey) return;
      // Arrows are not typed by a voice.
      if (!this.isOn && event.key.length === 1) return;
      const target = event.target as HTMLElement | null;
      if (target?.closest('input, select, textarea, [contenteditable], dialog')) return;
      const found = [...this.page.keys, ...this.everywhere].find((each) => each.key === event.key);
      if (!found) return;
      event.preventDefault();
      found.press();
    });
  }
}

export const keys = new Keys();

/** The keys of a page, for as long as it is shown. */
export function pageKeys(title: string, of: () => Key[]): void {
  $effect(() => {
    keys.page = { title, keys: of() };
    return () => (keys.page = { title: '', keys: [] });
  });
}
