// Numbers of the spells' tables as text, rounded to their uncertainty by the rule of the program's own formatter
// (base/number_text.cpp): two digits of the uncertainty, the value to the same place.

/** 412.3, 18.2 -> "412 ± 18" */
export function measuredText(value: number, uncertainty: number): string {
  if (uncertainty <= 0) return String(Number(value.toPrecision(6)));
  // The exponent after rounding: 0.0996 to two digits is 0.10, not 0.100.
  const place = Number(uncertainty.toExponential(1).split('e')[1]) - 1;
  if (place < 0) return `${value.toFixed(-place)} ± ${uncertainty.toFixed(-place)}`;
  const step = 10 ** place;
  return `${Math.round(value / step) * step} ± ${Math.round(uncertainty / step) * step}`;
}

/** "1.2 kB", "14 MB": as files are listed */
export function bytesText(bytes: number): string {
  const units = ['B', 'kB', 'MB', 'GB'];
  let size = bytes;
  let unit = 0;
  while (size >= 999.5 && unit < units.length - 1) {
    size /= 1000;
    unit += 1;
  }
  return `${unit === 0 || size >= 99.5 ? Math.round(size) : Number(size.toPrecision(2))} ${units[unit] ?? ''}`;
}
