// Counts the changes of the page's colours: canvases have to be drawn anew with them.
export const theme = $state({ changes: 0 });

if (typeof matchMedia === 'function') {
  for (const query of ['(prefers-color-scheme: dark)', '(prefers-contrast: more)']) {
    matchMedia(query).addEventListener('change', () => (theme.changes += 1));
  }
}
