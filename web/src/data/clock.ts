// Times of day as people at the study's place read them.

/** A zone that the browser knows, else the device's own. */
export function knownZone(zone: string): string | undefined {
  try {
    new Intl.DateTimeFormat('en-GB', { timeZone: zone });
    return zone === '' ? undefined : zone;
  } catch {
    return undefined;
  }
}

const part = (ms: number, zone: string, options: Intl.DateTimeFormatOptions): string => {
  const timeZone = knownZone(zone);
  return new Intl.DateTimeFormat('en-GB', { ...options, ...(timeZone ? { timeZone } : {}) }).format(ms);
};

/** "03:12" */
export const timeOfDay = (ms: number, zone: string): string => part(ms, zone, { hour: '2-digit', minute: '2-digit' });

/** "14 Jun 2026, 03:12" */
export const dayAndTime = (ms: number, zone: string): string =>
  part(ms, zone, { day: 'numeric', month: 'short', year: 'numeric', hour: '2-digit', minute: '2-digit' });

/** "UTC+1": what the zone is off by at that moment */
export function offsetText(ms: number, zone: string): string {
  const timeZone = knownZone(zone);
  const parts = new Intl.DateTimeFormat('en-GB', { timeZoneName: 'shortOffset', ...(timeZone ? { timeZone } : {}) }).formatToParts(ms);
  const name = parts.find((each) => each.type === 'timeZoneName')?.value ?? '';
  return name.replace('GMT', 'UTC');
}

/** "2026-06-14 15:07:34", UTC, as the report's tables have it; '' for nothing */
export const utcText = (iso: string | null): string => (iso === null ? '' : iso.slice(0, 19).replace('T', ' '));
