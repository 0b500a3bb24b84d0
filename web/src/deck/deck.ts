// Deck: the boat's log on a phone. Its own page, since it has to open without the program.
import '../look/tokens.css';
import './deck.css';
import { mount } from 'svelte';
import { looks } from '../app/looks.svelte';
import { deck } from './deck.svelte';
import DeckPage from './DeckPage.svelte';

looks.start();
mount(DeckPage, { target: document.body });
void deck.start();
// For whoever looks behind the page: tools/deck_check.mjs drives the real queue by it.
Object.assign(globalThis, { backeddyDeck: deck });
