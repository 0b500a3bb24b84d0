// Hands of this page on the watch: one at a time, and what it answered.
import { live } from '../../server/live.svelte';
import type { WatchHand } from '../../server/api';
import { problemOf } from '../../server/request';
import { handOn } from '../../server/watch';
import { sentence, upper } from '../../data/read';

class Hands {
  isBusy = $state(false);
  /** of the last one */
  said = $state('');
  isRefused = $state(false);
  private timer: ReturnType<typeof setTimeout> | undefined;

  /** true when it was done; `what` says so in words */
  async act(hand: WatchHand, what: string): Promise<boolean> {
    if (this.isBusy) return false;
    this.isBusy = true;
    this.said = '';
    try {
      const answer = await handOn(hand, live.known.session?.change_token ?? '');
      this.isRefused = !answer.done;
      this.said = answer.done ? [`${upper(what)}.`, sentence(answer.words)].filter(Boolean).join(' ') : `Not done: ${sentence(answer.words || 'the watch refused')}`;
      return answer.done;
    } catch (error) {
      const problem = problemOf(error);
      this.isRefused = true;
      this.said = `Not done: ${sentence(problem.message)} ${sentence(problem.whatToDo)}`;
      return false;
    } finally {
      this.isBusy = false;
      // What was refused stays until the next press.
      clearTimeout(this.timer);
      if (!this.isRefused) this.timer = setTimeout(() => (this.said = ''), 12_000);
    }
  }
}

export const hands = new Hands();
