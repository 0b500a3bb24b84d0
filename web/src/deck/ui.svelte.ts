// What is open on the page, and the presses that the page offers for a fish.
import type { Base } from './base';
import { deck } from './deck.svelte';
import * as presses from './presses';
import type { DeckState, FishCard, Step } from './state';
import { eventWord } from './words';

export type Room =
  | { kind: 'rod'; rod: string }
  | { kind: 'stamp'; id: string }
  | { kind: 'phone' }
  | { kind: 'log' }
  | { kind: 'tag'; typed: string }
  /** `look`: one that was kept before, to be corrected */
  | { kind: 'scores' | 'reflexes'; look?: string }
  | { kind: 'lost' | 'chamber' | 'out' | 'blood' | 'air' | 'handling' | 'hook' | 'weight' | 'photo' | 'note' | 'name' | 'death' | 'landing' | 'anaesthetic' | 'hold' };

class Ui {
  room = $state.raw<Room | null>(null);
  /** of which fish it is, whatever comes up meanwhile */
  private key = $state('');

  get card(): FishCard | null {
    return [...(deck.state?.fish ?? []), ...(deck.state?.over ?? [])].find(({ key }) => key === this.key) ?? null;
  }

  /** Of the fish that is chosen, or of another one. */
  open(room: Room, key = deck.card?.key ?? ''): void {
    this.key = key;
    this.room = room;
  }

  close = (): void => {
    this.room = null;
    deck.when = { kind: 'now' };
  };
}

export const ui = new Ui();

/** Chambers that hold no fish now, the one that suits first: the smallest for a peak, the largest for a rest. */
export function freeChambers(base: Base, state: DeckState, role: string): string[] {
  const taken = new Set(state.fish.filter(({ place }) => place === 'chamber').map(({ assembly }) => assembly));
  const way = role === 'rest' ? -1 : 1;
  return base.assemblies.filter(({ assembly }) => !taken.has(assembly)).sort((a, b) => way * ((a.volume_l ?? 0) - (b.volume_l ?? 0))).map(({ assembly }) => assembly);
}

/** The large button's words. */
export function stepWords(step: Step, card: FishCard, base: Base, state: DeckState): string {
  switch (step) {
    case 'sealed': {
      const [chamber] = freeChambers(base, state, card.role);
      return chamber === undefined ? 'Sealed in …' : `Sealed in ${chamber}`;
    }
    case 'blood':
      return 'Blood …';
    case 'taken_out':
      return `Taken out of ${card.assembly || 'the chamber'}`;
    case 'air_start':
      return 'Air begins';
    case 'released':
      return 'Let go';
    case 'held':
      return 'Kept in holding';
    default: {
      const word = eventWord(step);
      return word.charAt(0).toUpperCase() + word.slice(1);
    }
  }
}

/** Presses it, or opens what has to be asked first. */
export async function takeStep(step: Step, card: FishCard): Promise<void> {
  const { base, state } = deck;
  if (!base || !state || deck.isSameTap()) return;
  if (step === 'lost') return ui.open({ kind: 'lost' });
  if (step === 'blood') return ui.open({ kind: 'blood' });
  if (step === 'held') return ui.open({ kind: 'hold' });
  const telling = deck.telling();
  const say = (what: string, drafts: presses.Draft[]) => deck.tap(`${card.name || card.rod}: ${what}`, drafts, telling.at);
  switch (step) {
    case 'landed': {
      const name = presses.proposedName(state, telling.at, base.zone, deck.namer);
      if (await deck.tap(`${name}: landed`, presses.landed(card, name, base, state, telling), telling.at)) deck.chosen = name;
      return;
    }
    case 'sealed': {
      const [assembly] = freeChambers(base, state, card.role);
      if (assembly === undefined) return ui.open({ kind: 'chamber' });
      await say(`sealed in ${assembly}`, presses.fishEvent('sealed', card, telling, { assembly }));
      return;
    }
    case 'taken_out':
      await say(`taken out of ${card.assembly}`, presses.takenOut(card, state, telling, card.role));
      return;
    case 'released':
      await say('let go', presses.released(card, state, telling));
      return;
    default:
      await say(eventWord(step), presses.fishEvent(step, card, telling));
  }
}

/** Writes what a room asked for, and leaves the room when it is kept. */
export async function sayOf(card: FishCard, what: string, make: (telling: presses.Telling) => presses.Draft[]): Promise<void> {
  const telling = deck.telling();
  const drafts = make(telling);
  if (drafts.length === 0 || (await deck.tap(`${card.name || card.rod}: ${what}`, drafts, telling.at))) ui.close();
}
