// Watch in a real browser, over simulated chambers, the watch and the program itself: the page without a watch, chambers at a
// glance and one large, a fault that becomes an alarm and is acknowledged by keyboard, hands, the page for the next watch, and
// a watch that is killed and never shown as live again. Axe, widths, sizes of what is pressed, the console.
//
//   node tools/watch_check.mjs PROGRAM RIG FOLDER [PICTURES]   (FOLDER is made anew; CHROMIUM names the browser,
//                                                               /usr/bin/chromium when not set)
import { spawn, spawnSync } from 'node:child_process';
import { appendFileSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { chromium } from 'playwright-core';

const [program, rig, folder, pictures] = process.argv.slice(2);
if (!program || !rig || !folder) {
  console.error('usage: watch_check PROGRAM RIG FOLDER [PICTURES]');
  process.exit(2);
}
if (pictures) mkdirSync(pictures, { recursive: true });
const faults = [];
const expect = (is, text) => is || faults.push(text);
const axe = readFileSync(new URL('../node_modules/axe-core/axe.min.js', import.meta.url), 'utf8');
const sizes = { phone: { width: 390, height: 844 }, tablet: { width: 820, height: 1180 }, laptop: { width: 1440, height: 900 } };
const themes = { day: {}, sun: { contrast: 'more' }, night: { colorScheme: 'dark' } };
const wait = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

// ---- a study of three chambers, and what is in them

rmSync(folder, { recursive: true, force: true });
mkdirSync(folder, { recursive: true });
const study = join(folder, 'study');
const station = join(folder, 'rig.toml');
spawnSync(program, ['new', study], { stdio: ['ignore', 'ignore', 'inherit'] });
const brief = join(study, 'study.toml');
writeFileSync(brief, `${readFileSync(brief, 'utf8').replace('[water]\n', '[water]\nsalinity = 33\n')}\n[[trace]]\nname = "night"\nfiles = ["raw/night*.csv"]\n`);
const assembly = (n) => `c${n},,,8,,2,,8,,s${n},night:c${n}_oxygen,night:c${n}_temperature,night:c${n}_pump,6,20,\n`;
appendFileSync(join(study, 'assemblies.csv'), [1, 2, 3].map(assembly).join(''));

const children = [];
/** Runs until it has said so much. */
async function start(name, command, args, sign) {
  const child = spawn(command, args, { stdio: ['pipe', 'pipe', 'pipe'] });
  children.push(child);
  let said = '';
  for (const out of [child.stdout, child.stderr]) out.on('data', (data) => (said += data));
  for (let i = 0; i < 300 && !sign.test(said); ++i) {
    if (child.exitCode !== null) break;
    await wait(100);
  }
  if (!sign.test(said)) throw new Error(`${name} did not start: ${said}`);
  return { child, said: () => said };
}

let browser;
try {
  const simulated = await start('the rig', rig, ['--line-port', '0', '--chambers', '3', '--station', station], /at work/);
  const served = await start('the program', program, ['serve', study, '--port', '0'], /http:\/\/\S+token\S+/);
  const address = /http:\/\/\S+token\S+/.exec(served.said())[0];

  browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium', args: ['--no-sandbox'] });
  const context = await browser.newContext({ viewport: sizes.laptop, reducedMotion: 'reduce' });
  const page = await context.newPage();
  // Without results, and without a watch, it is said so on the page.
  const expected = ['status of 404', 'status of 503'];
  page.on('console', (message) => ['error', 'warning'].includes(message.type()) && !expected.some((each) => message.text().includes(each)) && faults.push(`console: ${message.text()}`));
  page.on('pageerror', (error) => faults.push(error.message));
  const seen = (text, ms = 15_000) => page.getByText(text).first().waitFor({ timeout: ms }).then(() => true, () => (faults.push(`never seen: ${text}`), false));

  async function judged(name) {
    const wider = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
    expect(wider <= 0, `${name} is ${wider} px wider than the window`);
    const small = await page.evaluate(() => [...document.querySelectorAll('.watch :is(a, button, summary, select, input)')].filter((each) => {
      const { width, height } = each.getBoundingClientRect();
      return width > 0 && (height < 44 || width < 44);
    }).map((each) => each.textContent?.trim().slice(0, 30)));
    expect(small.length === 0, `${name}: too small to press: ${small.join('; ')}`);
    await page.evaluate(axe);
    const complaints = await page.evaluate(async () => {
      const { violations } = await window.axe.run(document, { resultTypes: ['violations'], rules: { 'target-size': { enabled: true } } });
      return violations.filter((each) => ['serious', 'critical'].includes(each.impact)).map((each) => `${each.id}: ${each.help} (${each.nodes[0]?.html.slice(0, 200)})`);
    });
    for (const text of complaints) faults.push(`${name}: axe: ${text}`);
  }
  async function inEveryLook(name) {
    for (const [size, viewport] of Object.entries(sizes)) {
      await page.setViewportSize(viewport);
      for (const [theme, look] of Object.entries(themes)) {
        await page.emulateMedia({ colorScheme: look.colorScheme ?? 'light', contrast: look.contrast ?? 'no-preference' });
        await page.waitForTimeout(250);
        await judged(`${name} ${size} ${theme}`);
        if (pictures) await page.screenshot({ path: join(pictures, `watch-${name}-${size}-${theme}.png`), fullPage: true });
      }
    }
    await page.setViewportSize(sizes.laptop);
    await page.emulateMedia({ colorScheme: 'light', contrast: 'no-preference' });
  }
  /** Walks with Tab alone to what is called so, and presses it. */
  async function pressByKey(name, key = 'Enter') {
    for (let i = 0; i < 120; ++i) {
      await page.keyboard.press('Tab');
      if ((await page.evaluate(() => document.activeElement?.textContent?.trim() ?? '')).match(name)) return page.keyboard.press(key);
    }
    faults.push(`no way by Tab to ${name}`);
    return undefined;
  }

  await page.goto(address);
  await page.locator('nav a', { hasText: 'Watch' }).click();
  await seen('No watch is running over this study');
  await page.reload();
  await seen('No watch is running over this study');
  await inEveryLook('none');

  // ---- live, without a reload
  const watch = await start('the watch', program, ['watch', study, '--station', station], /./);
  await page.locator('.chamber-row[data-chamber="c1"]').waitFor({ timeout: 30_000 });
  expect((await page.locator('.chamber-row').count()) === 3, 'not every chamber has its row');
  await page.waitForFunction(() => /\d/.test(document.querySelector('.level-number .n')?.textContent ?? ''), null, { timeout: 30_000 }).catch(() => faults.push('no oxygen on the page'));

  // A fish is put in by keyboard alone.
  await page.keyboard.press('j');
  await page.keyboard.press('Enter');
  await seen('Put in now');
  const opened = decodeURIComponent(new URL(page.url()).hash.replace('#chamber=', ''));
  await page.getByLabel('Mass, kg, if known').focus();
  await page.keyboard.type('0,6');
  await page.keyboard.press('Enter');
  await seen(`Put in: ${opened}.`);
  await page.locator('.large-words, h1').getByText('0.6 kg').first().waitFor({ timeout: 10_000 }).catch(() => faults.push('the fish that was put in is not shown'));
  await page.locator('.course canvas').waitFor({ timeout: 15_000 }).catch(() => faults.push('no trace of the chamber'));
  await pressByKey(/^Flush now$/);
  await seen(`Flush for 5 min: ${opened}.`);
  await page.locator('.phase', { hasText: 'Flush by hand' }).waitFor({ timeout: 10_000 }).catch(() => faults.push('a flush by hand is not shown as that'));
  await pressByKey(/^Back to the cycle$/);
  await seen(`Back to the cycle: ${opened}.`);
  await pressByKey(/^Remind$/);
  await page.locator('.due', { hasText: /^Blood in/ }).waitFor({ timeout: 10_000 }).catch(() => faults.push('blood that is due is not counted down'));
  await inEveryLook('one');

  // ---- a fault becomes an alarm
  await page.keyboard.press('a');
  await page.locator('.chamber-rows').waitFor();
  simulated.child.stdin.write(`dropout ${opened}\n`);
  const alarm = page.locator('.alarm[data-cause="sensor_silent"]');
  await alarm.waitFor({ timeout: 120_000 }).catch(() => faults.push('a silent sensor is no alarm within two minutes'));
  expect((await page.locator('.chamber-row').first().getAttribute('data-chamber')) === opened, 'the chamber in most need is not on top');
  await inEveryLook('alarm');
  await page.locator('h1').focus();
  await pressByKey(/^I have it/);
  await page.locator('.alarm.state-acknowledged[data-cause="sensor_silent"]').waitFor({ timeout: 10_000 }).catch(() => faults.push('an alarm cannot be acknowledged'));

  await page.keyboard.press('h');
  await page.locator('pre.hand-over').waitFor({ timeout: 10_000 }).catch(() => faults.push('no page for the next watch'));
  await judged('hand over');
  await page.keyboard.press('a');

  // ---- killed: what stands there is old, and says so
  watch.child.kill('SIGKILL');
  await seen('Nothing since', 20_000);
  expect((await page.locator('.chamber-rows.is-old').count()) === 1, 'values of a watch that is gone are not marked as old');
  expect((await page.locator('.health', { hasText: /^unknown$/ }).count()) === 3, 'a chamber of a watch that is gone is called something');
  await inEveryLook('gone');
} catch (error) {
  faults.push(String(error));
} finally {
  await browser?.close();
  children.forEach((child) => child.kill());
}
for (const each of faults) console.error(`FAULT ${each}`);
console.log(`watch_check: ${faults.length === 0 ? 'all well' : `${faults.length} faults`}`);
process.exit(faults.length === 0 ? 0 : 1);
