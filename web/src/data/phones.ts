// Paired phones as the pages show them.
import type { PairedDevice } from '../server/api';

const letters = 'ABCDEFGHIJKLMNOPQRSTUVWXYZ';

/** The first letter that no phone is marked with: fish that a phone names carry its mark. "" when all are taken. */
export const freeMark = (devices: PairedDevice[]): string => [...letters].find((letter) => devices.every((each) => each.label !== letter)) ?? '';

/** Whole days from now to a moment, 0 when it is past. */
export const daysUntil = (iso: string, nowMs: number): number => Math.max(0, Math.floor((Date.parse(iso) - nowMs) / 86_400_000));

/** The one that was not among those before, where it carries that mark. */
export const newcomer = (before: PairedDevice[], now: PairedDevice[], label: string): PairedDevice | null =>
  now.find((each) => each.label === label && before.every((other) => other.id !== each.id)) ?? null;

export const imageOf = (svg: string): string => `data:image/svg+xml,${encodeURIComponent(svg)}`;
