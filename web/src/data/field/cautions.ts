// What every sheet reminds of, in the same words as the sheets that `backeddy new` writes (src/intake/template.cpp; a test
// holds the two together).

export const noLifeSupport = 'This is no life support: pumps must fail to flush in hardware, and somebody stays within reach of the fish.';
export const permitDecides =
  'The permit and the licensed investigator decide on handling, anaesthesia, blood and endpoints. No righting reflex, no gill beat, heavy bleeding: stop, and do what the permit says.';
export const sharps = 'Hooks and needles go into the sharps box at once, never loose on deck or into a pocket.';
export const electricity = 'Pumps beside water: a residual-current device (RCD), tested today; plugs above the splash, drip loops; unplug before hands go in.';
export const deckFirst = 'Log when the deck is safe: a late entry is as good, with its uncertainty in seconds.';
export const nightWork = 'A full chamber is heavy: two people lift it. Nobody works alone at night beside the water.';
export const wetHands = 'Wet hands, in water or on a wet mat, and quickly: the fish is out of its breath.';
