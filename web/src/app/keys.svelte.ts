// Keys of the pages: each page says which it takes, the sheet behind "?" lists them. Single letters can be switched off,
// for those who speak to their device.
import { keep, kept } from './kept';

export interface Key {
  /** KeyboardEvent.key */
  key: string;
  /** as it stands on the sheet, where that is not the key itself */
  shown?: string;
  what: string;
  /** with Ctrl, or the command key; `shift` then tells apart */
  ctrl?: 'ctrl' | 'ctrl shift';
  press: () => void;
}

/** Whether the key was pressed with what it is pressed with. */
function isHeld(key: Key, event: KeyboardEvent): boolean {
  const isCtrl = event.ctrlKey || event.metaKey;
  if (key.ctrl === undefined) return !isCtrl && event.key === key.key;
  return isCtrl && event.key.toLowerCase() === key.key && event.shiftKey === (key.ctrl === 'ctrl shift');
}

class Keys {
  isOn = $state(kept('keys') !== 'off');
  /** of the page that is shown */
  page = $state.raw<{ title: string; keys: Key[] }>({ title: '', keys: [] });
  everywhere: Key[] = [];
  /** of what lies over the page for a while */
  over = $state.raw<Key[]>([]);

  switch(isOn: boolean): void {
    this.isOn = isOn;
    keep('keys', isOn ? null : 'off');
  }

  start(): void {
    addEventListener('keydown', (event) => {
      if (event.defaultPrevented || event.altKey) return;
      // Arrows, and what is pressed with Ctrl, are not typed by a voice.
      if (!this.isOn && event.key.length === 1 && !event.ctrlKey && !event.metaKey) return;
      const target = event.target as HTMLElement | null;
      if (target?.closest('input, select, textarea, [contenteditable], dialog')) return;
      const found = [...this.over, ...this.page.keys, ...this.everywhere].find((each) => isHeld(each, event));
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
