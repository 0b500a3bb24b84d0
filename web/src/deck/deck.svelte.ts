// Deck as its page sees it: the queue, the line to the program, the state of the deck, the time, what was pressed last.
import { baseOf, type Base } from './base';
import { layOver } from './edits';
import { idOf, type Entry } from './entry';
import { undo, type Draft, type Namer, type Telling } from './presses';
import { Queue, pressOf, queueFile, unsentOf, type Clocks } from './queue';
import { allQueues, changeTo, openCurrent, type KnownQueue } from './queues';
import { refusedGroups, type RefusedGroup } from './refused';
import type { Kept } from './shelf';
import { deckState, type DeckState, type FishCard } from './state';
import { fresh, Sync, type Told } from './sync';
import { post, Problem, problemOf } from '../server/request';
import { kept as remembered, keep } from '../app/kept';

export interface LastPress {
  word: string;
  what: string;
  at: number;
  /** ms since 1970: until then it is offered to be undone */
  until: number;
  isUndone: boolean;
}

/** When a press is meant to have happened. */
export type When = { kind: 'now' } | { kind: 'ago'; ms: number } | { kind: 'at'; ms: number };

export type Shell = 'asking' | 'ready' | 'not_here';

export const undoFor = 10_000;
/** ms: two touches within it are one tap */
export const sameTap = 600;

const word = (): string => [...crypto.getRandomValues(new Uint8Array(6))].map((byte) => byte.toString(16).padStart(2, '0')).join('');

const clocks: Clocks = { wall: () => Date.now(), monotonic: () => performance.now(), boot: word(), word };

export class Deck {
  private queue: Queue | null = null;
  private sync: Sync | null = null;
  private readonly others = typeof BroadcastChannel === 'function' ? new BroadcastChannel('backeddy-deck') : null;

  kept = $state.raw<Kept | null>(null);
  entries = $state.raw<Entry[]>([]);
  told = $state.raw<Told>(fresh);
  /** ms since 1970 by the server's clock, as far as it is known */
  now = $state(Date.now());
  /** by this device's own clock */
  wall = $state(Date.now());
  /** as now, moved on seldom: what is drawn from it is not drawn each second */
  private slowNow = $state(Date.now());
  /** why nothing can be kept on this phone; '' while all is well */
  fault = $state('');
  /** why the last press was not kept */
  failure = $state('');
  last = $state.raw<LastPress | null>(null);
  when = $state.raw<When>({ kind: 'now' });
  chosen = $state('');
  shell = $state<Shell>('asking');
  hasUpdate = $state(false);
  isPersisted = $state<boolean | null>(null);
  pairing = $state.raw<Problem | null>(null);
  private takeUpdate: () => void = () => undefined;
  private tappedAt = -Infinity;

  readonly base = $derived.by<Base | null>(() => {
    const text = this.kept?.base ?? '';
    return text === '' ? null : baseOf(JSON.parse(text));
  });
  private readonly laid = $derived(this.base ? layOver(this.base.rows, this.entries) : null);
  readonly state = $derived<DeckState | null>(this.base && this.laid ? deckState(this.base, this.entries, this.slowNow, this.laid) : null);
  readonly unsent = $derived(this.kept ? unsentOf(this.kept) : 0);
  readonly refused = $derived<RefusedGroup[]>(this.kept ? refusedGroups(this.kept, this.entries) : []);
  readonly zone = $derived(this.base?.zone ?? '');
  readonly card = $derived<FishCard | null>(this.state?.fish.find(({ key }) => key === this.chosen) ?? this.state?.fish[0] ?? null);
  readonly mayLog = $derived(this.kept !== null && this.kept.role !== 'viewer');

