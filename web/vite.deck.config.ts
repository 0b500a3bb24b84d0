import { svelte } from '@sveltejs/vite-plugin-svelte';
import { createHash } from 'node:crypto';
import { readdirSync, readFileSync } from 'node:fs';
import type { Plugin } from 'vite';
import { defineConfig } from 'vite';

// The worker keeps files of one version together: what it calls them is the hash of all of them.
const versionOfAll: Plugin = {
  name: 'version-of-all',
  enforce: 'post',
  generateBundle: {
    order: 'post',
    handler(_, bundle) {
      const hash = createHash('sha256');
      for (const [name, file] of Object.entries(bundle).sort(([a], [b]) => (a < b ? -1 : 1))) hash.update(`${name}\n`).update(file.type === 'chunk' ? file.code : file.source);
      for (const name of readdirSync('public_deck').sort()) hash.update(`${name}\n`).update(readFileSync(`public_deck/${name}`));
      const worker = bundle['deck-worker.js'];
      if (worker?.type !== 'chunk' || !worker.code.includes('__DECK_VERSION__')) throw new Error('the worker has no place for its version');
      worker.code = worker.code.replaceAll('__DECK_VERSION__', hash.digest('hex').slice(0, 16));
    },
  },
};

// Deck: a page of its own, since it has to work without the program. Fixed names, since the program embeds them.
export default defineConfig({
  plugins: [svelte(), versionOfAll],
  publicDir: 'public_deck',
  build: {
    target: 'es2021',
    outDir: 'dist-deck',
    cssCodeSplit: false,
    modulePreload: false,
    reportCompressedSize: false,
    rollupOptions: {
      input: { deck: 'deck.html', 'deck-worker': 'src/deck/worker.ts' },
      output: { entryFileNames: '[name].js', chunkFileNames: '[name].js', assetFileNames: 'deck[extname]' },
    },
  },
});
