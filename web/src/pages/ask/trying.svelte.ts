// A question that is being tried: one at a time, the last one wished for; what came of it.
import type { QuestionKeys, TryProgress } from '../../server/api';
import { askProgress, stopTrying, tryQuestion, type Tried } from '../../server/ask';
import { isAborted, problemOf, type Problem } from '../../server/request';

const isBusyElsewhere = (problem: Problem): boolean => problem.status === 503;

export class Trying {
  /** of the question as it was last answered */
  tried = $state.raw<Tried | null>(null);
  problem = $state.raw<Problem | null>(null);
  isComputing = $state(false);
  /** another person's is computed first */
  waits = $state(false);
  far = $state.raw<TryProgress | null>(null);
  private asking: AbortController | null = null;
  private token = '';

  /** The answer to another wish that comes after is dropped; the program ends that computation by itself. */
  async ask(keys: QuestionKeys, instead: string, token: string): Promise<void> {
    this.asking?.abort();
    const asking = new AbortController();
    this.asking = asking;
    this.token = token;
    this.isComputing = true;
    this.far = null;
    const watching = setInterval(() => void this.look(asking), 1000);
    try {
      this.tried = await this.answerOf(keys, instead, asking);
      this.problem = null;
    } catch (error) {
      if (!isAborted(error)) {
        this.problem = problemOf(error);
        this.tried = null;
      }
    } finally {
      clearInterval(watching);
      if (this.asking === asking) {
        this.isComputing = false;
        this.waits = false;
        this.asking = null;
      }
    }
  }

  private async answerOf(keys: QuestionKeys, instead: string, asking: AbortController): Promise<Tried> {
    for (;;) {
      try {
        return await tryQuestion(keys, instead, this.token, { signal: asking.signal });
      } catch (error) {
        if (asking.signal.aborted || isAborted(error) || !isBusyElsewhere(problemOf(error))) throw error;
        this.waits = true;
        await new Promise((again) => setTimeout(again, 2000));
        asking.signal.throwIfAborted();
      }
    }
  }

  private async look(asking: AbortController): Promise<void> {
    try {
      this.far = await askProgress({ signal: asking.signal });
    } catch {
      // The answer itself will say what is wrong.
    }
  }

  /** Nobody waits any more. */
  stop(): void {
    if (!this.asking) return;
    this.asking.abort();
    stopTrying(this.token);
  }

  clear(): void {
    this.stop();
    this.tried = null;
    this.problem = null;
  }
}
