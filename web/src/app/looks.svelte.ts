// The look that was chosen on this device.
import { useLook, type Look } from '../look/theme.svelte';
import { keep, kept } from './kept';

export const lookWords = ['as the device', 'day', 'sun', 'night'] as const;
export type LookWord = (typeof lookWords)[number];

const lookOf = (word: LookWord): Look | null => (word === 'as the device' ? null : word);

class Looks {
  word = $state<LookWord>(lookWords.find((each) => each === kept('theme')) ?? 'as the device');

  start(): void {
    useLook(lookOf(this.word));
  }

  choose(word: LookWord): void {
    this.word = word;
    keep('theme', lookOf(word));
    useLook(lookOf(word));
  }

  next(): void {
    this.choose(lookWords[(lookWords.indexOf(this.word) + 1) % lookWords.length] ?? 'as the device');
  }
}

export const looks = new Looks();
