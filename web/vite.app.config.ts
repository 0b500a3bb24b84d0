import { svelte } from '@sveltejs/vite-plugin-svelte';
import type { Plugin } from 'vite';
import { defineConfig } from 'vite';

const types: Record<string, string> = { html: 'text/html', js: 'text/javascript', css: 'text/css', svg: 'image/svg+xml' };

// What the folder holds, for the program that embeds it.
const listOfFiles: Plugin = {
  name: 'list-of-files',
  enforce: 'post',
  generateBundle(_, bundle) {
    const names = [...Object.keys(bundle), 'icon.svg'].sort();
    const files = names.map((name) => ({ name, type: types[name.split('.').at(-1) ?? ''] ?? 'application/octet-stream' }));
    this.emitFile({ type: 'asset', fileName: 'manifest.json', source: `${JSON.stringify({ files }, null, 2)}\n` });
  },
};

// The application's pages: index.html with one script and one style sheet under fixed names, since the program embeds them.
export default defineConfig({
  plugins: [svelte(), listOfFiles],
  build: {
    target: 'es2021',
    outDir: 'dist-app',
    cssCodeSplit: false,
    modulePreload: false,
    reportCompressedSize: false,
    chunkSizeWarningLimit: 1500,
    rollupOptions: {
      output: { entryFileNames: 'app.js', assetFileNames: 'app[extname]', inlineDynamicImports: true },
    },
  },
});
