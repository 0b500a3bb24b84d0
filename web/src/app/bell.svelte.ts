// Sound of the page. Browsers let a page sound only after a press.
import type { Priority } from '../data/watch';

/** Tones as [Hz, s after the beginning], and s until they come again. */
const calls: Record<Priority, { tones: [number, number][]; every: number; loud: number }> = {
  fish_at_risk: { tones: [[880, 0], [660, 0.22], [880, 0.44], [660, 0.66]], every: 2, loud: 0.5 },
  high: { tones: [[660, 0], [660, 0.3], [880, 0.6]], every: 6, loud: 0.35 },
  medium: { tones: [[520, 0], [520, 0.35]], every: 15, loud: 0.25 },
  low: { tones: [[440, 0]], every: 60, loud: 0.15 },
};

class Bell {
  isOn = $state(false);
  private context: AudioContext | null = null;
  private wish: Priority | null = null;
  private timer: ReturnType<typeof setTimeout> | undefined;

  /** On a press alone: else the browser keeps it silent. */
  async start(): Promise<void> {
    this.context ??= new AudioContext();
    this.context.onstatechange = () => (this.isOn = this.context?.state === 'running');
    await this.context.resume();
    this.isOn = this.context.state === 'running';
    this.tone(660, 0, 0.2);
    this.again();
  }

  async stop(): Promise<void> {
    await this.context?.suspend();
    this.isOn = false;
  }

  /** Sounds for this from now on; null is silence. */
  call(wish: Priority | null): void {
    if (wish === this.wish) return;
    this.wish = wish;
    this.again();
  }

  private again(): void {
    clearTimeout(this.timer);
    if (this.wish === null || !this.isOn) return;
    const { tones, every, loud } = calls[this.wish];
    for (const [hertz, after] of tones) this.tone(hertz, after, loud);
    this.timer = setTimeout(() => this.again(), every * 1000);
  }

  private tone(hertz: number, after: number, loud: number): void {
    if (!this.context || this.context.state !== 'running') return;
    const at = this.context.currentTime + after;
    const tone = new OscillatorNode(this.context, { type: 'triangle', frequency: hertz });
    const gain = new GainNode(this.context, { gain: 0 });
    gain.gain.setValueAtTime(0, at);
    gain.gain.linearRampToValueAtTime(loud, at + 0.02);
    gain.gain.linearRampToValueAtTime(0, at + 0.18);
    tone.connect(gain).connect(this.context.destination);
    tone.start(at);
    tone.stop(at + 0.2);
  }
}

export const bell = new Bell();
