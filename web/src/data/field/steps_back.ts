// Undo while a sheet is typed: the whole typing as it was before each cell.
import type { Typing } from './typing';

export interface Step {
  /** of the cell that was changed */
  place: string;
  before: Typing;
}

const most = 500;

export class StepsBack {
  private done: Step[] = [];
  private undone: Step[] = [];

  /** Before a cell is changed; typing on in the same cell is one step. */
  note(place: string, before: Typing): void {
    this.undone = [];
    if (this.done.at(-1)?.place === place) return;
    this.done = [...this.done.slice(1 - most), { place, before }];
  }

  /** What follows is another step, also in the same cell. */
  part(): void {
    const last = this.done.at(-1);
    if (last && !last.place.endsWith(' ')) this.done = [...this.done.slice(0, -1), { ...last, place: `${last.place} ` }];
  }

  back(now: Typing): Step | null {
    const step = this.done.at(-1);
    if (!step) return null;
    this.done = this.done.slice(0, -1);
    this.undone = [...this.undone, { place: step.place, before: now }];
    return { ...step, place: step.place.trim() };
  }

  forth(now: Typing): Step | null {
    const step = this.undone.at(-1);
    if (!step) return null;
    this.undone = this.undone.slice(0, -1);
    this.done = [...this.done, { place: step.place, before: now }];
    return { ...step, place: step.place.trim() };
  }
}
