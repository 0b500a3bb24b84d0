// Where the tour is; whether it was seen is remembered on the device.
import { routeOfStop, tourStops } from '../data/tour';
import { keep, kept } from './kept';
import { where } from './where.svelte';

class Tour {
  readonly stops = tourStops;
  /** null: it is not shown */
  at = $state<number | null>(null);

  get stop() {
    return this.at === null ? null : (this.stops[this.at] ?? null);
  }

  /** An invented study opens with it, once. */
  offer(): void {
    if (this.at === null && kept('tour') === null && where.route.page === 'study') this.at = 0;
  }

  begin(): void {
    this.go(0);
  }

  go(to: number): void {
    const stop = this.stops[to];
    if (!stop) {
      if (to >= this.stops.length) this.end();
      return;
    }
    this.at = to;
    where.go(routeOfStop(stop));
  }

  next(): void {
    this.go((this.at ?? -1) + 1);
  }
  before(): void {
    if (this.at !== null && this.at > 0) this.go(this.at - 1);
  }

  end(): void {
    this.at = null;
    keep('tour', 'seen');
  }
}

export const tour = new Tour();
