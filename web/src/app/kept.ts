// What this device remembers. A browser that keeps nothing must not keep the pages from working.

export function kept(name: string): string | null {
  try {
    return localStorage.getItem(`backeddy ${name}`);
  } catch {
    return null;
  }
}

/** null forgets. */
export function keep(name: string, value: string | null): void {
  try {
    if (value === null) localStorage.removeItem(`backeddy ${name}`);
    else localStorage.setItem(`backeddy ${name}`, value);
  } catch {
    // Then it holds until the page is closed.
  }
}
