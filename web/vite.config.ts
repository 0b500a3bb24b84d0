import { svelte } from '@sveltejs/vite-plugin-svelte';
import { defineConfig } from 'vitest/config';

// One script without imports and one style sheet: both are embedded in the program and written into every report.
export default defineConfig({
  plugins: [svelte()],
  build: {
    target: 'es2021',
    outDir: 'dist',
    cssCodeSplit: false,
    modulePreload: false,
    reportCompressedSize: false,
    rollupOptions: {
      input: 'src/report.ts',
      output: { format: 'iife', entryFileNames: 'report.js', assetFileNames: 'report[extname]', inlineDynamicImports: true },
    },
  },
  resolve: process.env.VITEST ? { conditions: ['browser'] } : undefined,
  test: { include: ['tests/**/*.test.ts'], environment: 'node' },
});
