// Keeps Deck's page for when there is no line. Files of one version belong together: they are fetched together, served
// together, and replaced together, when somebody says so.

interface Extendable extends Event {
  waitUntil(work: Promise<unknown>): void;
}
interface Fetching extends Extendable {
  request: Request;
  respondWith(answer: Promise<Response>): void;
}
interface Worker {
  addEventListener(type: 'install' | 'activate', listen: (event: Extendable) => void): void;
  addEventListener(type: 'fetch', listen: (event: Fetching) => void): void;
  addEventListener(type: 'message', listen: (event: MessageEvent) => void): void;
  skipWaiting(): Promise<void>;
  clients: { claim(): Promise<void> };
  location: Location;
}

const worker = self as unknown as Worker;
// The build puts the hash of these files here.
const cacheName = 'deck-__DECK_VERSION__';
const page = '/deck';
const shell = [page, '/deck.js', '/deck.css', '/deck.webmanifest', '/deck-icon.svg', '/deck-icon-192.png', '/deck-icon-512.png'];

async function fetchShell(): Promise<void> {
  const cache = await caches.open(cacheName);
  await Promise.all(shell.map(async (path) => {
    const answer = await fetch(path, { cache: 'no-cache', redirect: 'error' });
    if (!answer.ok) throw new Error(`${path}: ${answer.status}`);
    await cache.put(path, answer);
  }));
}

async function dropOthers(): Promise<void> {
  for (const name of await caches.keys()) if (name.startsWith('deck-') && name !== cacheName) await caches.delete(name);
}

async function fromShell(path: string, request: Request): Promise<Response> {
  const cache = await caches.open(cacheName);
  return (await cache.match(path, { ignoreVary: true })) ?? fetch(request);
}

/** The start token becomes a cookie at the program only. */
async function pageWithToken(request: Request): Promise<Response> {
  try {
    return await fetch(request);
  } catch {
    return fromShell(page, request);
  }
}

worker.addEventListener('install', (event) => event.waitUntil(fetchShell()));
worker.addEventListener('activate', (event) => event.waitUntil(dropOthers().then(() => worker.clients.claim())));
worker.addEventListener('message', (event) => {
  if (event.data === 'take over') void worker.skipWaiting();
});
worker.addEventListener('fetch', (event) => {
  const { request } = event;
  const { origin, pathname, searchParams } = new URL(request.url);
  if (request.method !== 'GET' || origin !== worker.location.origin || !shell.includes(pathname)) return;
  event.respondWith(searchParams.has('token') ? pageWithToken(request) : fromShell(pathname, request));
});
export {};
