import { svelte } from '@sveltejs/vite-plugin-svelte';
import type { Plugin } from 'vite';
import { defineConfig } from 'vitest/config';

// The script stands inside an HTML element: these must not appear in it, not even in its strings. In code a minifier never
// writes them (the first is a comment to browsers), so what is found is in strings and templates.
const standInside: Plugin = {
  name: 'stand-inside-a-script-element',
  generateBundle(_, bundle) {
    for (const file of Object.values(bundle)) {
      if (file.type === 'chunk') {
        file.code = file.code.replaceAll('<!--', '\\x3C!--').replaceAll(/<(\/?script)/g, '\\x3C$1');
      }
    }
  },
};

// One script without imports and one style sheet: both are embedded in the program and written into every report.
export default defineConfig({
  plugins: [svelte(), standInside],
  build: {
    target: 'es2021',
    outDir: 'dist',
    copyPublicDir: false,
    cssCodeSplit: false,
    modulePreload: false,
    reportCompressedSize: false,
    rollupOptions: {
      input: 'src/report.ts',
      output: { format: 'iife', entryFileNames: 'report.js', assetFileNames: 'report[extname]', inlineDynamicImports: true },
    },
  },
  ...(process.env.VITEST ? { resolve: { conditions: ['browser'] } } : {}),
  // A busy machine takes its time over a figure.
  test: { include: ['tests/**/*.test.ts'], environment: 'node', testTimeout: 30_000 },
});
