// The feed as the pages see it.
import { Feed, type Known } from './feed';
import { problemOf, post, type Problem } from './request';
import { watchSaid } from './watch_said.svelte';

const nothing: Known = { about: null, session: null, state: null, results: null, shownRevision: null, copy: null, phones: 0, link: 'connecting', lostSince: null, nextTry: null, fault: '' };

class Live {
  known = $state.raw<Known>(nothing);
  private feed: Feed | undefined;

  start(): void {
    const address = `${location.protocol === 'https:' ? 'wss' : 'ws'}://${location.host}/api/changes`;
    this.feed = new Feed(
      {
        fetcher: (...args) => fetch(...args),
        openLine: () => new WebSocket(address) as unknown as ReturnType<ConstructorParameters<typeof Feed>[0]['openLine']>,
        now: () => Date.now(),
        later: (call, ms) => {
          const id = setTimeout(call, ms);
          return () => clearTimeout(id);
        },
        hearWatch: (told) => watchSaid.hear(told),
      },
      (known) => (this.known = known),
    );
    void this.feed.start();
    // A device that slept, or came back on the network, asks at once.
    addEventListener('online', () => this.retry());
    document.addEventListener('visibilitychange', () => {
      if (!document.hidden && this.known.link === 'lost') this.retry();
    });
  }

  retry(): void {
    void this.feed?.start();
  }

  /** null when it went well */
  async signIn(name: string, passphrase: string): Promise<Problem | null> {
    try {
      await post('/api/sign-in', { name, passphrase }, '');
      this.retry();
      return null;
    } catch (error) {
      return problemOf(error);
    }
  }

  async signOut(): Promise<Problem | null> {
    try {
      await post('/api/sign-out', {}, this.known.session?.change_token ?? '');
      this.retry();
      return null;
    } catch (error) {
      return problemOf(error);
    }
  }
}

export const live = new Live();