  async start(): Promise<void> {
    this.clock();
    setInterval(() => this.clock(), 500);
    try {
      this.queue = await Queue.open(await openCurrent(), clocks, () => this.look());
    } catch (error) {
      this.fault = `This browser keeps nothing (${error instanceof Error ? error.message : String(error)}). Leave private browsing, or use another browser; until then log on paper.`;
      return;
    }
    this.look();
    if (this.others) this.others.onmessage = () => void this.queue?.reload();
    this.sync = new Sync(
      {
        fetcher: (address, init) => fetch(address, { signal: AbortSignal.timeout(20_000), ...init }),
        now: () => Date.now(), monotonic: () => performance.now(),
        later: (call, ms) => {
          const id = setTimeout(call, ms);
          return () => clearTimeout(id);
        },
      },
      this.queue, (told) => (this.told = told),
    );
    addEventListener('online', () => void this.sync?.kick());
    document.addEventListener('visibilitychange', () => {
      if (document.visibilityState === 'visible') void this.sync?.kick();
    });
    void this.registerShell();
    await this.pairByAddress();
    void this.sync.kick();
    this.isPersisted = (await navigator.storage?.persisted?.()) ?? null;
  }

  private look(): void {
    if (!this.queue) return;
    this.kept = this.queue.kept;
    if (this.entries !== this.queue.entries) {
      this.entries = this.queue.entries;
      this.slowNow = this.now;
    }
  }

  private clock(): void {
    this.wall = Date.now();
    this.now = this.wall + (this.kept?.offsetUs ?? 0) / 1000;
    if (Math.abs(this.now - this.slowNow) > 15_000) this.slowNow = this.now;
  }

  // ---- pressing

  /** Whose phone names a fish. */
  get namer(): Namer {
    const { mark = '', device = '0' } = this.kept ?? {};
    return { mark, device, others: [...new Set(this.entries.map((entry) => entry.device))] };
  }

  /** When it happened, and that the next press is of now again. */
  telling(): Telling {
    this.clock();
    const { when } = this;
    const at = when.kind === 'now' ? this.now : when.kind === 'ago' ? this.now - when.ms : when.ms;
    return { at, who: this.kept?.author ?? '' };
  }

  /** As press(), of a finger: what comes right after another press is the same tap of a cold hand, and is left out. */
  async tap(what: string, drafts: readonly Draft[], at: number): Promise<boolean> {
    if (this.isSameTap()) return false;
    this.tappedAt = performance.now();
    return this.press(what, drafts, at);
  }

  isSameTap(): boolean {
    return performance.now() - this.tappedAt < sameTap;
  }

  /** Kept on this phone's disk before it says so; false where it was not. */
  async press(what: string, drafts: readonly Draft[], at: number, isUndoable = true): Promise<boolean> {
    if (!this.queue || drafts.length === 0) return false;
    this.failure = '';
    try {
      if (!this.mayLog) throw new Error('A viewer logs nothing.');
      const made = await this.queue.put(drafts);
      const entry = made[0];
      navigator.vibrate?.(30);
      if (entry && isUndoable) this.last = { word: pressOf(entry), what, at, until: Date.now() + undoFor, isUndone: false };
      this.when = { kind: 'now' };
      this.others?.postMessage('wrote');
      void this.sync?.kick();
      if (this.isPersisted !== true) this.isPersisted = (await navigator.storage?.persist?.()) ?? null;
      return true;
    } catch (error) {
      navigator.vibrate?.([80, 60, 80]);
      this.failure = `Not saved: ${what}. ${error instanceof Error ? error.message : String(error)}`;
      return false;
    }
  }

  /** All entries of a press that still count, the last first. */
  private ofPress(press: string): Entry[] {
    return this.entries.filter((entry) => pressOf(entry) === press && entry.act !== 'undo' && !this.state?.undone.has(idOf(entry))).reverse();
  }

  async undoPress(press: string, reason = ''): Promise<boolean> {
    const drafts = this.ofPress(press).map((entry) => undo(idOf(entry), reason));
    const isDone = await this.press('taken back', drafts, this.now, false);
    if (isDone && this.last?.word === press) this.last = { ...this.last, isUndone: true, until: Date.now() + 4000 };
    return isDone;
  }

  /** What one row's press wrote; a row that came without one is undone alone. */
  async undoEntry(entry: Entry, reason: string): Promise<boolean> {
    const press = pressOf(entry);
    return press !== '' ? this.undoPress(press, reason) : this.press('taken back', [undo(idOf(entry), reason)], this.now, false);
  }

