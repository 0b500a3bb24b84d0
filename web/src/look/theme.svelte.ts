// The three themes stand once, in tokens.css, under the preferences that ask for them. A look chosen by hand makes its rule
// hold always on screens and the others never.

export type Look = 'day' | 'sun' | 'night';

/** Counts the changes of the page's colours: canvases have to be drawn anew with them. */
export const theme = $state({ changes: 0 });

if (typeof matchMedia === 'function') {
  for (const query of ['(prefers-color-scheme: dark)', '(prefers-contrast: more)']) {
    matchMedia(query).addEventListener('change', () => (theme.changes += 1));
  }
}

const asked = { night: /prefers-color-scheme:\s*dark/, sun: /prefers-contrast:\s*more/ };
const original = new Map<CSSMediaRule, string>();

function mediaRules(): CSSMediaRule[] {
  return [...document.styleSheets].flatMap((sheet) => {
    // A sheet that an extension of the browser put in must not be looked into.
    try {
      return [...sheet.cssRules].filter((rule): rule is CSSMediaRule => rule instanceof CSSMediaRule);
    } catch {
      return [];
    }
  });
}

/** null: as the device asks. */
export function useLook(look: Look | null): void {
  for (const rule of mediaRules()) {
    const media = original.get(rule) ?? rule.media.mediaText;
    const name = asked.night.test(media) ? 'night' : asked.sun.test(media) ? 'sun' : null;
    if (name === null) continue;
    original.set(rule, media);
    rule.media.mediaText = look === null ? media : look === name ? 'screen' : 'not all';
  }
  document.documentElement.style.colorScheme = look === null ? '' : look === 'night' ? 'dark' : 'light';
  theme.changes += 1;
}
