// Who went no further, stage by stage: fish by name, those without one counted by reason.
import type { Accounting } from './results';
import { spoken } from './read';

export interface LeavingLine {
  /** "F17", "4 ×" */
  who: string;
  fish: string;
  why: string;
}

export function leavingLines(accounting: Accounting): { after: string; lines: LeavingLine[] }[] {
  return accounting.stages
    .filter((stage) => stage.left.length > 0)
    .map((stage) => {
      const lines: LeavingLine[] = [];
      const nameless = new Map<string, number>();
      for (const each of stage.left) {
        const why = spoken(each.reason);
        if (each.fish === '' && each.encounter === '') nameless.set(why, (nameless.get(why) ?? 0) + 1);
        else lines.push({ who: each.fish || each.encounter, fish: each.fish, why });
      }
      const counted = [...nameless].sort((a, b) => b[1] - a[1]).map(([why, n]) => ({ who: `${n} ×`, fish: '', why }));
      return { after: stage.title, lines: [...lines, ...counted] };
    });
}