  async keepPhoto(file: File): Promise<string> {
    if (!this.queue) throw new Error('nothing can be kept here');
    if (!['image/jpeg', 'image/png', 'image/webp'].includes(file.type)) throw new Error(`A picture as JPEG, PNG or WebP is taken, this is ${file.type || 'something else'}.`);
    if (file.size > 20 * 2 ** 20) throw new Error('This picture is larger than 20 MiB: take it smaller.');
    const bytes = await file.arrayBuffer();
    const hash = new Uint8Array(await crypto.subtle.digest('SHA-256', bytes));
    const sha256 = [...hash].map((byte) => byte.toString(16).padStart(2, '0')).join('');
    await this.queue.keepPhoto({ sha256, type: file.type, bytes, isSent: false });
    return sha256;
  }

  // ---- who logs, and the program

  async note(part: Partial<Pick<Kept, 'author' | 'mark' | 'inHand'>>): Promise<void> {
    await this.queue?.note(part);
    void this.sync?.kick();
  }

  async signIn(name: string, passphrase: string): Promise<Problem | null> {
    return this.enter('/api/sign-in', { name, passphrase });
  }

  /** By the laptop's code, typed: a page on the home screen may not share what a camera opened. */
  async pairBy(code: string): Promise<Problem | null> {
    return this.enter('/api/pair', { code });
  }

  private async enter(path: string, body: unknown): Promise<Problem | null> {
    try {
      await post(path, body, '');
      void this.sync?.again();
      return null;
    } catch (error) {
      return problemOf(error);
    }
  }

  /** The laptop's code stands behind the # of the address: it never travels in a request's line. */
  private async pairByAddress(): Promise<void> {
    const code = /[#&]pair=([^&]+)/.exec(location.hash)?.[1];
    if (!code) return;
    this.pairing = await this.enter('/api/pair', { code: decodeURIComponent(code) });
    // Without an answer the code may still hold.
    if (this.pairing?.status !== 0) history.replaceState(null, '', location.pathname + location.search);
  }

  again(): void {
    void this.sync?.again();
  }

  async sendAllAgain(): Promise<void> {
    await this.queue?.note({ sent: 0, arrived: 0, refused: [] });
    this.again();
  }

  async goToStudy(identity: string): Promise<void> {
    await changeTo(identity);
    location.reload();
  }

  queues(): Promise<KnownQueue[]> {
    return allQueues();
  }

  /** Shared where the phone can share files, else saved. */
  async saveFile(queue: Pick<KnownQueue, 'shelf' | 'kept'>): Promise<void> {
    const text = await queueFile(queue, Date.now());
    const name = `deck-${queue.kept.device}-${new Date().toISOString().slice(0, 16).replace(/[-:]/g, '')}.json`;
    const file = new File([text], name, { type: 'application/json' });
    if (matchMedia('(pointer: coarse)').matches && navigator.canShare?.({ files: [file] })) {
      try {
        await navigator.share({ files: [file] });
        return;
      } catch (error) {
        if (error instanceof DOMException && error.name === 'AbortError') return;
      }
    }
    const link = document.createElement('a');
    link.href = URL.createObjectURL(file);
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  }

  // ---- the page itself, kept for when there is no line

  private async registerShell(): Promise<void> {
    if (!isSecureContext || !('serviceWorker' in navigator)) {
      this.shell = 'not_here';
      return;
    }
    try {
      const registration = await navigator.serviceWorker.register('/deck-worker.js', { scope: '/deck', updateViaCache: 'none' });
      const offer = () => {
        const { waiting } = registration;
        if (!waiting || !navigator.serviceWorker.controller) return;
        this.hasUpdate = true;
        this.takeUpdate = () => {
          navigator.serviceWorker.addEventListener('controllerchange', () => location.reload(), { once: true });
          waiting.postMessage('take over');
        };
      };
      offer();
      registration.addEventListener('updatefound', () => registration.installing?.addEventListener('statechange', offer));
      await navigator.serviceWorker.ready;
      this.shell = 'ready';
    } catch {
      this.shell = 'not_here';
    }
  }

  update(): void {
    this.takeUpdate();
  }

  // ---- what this phone has been told once

  isTold(word: string): boolean {
    return remembered(`deck ${word}`) !== null;
  }

  tellOnce(word: string): void {
    keep(`deck ${word}`, 'yes');
  }
}

export const deck = new Deck();
