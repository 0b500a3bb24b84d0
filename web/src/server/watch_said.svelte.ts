// The last that the watch said, as the pages see it: drawn once per frame at most, kept when it goes away, and never taken
// for new when it is not.
import { standingOf } from '../data/watch';
import type { WatchNow } from './api';
import { problemOf, type Problem } from './request';
import { askWatch, watchOf } from './watch';

class WatchSaid {
  now = $state.raw<WatchNow | null>(null);
  /** it said that it went away, or was not there when it was asked for again */
  isGone = $state(false);
  isAsked = $state(false);
  problem = $state.raw<Problem | null>(null);
  /** when its last news came, ms since 1970 of this device */
  heardAt = $state(0);
  /** ms since 1970 of this device, each second */
  clock = $state(Date.now());
  private waiting: { told: unknown; at: number } | null = null;

  readonly standing = $derived(standingOf(this.now, this.heardAt, this.isGone, this.isAsked, Math.max(this.clock, this.heardAt)));
  readonly isOld = $derived(this.standing !== 'live');
  /** Of the watch's own clock, carried on: what it plans is in its time. */
  readonly watchClock = $derived(this.now === null ? this.clock : Date.parse(this.now.at) + Math.max(0, this.clock - this.heardAt));

  hear(told: unknown): void {
    const isFirst = this.waiting === null;
    this.waiting = { told, at: Date.now() };
    if (!isFirst) return;
    // A page that is not shown gets no frames, and has to sound all the same.
    requestAnimationFrame(() => this.take());
    setTimeout(() => this.take(), 250);
  }

  private take(): void {
    const waiting = this.waiting;
    this.waiting = null;
    if (!waiting) return;
    try {
      this.set(watchOf(waiting.told), waiting.at);
    } catch (error) {
      this.problem = problemOf(error);
    }
  }

  private set(now: WatchNow | null, at: number): void {
    this.isAsked = true;
    this.problem = null;
    if (now === null) {
      this.isGone = this.now !== null;
      return;
    }
    // The same word again is no news.
    if (now.at !== this.now?.at || this.isGone) this.heardAt = at;
    this.isGone = false;
    this.now = now;
  }

  start(): void {
    setInterval(() => (this.clock = Date.now()), 1000);
  }

  /** Asks what stands; what is returned ends it. */
  ask(): () => void {
    const asking = new AbortController();
    askWatch({ signal: asking.signal }).then(
      (now) => this.set(now, Date.now()),
      (error: unknown) => {
        if (!asking.signal.aborted) this.problem = problemOf(error);
      },
    );
    return () => asking.abort();
  }
}

export const watchSaid = new WatchSaid();
