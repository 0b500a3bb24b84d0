// Set-up -> Phones and the road behind it in a real browser, against the real program: the page without and with --deck,
// a code made by keyboard, a phone that is paired by it over TLS, told on the laptop by itself, and out at once when it is
// ended; the page of trust over plain HTTP. Axe, widths, the console, in three themes at three sizes.
//
//   node tools/phones_check.mjs PROGRAM STUDY [FOLDER]   (STUDY is a copy that is written into; pictures go to FOLDER; needs
//                                                         certutil of libnss3-tools; CHROMIUM names the browser,
//                                                         /usr/bin/chromium when not set)
import { spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { networkInterfaces, tmpdir } from 'node:os';
import { join } from 'node:path';
import { browserThatTrusts } from './trusting_browser.mjs';

const [program, study, folder] = process.argv.slice(2);
if (!program || !study) {
  console.error('usage: phones_check PROGRAM STUDY [FOLDER]');
  process.exit(2);
}
if (folder) mkdirSync(folder, { recursive: true });
const faults = [];
const expect = (is, text) => is || faults.push(text);
const axe = readFileSync(new URL('../node_modules/axe-core/axe.min.js', import.meta.url), 'utf8');
const sizes = { phone: { width: 390, height: 844 }, tablet: { width: 820, height: 1180 }, laptop: { width: 1440, height: 900 } };
const themes = { day: {}, sun: { contrast: 'more' }, night: { colorScheme: 'dark' } };
const home = mkdtempSync(join(tmpdir(), 'phones-check-'));
const wait = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

const children = [];
async function serve(...more) {
  const child = spawn(program, ['serve', study, '--port', '0', ...more], { env: { ...process.env, XDG_CONFIG_HOME: home }, stdio: ['ignore', 'pipe', 'inherit'] });
  children.push(child);
  let said = '';
  child.stdout.on('data', (data) => (said += data));
  for (let i = 0; i < 600 && !said.includes('Ctrl-C'); ++i) await wait(100);
  const address = /http:\/\/\S+token\S+/.exec(said)?.[0];
  if (!address) throw new Error(`the program printed no address: ${said}`);
  const end = () => new Promise((resolve) => {
    child.once('exit', resolve);
    child.kill();
  });
  return { address, origin: new URL(address).origin, port: new URL(address).port, said: () => said, end };
}

// The authority is made at the first start, and is the same at every later one.
const first = await serve('--deck');
const browser = await browserThatTrusts(home, first.origin, 'backeddy.local');
await first.end();
// A phone that is not paired is told so, nothing is where nothing is looked for, and plain HTTP knows no such policy.
const expected = ['status of 401', 'status of 404', 'Cross-Origin-Opener-Policy header has been ignored'];
async function open(name, options = {}) {
  const context = await browser.newContext({ viewport: sizes.laptop, reducedMotion: 'reduce', ...options });
  const page = await context.newPage();
  page.on('console', (message) => ['error', 'warning'].includes(message.type()) && !expected.some((each) => message.text().includes(each)) && faults.push(`${name}: console: ${message.text()}`));
  page.on('pageerror', (error) => faults.push(`${name}: ${error.message}`));
  return { context, page };
}
async function judged(page, name) {
  const wider = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
  expect(wider <= 0, `${name} is ${wider} px wider than the window`);
  // Pages of the server have a policy that axe, brought in from here, does not need to pass.
  await page.evaluate(axe);
  const complaints = await page.evaluate(async () => {
    const { violations } = await window.axe.run(document, { resultTypes: ['violations'], rules: { 'target-size': { enabled: true } } });
    return violations.filter((each) => ['serious', 'critical'].includes(each.impact)).map((each) => `${each.id}: ${each.help} (${each.nodes[0]?.html.slice(0, 200)})`);
  });
  for (const text of complaints) faults.push(`${name}: axe: ${text}`);
}
const picture = async (page, name) => folder && page.screenshot({ path: join(folder, `${name}.png`), fullPage: true });
async function inEveryLook(name, address, ready, storageState) {
  for (const [size, viewport] of Object.entries(sizes)) {
    for (const [theme, look] of Object.entries(themes)) {
      const { context, page } = await open(`${name} ${size} ${theme}`, { viewport, ...look, ...(storageState ? { storageState } : {}) });
      await page.goto(address);
      await page.waitForSelector(ready);
      await page.waitForTimeout(150);
      await judged(page, `${name} ${size} ${theme}`);
      await picture(page, `${name}-${size}-${theme}`);
      await context.close();
    }
  }
}
async function signedIn(served) {
  const { context, page } = await open('laptop');
  await page.goto(served.address);
  await page.goto(`${served.origin}/set-up/phones`);
  return { context, page };
}

try {
  // ---- without
  const plain = await serve();
  {
    const { context, page } = await signedIn(plain);
    await page.getByText('Phones cannot come in yet').waitFor();
    expect(await page.getByText('--deck').first().isVisible(), 'the page does not say how phones come in');
    await judged(page, 'phones, not on');
    await picture(page, 'phones-not-on');
    await context.close();
  }
  await plain.end();

  // ---- with
  const served = await serve('--deck');
  const laptop = await signedIn(served);
  await laptop.page.getByText('Compare the fingerprint').or(laptop.page.getByText('in no network now')).first().waitFor();
  await laptop.page.getByText('The whole fingerprint').click().catch(() => undefined);
  const shown = await laptop.page.locator('.fingerprint code').first().textContent();
  expect(served.said().includes(shown ?? '?'), 'the terminal shows another fingerprint than the page');

  // By keyboard alone.
  await laptop.page.getByLabel('Who holds it').focus();
  await laptop.page.keyboard.type('Runa');
  await laptop.page.keyboard.press('Enter');
  await laptop.page.getByAltText('QR code that pairs phone A').waitFor();
  const code = await laptop.page.locator('.fingerprint code').last().textContent();
  await picture(laptop.page, 'phones-code');
  await inEveryLook('phones', `${served.origin}/set-up/phones`, 'text=Paired phones', await laptop.context.storageState());

  const phone = await open('phone', { viewport: sizes.phone, hasTouch: true });
  await phone.page.goto(`https://backeddy.local:${served.port}/deck#pair=${code}`);
  const session = () => phone.page.evaluate(async () => {
    const answer = await fetch('/api/session');
    return { status: answer.status, body: await answer.json() };
  });
  for (let i = 0; i < 50 && (await session()).status !== 200; ++i) await wait(100);
  const paired = await session();
  expect(paired.status === 200 && paired.body.name === 'Runa' && paired.body.role === 'crew', `the phone is not paired: ${JSON.stringify(paired)}`);
  expect((await phone.context.cookies()).some((each) => each.name.startsWith('__Host-') && each.secure && each.httpOnly && each.sameSite === 'Strict'), 'its cookie is not secure');
  await laptop.page.getByText('Phone A of Runa is paired').waitFor({ timeout: 10_000 }).catch(() => faults.push('the laptop does not tell of the phone by itself'));
  await picture(laptop.page, 'phones-paired');
  await judged(laptop.page, 'phones, one paired');

  await laptop.page.getByRole('button', { name: 'End the pairing of phone A' }).click();
  await laptop.page.getByRole('button', { name: 'End it now' }).click();
  await laptop.page.getByText('Phone A of Runa is out').waitFor();
  expect((await session()).status === 401, 'a phone whose pairing was ended may still ask');

  // What a phone could not send, as its file: taken in where phones are paired, and there is a way to Files and back.
  const { identity, study: title } = await laptop.page.evaluate(async () => (await fetch('/api/deck')).json());
  const us = Date.now() * 1000;
  const entry = {
    device: us.toString(16).padStart(16, '0'), sequence: 1, hybrid_wall_us: us, hybrid_count: 0, wall_us: us, monotonic_us: 1, boot: 'b', clock_offset_us: null, author: 'Runa', role: 'crew', act: 'add',
    content: JSON.stringify({ table: 'events', row: { at: new Date().toISOString(), event: 'note', note: 'by file' } }), reason: '',
  };
  const queue = { backeddy_queue: 1, study: title, identity, device: entry.device, made_us: us, entries: [entry], photos: {} };
  await laptop.page.getByLabel('Queue file of a phone').setInputFiles({ name: 'deck.json', mimeType: 'application/json', buffer: Buffer.from(JSON.stringify(queue)) });
  await laptop.page.getByRole('button', { name: 'Take it in' }).click();
  await laptop.page.locator('.queue-file .done').waitFor({ timeout: 10_000 }).catch(() => faults.push('a queue file is not taken in on the page of phones'));
  const entries = await laptop.page.evaluate(async () => {
    const all = [];
    for (let after = 0, more = true; more; ) {
      const answer = await (await fetch(`/api/entries/arrived?after=${after}`)).json();
      all.push(...answer.entries);
      more = answer.entries.length > 0;
      after = answer.through;
    }
    return all;
  });
  expect(entries.some((each) => each.device === entry.device && each.content === entry.content), 'the entry of a queue file did not arrive');
  await judged(laptop.page, 'phones, a queue file');
  await picture(laptop.page, 'phones-queue-file');
  await laptop.page.locator('.queue-file').getByRole('link', { name: 'Files' }).click();
  await laptop.page.locator('.queue-file').getByRole('link', { name: 'Phones' }).click();
  await laptop.page.getByText('Paired phones').waitFor({ timeout: 10_000 }).catch(() => faults.push('no way from Phones to Files and back'));

  // The same by hand: a page on the home screen does not share what the camera opened.
  await laptop.page.getByLabel('Who holds it').fill('Runa');
  await laptop.page.getByRole('button', { name: 'Make a code' }).click();
  await laptop.page.getByAltText('QR code that pairs phone A').waitFor();
  const typed = await laptop.page.locator('.fingerprint code').last().textContent();
  await phone.page.goto(`https://backeddy.local:${served.port}/deck`);
  // It knows the study already, so that the boat stands there; who it is of is asked for behind the line's button.
  const lineButton = phone.page.locator('button.line-state');
  await phone.page.getByLabel('Code').or(lineButton).first().waitFor();
  if (await lineButton.isVisible()) await lineButton.click();
  await phone.page.getByLabel('Code').fill(typed.toLowerCase().replaceAll('-', ' '));
  await phone.page.getByRole('button', { name: 'Pair', exact: true }).click();
  for (let i = 0; i < 50 && (await session()).status !== 200; ++i) await wait(100);
  expect((await session()).status === 200, 'a code that was typed does not pair');
  await phone.context.close();
  await laptop.context.close();

  // ---- before anything is trusted
  const address = Object.values(networkInterfaces()).flat().find((each) => each && each.family === 'IPv4' && !each.internal)?.address;
  if (address) {
    await inEveryLook('trust', `http://${address}:${served.port}/trust`, 'h1');
    const { context, page } = await open('elsewhere');
    await page.goto(`http://${address}:${served.port}/fish`, { waitUntil: 'commit' });
    expect(page.url() === `https://backeddy.local:${served.port}/fish`, `plain HTTP from elsewhere leads to ${page.url()}`);
    await page.goto(`https://backeddy.local:${served.port}/nothing/here`);
    expect(await page.getByRole('link', { name: 'To the first page' }).isVisible(), 'nothing found, and no way back');
    await judged(page, 'nothing found');
    await context.close();
  }
  await served.end();
} finally {
  await browser.close();
  children.forEach((child) => child.kill());
  rmSync(home, { recursive: true, force: true });
}
for (const each of faults) console.error(`FAULT ${each}`);
console.log(`phones_check: ${faults.length === 0 ? 'all well' : `${faults.length} faults`}`);
process.exit(faults.length === 0 ? 0 : 1);
