// Measures how a study opens and how its traces move, in a real browser against the real program:
//
//   node tools/open_bench.mjs PROGRAM STUDY [--rounds N] [--stretches N] [--steps N]
//
// PROGRAM serves STUDY (a copy: results are written into it), N times (3 when not said). Of each start: from the start of
// the process, and from the page's navigation, to the first page drawn with its results; then stretches of traces at
// random, from a minute to all of a stay, as the server answers them; then steps of the trace page, one after the other,
// by the main thread's own time (Chromium's thread ticks: what other processes take does not count). The first line is of
// a start without kept results. Prints lines of a table; no claim is checked: a time is no claim that a test can hold.
import { spawn } from 'node:child_process';
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import { chromium } from 'playwright-core';
import { until } from './until.mjs';

const { values, positionals } = parseArgs({ allowPositionals: true, options: { rounds: { type: 'string', default: '3' }, stretches: { type: 'string', default: '200' }, steps: { type: 'string', default: '120' } } });
const [program, study] = positionals;
if (!program || !study) {
  console.error('usage: open_bench PROGRAM STUDY [--rounds N] [--stretches N] [--steps N]');
  process.exit(2);
}

const share = (all, p) => [...all].sort((a, b) => a - b)[Math.min(all.length - 1, Math.floor(all.length * p))];
const ms = (value) => value.toFixed(1);
const row = (...cells) => console.log(`| ${cells.join(' | ')} |`);
const spread = (what, all) => row(what, all.length, ms(share(all, 0.5)), ms(share(all, 0.95)), ms(Math.max(...all)));

/** The program, from its start on; its address once it has said it. */
async function serve() {
  const started = performance.now();
  const child = spawn(program, ['serve', study, '--port', '0'], { stdio: ['ignore', 'pipe', 'inherit'] });
  const address = await new Promise((found, failed) => {
    let said = '';
    child.stdout.on('data', (bytes) => {
      said += bytes;
      const match = /http:\/\/\S+/.exec(said);
      if (match) found(match[0]);
    });
    child.on('exit', (code) => failed(new Error(`the program ended with ${code}`)));
  });
  const stop = () => new Promise((done) => {
    child.removeAllListeners('exit');
    child.on('exit', done);
    child.kill('SIGINT');
  });
  return { address, started, stop };
}

/** A start: from the process and from the navigation to the page drawn with results, ms; and the page. */
async function open(browser) {
  const served = await serve();
  const context = await browser.newContext({ viewport: { width: 1440, height: 900 }, reducedMotion: 'reduce' });
  await context.addInitScript(() => localStorage.setItem('backeddy tour', 'seen'));
  const page = await context.newPage();
  const asked = performance.now();
  await page.goto(served.address, { waitUntil: 'commit' });
  // Drawn: results stand in the page and a frame with them has been painted.
  await page.waitForFunction(() => document.querySelector('.tally') !== null && document.querySelector('main .headline .big') !== null, null, { timeout: 120000, polling: 'raf' });
  await page.evaluate(() => new Promise((painted) => requestAnimationFrame(() => requestAnimationFrame(painted))));
  const drawn = performance.now();
  return { ...served, context, page, fromProcess: drawn - served.started, fromNavigation: drawn - asked };
}

/** The study is computed behind what is shown. */
const ready = (page) => until(page, () => page.evaluate(async () => (await (await fetch('/api/state')).json()).phase === 'ready'), 120000);

/** ms that the server takes for stretches of the stays, from a minute to the whole. */
async function stretches(page, count) {
  return page.evaluate(async (n) => {
    const results = await (await fetch('/api/results')).json();
    const stays = [...results.fish.flatMap((fish) => fish.stays), ...results.blanks];
    const out = { whole: [], part: [] };
    for (let i = 0; i < n; i++) {
      const stay = stays[Math.floor(Math.random() * stays.length)];
      const [from, to] = [Date.parse(stay.from), Date.parse(stay.to)];
      const span = i % 4 === 0 ? to - from : Math.exp(Math.log(60000) + Math.random() * Math.log((to - from) / 60000));
      const begin = from + Math.random() * (to - from - span);
      const path = `/api/stays/${encodeURIComponent(stay.id)}/trace?from=${new Date(begin).toISOString()}&to=${new Date(begin + span).toISOString()}`;
      const asked = performance.now();
      await (await fetch(path)).arrayBuffer();
      (i % 4 === 0 ? out.whole : out.part).push(performance.now() - asked);
    }
    return out;
  }, count);
}

/** Main-thread ms of each step of the trace page in turn. */
async function steps(page, count, zooms) {
  const session = await page.context().newCDPSession(page);
  await session.send('Performance.enable', { timeDomain: 'threadTicks' });
  const taken = async () => {
    const { metrics } = await session.send('Performance.getMetrics');
    return metrics.find((each) => each.name === 'TaskDuration').value * 1000;
  };
  await page.evaluate(() => {
    history.pushState(null, '', '/traces');
    dispatchEvent(new PopStateEvent('popstate'));
  });
  await page.waitForSelector('.spell-chart canvas, canvas');
  await page.keyboard.press('0');
  for (let i = 0; i < zooms; i++) await page.keyboard.press('+');
  await page.waitForTimeout(1500);
  const frame = () => page.evaluate(() => new Promise((painted) => requestAnimationFrame(() => requestAnimationFrame(painted))));
  // What asking itself costs is taken off.
  const idle = [];
  for (let i = 0; i < 20; i++) {
    const before = await taken();
    await frame();
    idle.push((await taken()) - before);
  }
  const out = [];
  for (let i = 0; i < count; i++) {
    const before = await taken();
    await page.keyboard.press(Math.floor(i / 6) % 2 === 0 ? 'ArrowRight' : 'ArrowLeft');
    await frame();
    out.push(Math.max(0, (await taken()) - before - share(idle, 0.5)));
  }
  await session.detach();
  return out;
}

rmSync(join(study, '.cache'), { recursive: true, force: true });
row('what', 'times', 'p50, ms', 'p95, ms', 'largest, ms');
row('---', '---', '---', '---', '---');
const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium', args: ['--no-sandbox'] });
try {
  const first = await open(browser);
  row('first start, from the process to its page drawn', 1, '', '', ms(first.fromProcess));
  await ready(first.page);
  await first.context.close();
  await first.stop();
  const [fromProcess, fromNavigation, whole, part, wide, near] = [[], [], [], [], [], []];
  for (let i = 0; i < Number(values.rounds); i++) {
    const again = await open(browser);
    fromProcess.push(again.fromProcess);
    fromNavigation.push(again.fromNavigation);
    await ready(again.page);
    const asked = await stretches(again.page, Number(values.stretches));
    whole.push(...asked.whole);
    part.push(...asked.part);
    wide.push(...(await steps(again.page, Number(values.steps), 1)));
    near.push(...(await steps(again.page, Number(values.steps), 6)));
    await again.context.close();
    await again.stop();
  }
  spread('later starts, from the process to its page drawn', fromProcess);
  spread('later starts, from the navigation to the page drawn', fromNavigation);
  spread('a whole stay, from asking to its last byte', whole);
  spread('a stretch of it, likewise', part);
  spread('a step over half of a stay, main thread', wide);
  spread('a step over a 64th of it, main thread', near);
} finally {
  await browser.close();
}
