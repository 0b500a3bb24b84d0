// The three themes stand once, in tokens.css, under the preferences that ask for them. A theme chosen here makes its rule
// hold always and the others never.
import { theme } from '../look/theme.svelte';

export const themeWords = ['as the device', 'day', 'sun', 'night'] as const;
export type ThemeWord = (typeof themeWords)[number];

const kept = 'backeddy theme';
const asked = { night: /prefers-color-scheme:\s*dark/, sun: /prefers-contrast:\s*more/ };
const original = new Map<CSSMediaRule, string>();

export function keptTheme(): ThemeWord {
  const word = localStorage.getItem(kept);
  return themeWords.find((each) => each === word) ?? 'as the device';
}

function rules(): CSSMediaRule[] {
  return [...document.styleSheets].flatMap((sheet) => {
    // A sheet that an extension of the browser put in must not be looked into.
    try {
      return [...sheet.cssRules].filter((rule): rule is CSSMediaRule => rule instanceof CSSMediaRule);
    } catch {
      return [];
    }
  });
}

export function useTheme(word: ThemeWord): void {
  for (const rule of rules()) {
    const media = original.get(rule) ?? rule.media.mediaText;
    const name = asked.night.test(media) ? 'night' : asked.sun.test(media) ? 'sun' : null;
    if (name === null) continue;
    original.set(rule, media);
    rule.media.mediaText = word === 'as the device' ? media : word === name ? 'screen' : 'not all';
  }
  document.documentElement.style.colorScheme = word === 'as the device' ? '' : word === 'night' ? 'dark' : 'light';
  if (word === 'as the device') localStorage.removeItem(kept);
  else localStorage.setItem(kept, word);
  theme.changes += 1;
}
