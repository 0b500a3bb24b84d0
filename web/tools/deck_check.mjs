// Works Deck in a real browser against the real program, as a crew would, on the origin that phones have: over TLS under the
// program's name, with its authority in the browser's trust store and the name led to this machine; certificate errors are
// errors. Each main job, the page without a network, a tab killed in mid-entry, three phones that log the same things in
// different orders, a second tab, another study at the same address, a pairing that is ended, the queue as a file; axe,
// widths and the size of everything that is pressed, in three themes at three sizes.
//
//   node tools/deck_check.mjs PROGRAM STUDY [FOLDER]   (STUDY is a copy that is written into; pictures go to FOLDER; needs
//                                                       certutil of libnss3-tools; CHROMIUM names the browser,
//                                                       /usr/bin/chromium when not set)
import { execFileSync, spawn } from 'node:child_process';
import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { browserThatTrusts } from './trusting_browser.mjs';

const [program, study, folder] = process.argv.slice(2);
if (!program || !study) {
  console.error('usage: deck_check PROGRAM STUDY [FOLDER]');
  process.exit(2);
}
if (folder) mkdirSync(folder, { recursive: true });
const faults = [];
const fault = (text) => faults.push(text);
const expect = (is, text) => is || fault(text);
const axe = readFileSync(new URL('../node_modules/axe-core/axe.min.js', import.meta.url), 'utf8');
const sizes = { phone: { width: 390, height: 844 }, tablet: { width: 820, height: 1180 }, laptop: { width: 1440, height: 900 } };
const themes = { day: {}, sun: { contrast: 'more' }, night: { colorScheme: 'dark' } };
const home = mkdtempSync(join(tmpdir(), 'deck-check-'));
const wait = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

// ---- the study and the program

const deckOfBrief = `
[deck]
rods = ["port bow", "port aft", "starboard bow", "starboard aft"]
rigs = ["single", "treble"]
unhooking = ["in the water", "in air"]
landing = ["net", "hand"]
lost_reasons = ["threw the hook", "line broke"]
handling = ["measured"]
blood_due_min = 45
seal_within_s = 120

[permit]
fish = 400
chases_per_fish = 1
air_s = 30
at_death = "Stop. Call the permit holder."
`;
const briefFile = join(study, 'study.toml');
{
  const lines = readFileSync(briefFile, 'utf8').split('\n');
  const kept = [];
  let isOurs = false;
  for (const line of lines) {
    if (/^\s*\[/.test(line)) isOurs = /^\s*\[(deck|permit)\]/.test(line);
    if (!isOurs) kept.push(line);
  }
  writeFileSync(briefFile, kept.join('\n') + deckOfBrief);
}

const phonesName = 'skerry-voe.test';

/** The program over a study; `port` 0 takes a free one. */
async function serve(dir, port) {
  const child = spawn(program, ['serve', dir, '--deck', '--deck-name', phonesName, '--address', '127.0.0.1', '--port', String(port)], { env: { ...process.env, XDG_CONFIG_HOME: home }, stdio: ['ignore', 'pipe', 'inherit'] });
  let said = '';
  child.stdout.on('data', (data) => (said += data));
  const own = /http:\/\/(127\.0\.0\.1|localhost)\S*token=\S+/;
  for (let i = 0; i < 600 && !own.test(said); ++i) await wait(100);
  const address = own.exec(said)?.[0];
  if (!address) throw new Error(`the program printed no address: ${said}`);
  const at = Number(new URL(address).port);
  const end = () => new Promise((resolve) => {
    child.once('exit', resolve);
    child.kill();
  });
  return { laptop: address, port: at, origin: `https://${phonesName}:${at}`, end };
}

/** The study as another one, without what was logged. */
function copyOf(name) {
  const other = join(home, name);
  cpSync(study, other, { recursive: true, filter: (path) => !/journal\.sqlite|[\\/]results([\\/]|$)/.test(path) });
  return other;
}

let server = await serve(study, 0);
const browser = await browserThatTrusts(home, new URL(server.laptop).origin, phonesName);

// ---- the laptop, and phones

/** Asks as the laptop's own page does. */
async function atLaptop(method, path, body) {
  const context = await browser.newContext();
  const page = await context.newPage();
  await page.goto(server.laptop);
  const answer = await page.evaluate(async ([how, where, what]) => {
    const { change_token } = await (await fetch('/api/session')).json();
    const said = await fetch(where, { method: how, headers: { 'Content-Type': 'application/json', 'Backeddy-Change-Token': change_token }, ...(what ? { body: JSON.stringify(what) } : {}) });
    const text = await said.text();
    if (!said.ok) throw new Error(`${how} ${where}: ${said.status} ${text}`);
    return text === '' ? null : JSON.parse(text);
  }, [method, path, body ?? null]);
  await context.close();
  return answer;
}

const marks = { 'A. Keen': 'A', 'Hand A': 'HA', 'Hand B': 'HB', 'Hand C': 'HC' };
const newCode = async (author) => (await atLaptop('POST', '/api/pairing', { author, role: 'crew', label: marks[author] ?? author.slice(-1) })).address;

/** A browser of its own, paired, with what its page says watched. */
async function phone(author, options = {}) {
  const context = await browser.newContext({ viewport: sizes.phone, hasTouch: true, reducedMotion: 'reduce', acceptDownloads: true, ...options });
  const it = { name: author, context, page: null };
  it.page = await openPage(it, await newCode(author));
  await ready(it);
  return it;
}

async function openPage(it, address) {
  const page = await it.context.newPage();
  page.on('pageerror', (error) => fault(`${it.name}: error: ${error.message}`));
  page.on('console', (message) => {
    const text = message.text();
    if (!['error', 'warning'].includes(message.type())) return;
    // A browser's own word for a line that is not there, or a refusal that the page tells in words.
    if (!/net::ERR_|Failed to load resource|service worker/i.test(text)) fault(`${it.name}: console: ${text}`);
  });
  page.on('request', (request) => {
    if (!request.url().startsWith(new URL(address).origin) && !/^(data|blob):/.test(request.url())) fault(`${it.name}: asks for ${request.url()}`);
  });
  await page.goto(address);
  await page.waitForFunction(() => globalThis.backeddyDeck?.kept);
  return page;
}

const offline = (it, is) => it.context.setOffline(is);
const press = (it, name) => it.page.getByRole('button', { name, exact: typeof name === 'string' }).first().click();
const saved = async (it, text) => {
  await it.page.locator('.said', { hasText: text }).filter({ hasText: 'saved' }).waitFor({ timeout: 10000 });
  await wait(650); // what comes sooner is the same tap
};
const closeRoom = (it) => it.page.locator('dialog.sheet').getByRole('button', { name: 'Close' }).click();
const ready = (it) => it.page.locator('.boat').waitFor({ timeout: 30000 });
const unsent = (it) => it.page.evaluate(() => globalThis.backeddyDeck.unsent);
const allSent = (it) => it.page.waitForFunction(() => globalThis.backeddyDeck.unsent === 0 && globalThis.backeddyDeck.told.line === 'held', null, { timeout: 60000 });
const kept = (it) => it.page.evaluate(() => globalThis.backeddyDeck.kept);

/** All entries of the program's journal. */
const journal = (it) => it.page.evaluate(async () => {
  const all = [];
  for (let after = 0; ; ) {
    const answer = await (await fetch(`/api/entries/arrived?after=${after}`)).json();
    all.push(...answer.entries);
    if (answer.through === after || answer.entries.length === 0) return all;
    after = answer.through;
  }
});

async function part(name, work) {
  const before = faults.length;
  const started = Date.now();
  try {
    await work();
  } catch (error) {
    fault(`${name}: ${String(error instanceof Error ? error.message : error).split('\n')[0]}`);
    // What is left open would fail whatever comes next.
    await main.page.reload().catch(() => undefined);
  }
  console.log(`${faults.length === before ? 'good' : 'BAD '}  ${name} (${((Date.now() - started) / 1000).toFixed(1)} s)`);
}

async function hook(it, rod) {
  await press(it, rod);
  await it.page.locator('dialog.sheet').getByRole('button', { name: 'Hook-up', exact: true }).click();
  await saved(it, 'hook-up');
}

// ---- how it looks and feels

const look = async (it, theme) => {
  await it.page.evaluate(() => { for (const name of Object.keys(localStorage)) if (name.includes('theme')) localStorage.removeItem(name); });
  await it.page.emulateMedia({ colorScheme: 'light', contrast: 'no-preference', reducedMotion: 'reduce', ...themes[theme] });
};

async function judge(it, what) {
  await it.page.evaluate(axe);
  const complaints = await it.page.evaluate(async () => {
    const { violations } = await globalThis.axe.run(document, { resultTypes: ['violations'] });
    return violations.filter(({ impact }) => impact === 'serious' || impact === 'critical').map(({ id, help, nodes }) => `${id}: ${help} (${nodes.length}; ${nodes[0]?.html.slice(0, 160)})`);
  });
  for (const text of complaints) fault(`${what}: axe: ${text}`);
  const wider = await it.page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
  if (wider > 0) fault(`${what}: ${wider} px wider than the window`);
  const small = await it.page.evaluate(() => {
    const isOpen = document.querySelector('dialog[open]');
    return [...(isOpen ?? document).querySelectorAll('button, input, select, textarea, summary')].flatMap((each) => {
      const box = each.getBoundingClientRect();
      const label = each.closest('label.check, label.file')?.getBoundingClientRect();
      const tall = Math.max(box.height, label?.height ?? 0);
      const wide = Math.max(box.width, label?.width ?? 0);
      return box.width > 0 && (tall < 55.5 || wide < 55.5) ? [`${each.tagName} "${each.textContent.trim().slice(0, 30)}" ${Math.round(wide)}x${Math.round(tall)}`] : [];
    });
  });
  for (const text of small) fault(`${what}: too small for a glove: ${text}`);
}

/** What is open on a phone, in all themes. */
async function judgeThemes(it, what) {
  for (const theme of Object.keys(themes)) {
    await look(it, theme);
    await wait(150);
    await judge(it, `phone, ${theme}, ${what}`);
    if (folder) await it.page.screenshot({ path: join(folder, `${what.replace(/\W+/g, '-')}${theme === 'day' ? '' : `-${theme}`}.png`) });
  }
  await look(it, 'day');
}

// ---- the jobs

let main;
await part('a phone is paired by the address of its code, on an origin that it trusts', async () => {
  main = await phone('A. Keen');
  expect(await main.page.evaluate(() => isSecureContext && location.protocol === 'https:' && location.hash === ''), 'the code is still in the address, or the origin is none that is trusted');
  const { author, role, mark } = await kept(main);
  expect(author === 'A. Keen' && role === 'crew' && mark === 'A', `the phone logs as ${author}, ${role}, mark ${mark}`);
});

await part('who is not paired signs in by name', async () => {
  execFileSync(program, ['people', 'add', 'B. Storm', '--role', 'crew'], { input: 'a long passphrase 42\na long passphrase 42\n', env: { ...process.env, XDG_CONFIG_HOME: home }, stdio: ['pipe', 'ignore', 'inherit'] });
  const context = await browser.newContext({ viewport: sizes.phone, reducedMotion: 'reduce' });
  const it = { name: 'not paired', context, page: null };
  it.page = await openPage(it, `${server.origin}/deck`);
  await it.page.getByLabel('Name').fill('B. Storm');
  await it.page.getByLabel('Passphrase').fill('not this one at all');
  await press(it, 'Sign in');
  await it.page.getByText('do not belong together').waitFor({ timeout: 20000 });
  await it.page.getByLabel('Passphrase').fill('a long passphrase 42');
  await press(it, 'Sign in');
  await ready(it);
  await it.page.waitForFunction(() => globalThis.backeddyDeck.kept.author === 'B. Storm', null, { timeout: 10000 })
    .catch(() => fault('the phone does not log in the name of who signed in'));
  await context.close();
});

await part('on the laptop itself Deck asks who logs', async () => {
  const context = await browser.newContext({ viewport: sizes.laptop, reducedMotion: 'reduce' });
  const it = { name: 'laptop', context, page: null };
  it.page = await openPage(it, server.laptop.replace(/\/(\?|$)/, '/deck$1'));
  await ready(it);
  await it.page.getByLabel('Who logs on this phone?').fill('S. Holm');
  await press(it, 'Begin');
  await hook(it, /^bow starboard/);
  await press(it, 'Lost …');
  await press(it, 'line broke');
  await saved(it, 'lost');
  await allSent(it);
  await context.close();
});

await part('a fish from hook-up to release', async () => {
  await press(main, 'All lines in');
  await saved(main, 'all lines in');
  await hook(main, /^bow port/);
  await press(main, 'Landed');
  await saved(main, 'landed');
  await press(main, 'Back in water');
  await saved(main, 'back in water');
  expect(await main.page.locator('.due', { hasText: 'seal due in' }).count(), 'no countdown to the seal');
  await press(main, /^Sealed in /);
  await saved(main, 'sealed in');
  expect(await main.page.locator('.due', { hasText: 'blood due in' }).count(), 'no countdown to the blood');
  await press(main, 'Weight, length …');
  await main.page.getByLabel('Mass, g').fill('412,5');
  await main.page.getByLabel('Fork length, mm').fill('330');
  await main.page.getByText('Read as 412.5 g and 330 mm').waitFor();
  await press(main, 'Keep');
  await saved(main, '412.5 g');
  await press(main, 'Blood …');
  const room = await main.page.locator('dialog.sheet .large').innerText();
  expect(/At most [\d.]+ mL|names no ceiling/.test(room), `the blood room says nothing of the ceiling: ${room}`);
  await main.page.getByLabel('Drawn, mL').fill('0,3');
  await press(main, 'Drawn');
  await saved(main, '0.3 mL');
  await press(main, /^Taken out of /);
  await saved(main, 'taken out');
  await press(main, 'Hook …');
  await main.page.locator('.hook-picture').getByRole('button', { name: 'upper jaw' }).click();
  await saved(main, 'upper jaw');
  await press(main, 'Reflexes …');
  await main.page.getByRole('group', { name: /righting/ }).getByRole('button', { name: 'there' }).click();
  await press(main, 'Keep 1 tested');
  await saved(main, '1 reflex');
  await press(main, 'Fins, body …');
  await main.page.locator('dialog.sheet .choices').first().getByRole('button').nth(1).click();
  await press(main, 'Keep 1 scored');
  await saved(main, '1 places');
  await press(main, 'Let go');
  await saved(main, 'let go');
  await main.page.getByText('No fish on deck').waitFor();
});

await part('what was scored, drawn and hooked is corrected from the log, with what stood first kept', async () => {
  const { page } = main;
  const sheet = page.locator('dialog.sheet');
  const rowsOf = (word) => page.evaluate((table) => globalThis.backeddyDeck.state.tables[table].filter(({ addedBy }) => addedBy !== '').map(({ cells, changes }) => ({ ...cells, was: changes.map(({ was }) => was) })), word);
  const openLine = async (pattern) => {
    await page.locator('.to-log').click();
    await sheet.locator('.log button', { hasText: pattern }).first().click();
  };
  await openLine(/blood drawn/);
  await sheet.getByLabel('Drawn, mL').fill('0,35');
  await press(main, 'Correct');
  await saved(main, 'blood drawn corrected');
  const drawn = (await rowsOf('blood')).at(-1);
  const event = (await rowsOf('events')).filter((row) => row.event === 'blood').at(-1);
  expect(drawn.volume_ml === '0.35' && event.value === '0.35' && drawn.was.includes('0.3'), `a corrected draw is ${JSON.stringify(drawn)}, its event ${JSON.stringify(event)}`);
  await openLine(/fins at landing, 1 place/);
  await sheet.getByText('What stands now is shown').waitFor();
  const levels = sheet.getByRole('group').filter({ has: page.getByRole('button', { name: 'not looked at' }) });
  await levels.getByRole('button').nth(2).click();
  await judgeThemes(main, 'correct scores');
  await press(main, 'Correct');
  await saved(main, 'fins, body corrected');
  const fin = (await rowsOf('fins')).at(-1);
  expect(fin.was.length === 1 && fin.was[0] !== fin.score, `a corrected fin is ${JSON.stringify(fin)}`);
  await openLine(/1 reflex tested/);
  await sheet.getByRole('group', { name: /righting/ }).getByRole('button', { name: 'gone' }).click();
  await judgeThemes(main, 'correct reflexes');
  await press(main, 'Correct');
  await saved(main, 'reflexes corrected');
  const reflex = (await rowsOf('reflexes')).at(-1);
  expect(reflex.there === 'no' && reflex.was.includes('yes'), `a corrected reflex is ${JSON.stringify(reflex)}`);
  await openLine(/hook in upper jaw/);
  await sheet.getByText('told by A. Keen').waitFor();
  await judgeThemes(main, 'correct hook');
  await sheet.locator('.hook-picture').getByRole('button', { name: 'lower jaw' }).click();
  await saved(main, 'lower jaw');
  const hook = (await rowsOf('encounters')).at(-1);
  expect(hook.hook_location === 'lower_jaw' && hook.was.includes('upper_jaw'), `a corrected hook is ${JSON.stringify(hook)}`);
  await openLine(/1 reflex tested/);
  await press(main, 'Take the look back');
  await saved(main, 'reflexes taken back');
  expect((await rowsOf('reflexes')).length === 0, 'a look that was taken back is still there');
});

await part('a tag reader, a note, a death with the permit’s rule', async () => {
  await hook(main, /^aft port/);
  await press(main, 'Landed');
  await saved(main, 'landed');
  await main.page.keyboard.type('985120031234567');
  await main.page.keyboard.press('Enter');
  await main.page.locator('dialog.sheet').getByLabel('Tag number').waitFor();
  expect((await main.page.getByLabel('Tag number').inputValue()) === '985120031234567', 'the reader’s number did not come through');
  await main.page.getByLabel('Tag number').press('Enter');
  await saved(main, 'tag 985');
  await press(main, 'Note …');
  await main.page.getByLabel('Note', { exact: true }).fill('a gull took an interest');
  await press(main, 'Keep');
  await saved(main, 'noted');
  await press(main, 'Righting, death …');
  await main.page.getByText('Stop. Call the permit holder.').first().waitFor();
  await press(main, 'Died');
  await saved(main, 'died');
});

await part('a loss with its reason, told late; undone; corrected with the first time kept', async () => {
  await hook(main, /^bow starboard/);
  await press(main, 'Lost …');
  await press(main, '2 min ago');
  await press(main, 'line broke');
  await saved(main, 'lost, line broke');
  await main.page.locator('.said').getByRole('button', { name: /Undo/ }).click();
  await main.page.locator('.said', { hasText: 'taken back' }).waitFor();
  await main.page.locator('.card h2', { hasText: 'starboard bow' }).waitFor();
  await main.page.locator('.stamp').first().click();
  await main.page.locator('dialog.sheet').getByLabel('When').fill('00:00:01');
  await press(main, 'Correct');
  await saved(main, 'corrected');
  await main.page.locator('.stamp', { hasText: 'corrected' }).waitFor();
  await press(main, 'Lost …');
  await press(main, 'threw the hook');
  await saved(main, 'lost, threw');
});

await part('air: held down, and tapped', async () => {
  await hook(main, /^aft starboard/);
  await press(main, 'Landed');
  await saved(main, 'landed');
  await press(main, 'Air …');
  const button = main.page.locator('.hold');
  const before = (await kept(main)).sequence;
  const box = await button.boundingBox();
  await main.page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await main.page.mouse.down();
  await wait(1500);
  await main.page.mouse.up();
  await main.page.waitForFunction((n) => globalThis.backeddyDeck.kept.sequence === n + 2, before);
  await button.click();
  await main.page.waitForFunction((n) => globalThis.backeddyDeck.kept.sequence === n + 3, before);
  await wait(900);
  expect(await main.page.getByText('Let go, or tap').count(), 'a tap did not leave the watch running');
  await button.click();
  await main.page.waitForFunction((n) => globalThis.backeddyDeck.kept.sequence === n + 4, before);
  const { longestS } = await main.page.evaluate(() => globalThis.backeddyDeck.card.air);
  expect(longestS > 1.3 && longestS < 4, `held for 1.5 s, counted ${longestS} s`);
  await closeRoom(main);
});

await part('two touches of a cold hand are one tap', async () => {
  const before = (await kept(main)).sequence;
  await press(main, /^bow starboard/);
  await main.page.locator('dialog.sheet').getByRole('button', { name: 'Bite', exact: true }).dblclick({ delay: 30 });
  await saved(main, 'bite');
  expect((await kept(main)).sequence === before + 1, 'a double tap logged two bites');
});

await part('a photo by its hash', async () => {
  const png = Buffer.from('iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg==', 'base64');
  await press(main, 'Photo …');
  await main.page.locator('input[type=file]').setInputFiles({ name: 'fin.png', mimeType: 'image/png', buffer: png });
  await saved(main, 'photo kept');
  await allSent(main);
  const there = await main.page.evaluate(async () => {
    const entry = globalThis.backeddyDeck.entries.find(({ content }) => content.includes('"photo"'));
    const hash = JSON.parse(entry.content).row.photo;
    for (let i = 0; i < 40; ++i) {
      const answer = await fetch(`/api/photos/${hash}`);
      if (answer.ok) return (await answer.arrayBuffer()).byteLength;
      await new Promise((resolve) => setTimeout(resolve, 250));
    }
    return 0;
  });
  expect(there === png.length, `the program has ${there} bytes of the picture, not ${png.length}`);
});

await part('by keyboard alone', async () => {
  const { page } = main;
  await page.getByRole('button', { name: /^bow port/ }).focus();
  await page.keyboard.press('Enter');
  await page.locator('dialog.sheet').waitFor();
  await page.locator('dialog.sheet').getByRole('button', { name: 'Hook-up', exact: true }).focus();
  await page.keyboard.press('Enter');
  await saved(main, 'hook-up');
  await page.locator('.tabs button', { hasText: 'port bow' }).focus();
  await page.keyboard.press('Enter');
  await page.locator('.next-row .next').focus();
  await page.keyboard.press(' ');
  await saved(main, 'landed');
  await press(main, 'Let go');
  await saved(main, 'let go');
});

await part('all is sent, once, and the study’s check understands it', async () => {
  await allSent(main);
  const all = await journal(main);
  const { device, sequence } = await kept(main);
  const own = all.filter((entry) => entry.device === device).map((entry) => entry.sequence).sort((a, b) => a - b);
  expect(own.length === sequence && own.every((each, i) => each === i + 1), `${sequence} made, ${own.length} arrived`);
  const worries = await main.page.evaluate(() => globalThis.backeddyDeck.state.worries);
  expect(worries.length === 0, `Deck has worries: ${worries.join(' ')}`);
  let said = '';
  try {
    said = execFileSync(program, ['check', study], { encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'], env: { ...process.env, XDG_CONFIG_HOME: home } });
  } catch (error) {
    said = `${error.stdout}${error.stderr}`;
  }
  for (const line of said.split('\n')) if (/^journal:|journal line|\bjournal\b.*counts for nothing/.test(line)) console.log(`      check says: ${line}`);
});

// ---- without a network

await part('the page opens without a network, logs, and its queue goes into a file', async () => {
  await main.page.waitForFunction(() => globalThis.backeddyDeck.shell === 'ready' && navigator.serviceWorker.controller !== null, null, { timeout: 20000 });
  await offline(main, true);
  await main.page.goto(`${server.origin}/deck`);
  await ready(main);
  await hook(main, /^bow starboard/);
  await main.page.locator('.line-state', { hasText: '1 unsent' }).waitFor();
  await main.page.reload();
  await ready(main);
  await main.page.locator('.line-state', { hasText: '1 unsent' }).waitFor();
  await main.page.locator('.tabs, .card h2', { hasText: 'starboard bow' }).first().waitFor();
  await main.page.locator('.line-state').click();
  const coming = main.page.waitForEvent('download');
  await main.page.getByRole('button', { name: 'Save the queue as a file' }).click();
  const file = JSON.parse(readFileSync(await (await coming).path(), 'utf8'));
  const { device, sequence, identity } = await kept(main);
  expect(file.backeddy_queue === 1 && file.device === device && file.identity === identity, 'the file does not say whose queue it is');
  expect(file.entries.length === sequence && file.entries.every((entry, i) => entry.sequence === i + 1), `the file has ${file.entries.length} of ${sequence} entries`);
  expect(Object.keys(file.photos).length === 1, 'the file has no photo');
  await closeRoom(main);
});

await part('tabs killed in mid-entry: what was shown as saved is there, and no number twice', async () => {
  let shown = await main.page.evaluate(() => globalThis.backeddyDeck.kept.sequence);
  for (let i = 0; i < 12; ++i) {
    // Presses as fast as they go; the count that the page shows as kept is told outside before the tab dies.
    let told = shown;
    const name = `told${i}`;
    await main.page.exposeFunction(name, (sequence) => (told = Math.max(told, sequence)));
    await main.page.evaluate((word) => {
      const deck = globalThis.backeddyDeck;
      const one = (n) => deck.press('bite', [{ act: 'add', content: { table: 'events', row: { at: new Date().toISOString(), event: 'bite', rod: 'port bow', note: `kill ${n}` } }, reason: '' }], Date.now())
        .then((isKept) => isKept && globalThis[word](deck.kept.sequence)).then(() => n < 400 && one(n + 1));
      void one(0);
    }, name);
    await wait(30 + 40 * i);
    const old = main.page;
    const killed = old.close({ runBeforeUnload: false });
    main.page = await openPage(main, `${server.origin}/deck`);
    await killed;
    await ready(main);
    const now = await main.page.evaluate(async () => {
      const { kept, entries } = globalThis.backeddyDeck;
      const own = entries.filter(({ device }) => device === kept.device).map(({ sequence }) => sequence).sort((a, b) => a - b);
      return { sequence: kept.sequence, isWhole: own.length === kept.sequence && own.every((each, n) => each === n + 1) };
    });
    expect(now.sequence >= told, `${told} entries were shown as saved, ${now.sequence} are there`);
    expect(now.isWhole, 'own entries have a gap or a number twice');
    shown = now.sequence;
  }
  expect(shown > 20, `only ${shown} entries were made`);
});

await part('two tabs at once share one count', async () => {
  const second = await openPage(main, `${server.origin}/deck`);
  const many = (page) => page.evaluate(async () => {
    const deck = globalThis.backeddyDeck;
    for (let n = 0; n < 40; ++n) await deck.press('bite', [{ act: 'add', content: { table: 'events', row: { at: new Date().toISOString(), event: 'bite', rod: 'port aft' } }, reason: '' }], Date.now());
  });
  const before = (await kept(main)).sequence;
  await Promise.all([many(main.page), many(second)]);
  await second.close();
  await main.page.reload();
  await ready(main);
  const { sequence } = await kept(main);
  expect(sequence === before + 80, `80 presses in two tabs made ${sequence - before} entries`);
});

await part('the line comes back, and all is sent once', async () => {
  await offline(main, false);
  await main.page.evaluate(() => globalThis.backeddyDeck.again());
  await allSent(main);
  const all = await journal(main);
  const { device, sequence } = await kept(main);
  const own = all.filter((entry) => entry.device === device);
  expect(own.length === sequence, `${sequence} made, ${own.length} arrived`);
});

// ---- the program away, a pairing that is ended, another study

await part('the program goes away and comes back; the phone is still paired', async () => {
  const { port } = server;
  await server.end();
  await hook(main, /^aft port/);
  await main.page.locator('.line-state', { hasText: 'away' }).waitFor({ timeout: 20000 });
  server = await serve(study, port);
  await main.page.evaluate(() => globalThis.backeddyDeck.again());
  await allSent(main);
});

await part('a pairing that is ended keeps what was logged; a new code sends it', async () => {
  const { devices } = await atLaptop('GET', '/api/pairing');
  await atLaptop('DELETE', `/api/pairing/${devices.find(({ author }) => author === 'A. Keen').id}`);
  await hook(main, /^bow port/);
  await main.page.locator('.notice', { hasText: 'nobody is signed in' }).waitFor({ timeout: 20000 });
  expect((await unsent(main)) > 0, 'what was logged while signed out is gone');
  await main.page.goto('about:blank');
  await main.page.goto(await newCode('A. Keen'));
  await ready(main);
  await allSent(main);
});

await part('another study at the same address gets nothing', async () => {
  const other = copyOf('other');
  const { port } = server;
  await server.end();
  await hook(main, /^aft starboard/);
  server = await serve(other, port);
  await main.page.goto(`${server.origin}/deck`);
  await ready(main);
  await main.page.locator('.notice', { hasText: 'Nothing is sent' }).waitFor({ timeout: 20000 });
  expect((await journal(main)).length === 0, 'entries of one study went into another');
  const waiting = await unsent(main);
  expect(waiting > 0, 'the queue is empty');
  await main.page.locator('.line-state').click();
  await main.page.getByRole('button', { name: /^Log for/ }).click();
  await main.page.waitForFunction(() => globalThis.backeddyDeck?.told.line === 'held' && globalThis.backeddyDeck.kept.sequence === 0, null, { timeout: 30000 });
  await server.end();
  server = await serve(study, port);
  await main.page.goto(`${server.origin}/deck`);
  await ready(main);
  await main.page.locator('.line-state').click();
  await main.page.getByRole('button', { name: /^Log for/ }).click();
  await main.page.waitForFunction((n) => globalThis.backeddyDeck?.kept?.sequence > n, waiting, { timeout: 30000 });
  await allSent(main);
});

// ---- one phone, several hands

await part('one phone of several people: no entry holds up the others, and the refused one says why and what to do', async () => {
  const { page } = main;
  // Written as a scientist before the phone was paired for the crew: not to be sent by it.
  const before = (await kept(main)).sequence;
  await page.evaluate(async () => {
    const deck = globalThis.backeddyDeck;
    const { author, role } = deck.kept;
    await deck.queue.note({ author: 'S. Holm', role: 'scientist' });
    await deck.press('note', [{ act: 'add', content: { table: 'events', row: { at: new Date().toISOString(), event: 'note', note: 'by a scientist' } }, reason: '' }], Date.now());
    await deck.queue.note({ author, role });
  });
  await hook(main, /^aft port/);
  await page.waitForFunction((n) => globalThis.backeddyDeck.kept.refused.length === 1 && globalThis.backeddyDeck.kept.sent >= n + 2, before, { timeout: 20000 });
  await page.locator('.line-state', { hasText: '1 refused' }).waitFor();
  await page.locator('.notice', { hasText: '1 entry of S. Holm not taken: written as scientist, and A. Keen is here as crew' }).waitFor();
  await page.locator('.line-state').click();
  await page.locator('dialog.sheet .refused', { hasText: 'They stay on this phone' }).waitFor();
  await page.locator('dialog.sheet .refused summary').click();
  await page.locator('dialog.sheet .refused').scrollIntoViewIfNeeded();
  await judgeThemes(main, 'phone refused');
  await closeRoom(main);
  await judgeThemes(main, 'deck refused');
  // The same phone handed to somebody else of the crew: what they press is theirs, and is sent.
  await page.locator('.line-state').click();
  await page.getByLabel('Somebody else of the crew').fill('Hand D');
  await press(main, 'Hand over');
  await page.waitForFunction(() => globalThis.backeddyDeck.kept.author === 'Hand D', null, { timeout: 10000 });
  await page.getByRole('group', { name: 'Who has this phone' }).scrollIntoViewIfNeeded();
  await judgeThemes(main, 'phone in hand');
  await closeRoom(main);
  await page.locator('.in-hand', { hasText: 'Hand D has this phone' }).waitFor();
  await press(main, 'Lost …');
  await press(main, 'line broke');
  await saved(main, 'lost');
  await page.waitForFunction(() => globalThis.backeddyDeck.unsent === 1, null, { timeout: 20000 });
  const last = (await journal(main)).filter(({ device }) => device).at(-1);
  expect(last.author === 'Hand D' && last.role === 'crew', `what was pressed by who has the phone is by ${last.author}, ${last.role}`);
  // Back in its holder's hands, on a scientist's code the refused one goes by itself.
  await page.locator('.line-state').click();
  await page.getByRole('group', { name: 'Who has this phone' }).getByRole('button', { name: 'A. Keen' }).click();
  await closeRoom(main);
  const { address } = await atLaptop('POST', '/api/pairing', { author: 'S. Holm', role: 'scientist', label: 'S' });
  await page.goto('about:blank');
  await page.goto(address);
  await ready(main);
  await allSent(main);
  expect((await kept(main)).refused.length === 0 && (await journal(main)).some(({ author, content }) => author === 'S. Holm' && content.includes('by a scientist')), 'what was refused was not sent when a scientist was there');
  await page.goto('about:blank');
  await page.goto(await newCode('A. Keen'));
  await ready(main);
  await allSent(main);
});

// ---- three phones

await part('three phones log the same 500 things in different orders: one state, nothing lost, nothing doubled', async () => {
  const phones = [];
  for (const name of ['Hand A', 'Hand B', 'Hand C']) phones.push(await phone(name));
  for (const it of phones) {
    await it.page.waitForFunction(() => globalThis.backeddyDeck.shell === 'ready');
    await allSent(it);
    await offline(it, true);
  }
  const before = (await journal(main)).length;
  await Promise.all(phones.map((it, seed) => it.page.evaluate(async (turn) => {
    const deck = globalThis.backeddyDeck;
    let x = 12345 + 7919 * turn;
    const random = () => ((x = (x * 1103515245 + 12345) % 2 ** 31) / 2 ** 31);
    const words = ['bite', 'hook_up', 'lost', 'lines_in', 'lines_out'];
    const rods = ['port bow', 'port aft', 'starboard bow', 'starboard aft'];
    const start = Date.now() - 3_600_000;
    const list = Array.from({ length: 500 }, (_, n) => ({ event: words[n % 5], rod: rods[n % 4], note: `thing ${n}`, at: new Date(start + 5000 * n).toISOString() }));
    for (let n = list.length - 1; n > 0; --n) {
      const m = Math.floor(random() * (n + 1));
      [list[n], list[m]] = [list[m], list[n]];
    }
    for (const row of list) {
      if (!(await deck.press(row.event, [{ act: 'add', content: { table: 'events', row }, reason: '' }], Date.now()))) throw new Error(deck.failure);
    }
  }, seed)));
  await phones[0].page.reload();
  await ready(phones[0]);
  for (const it of [phones[2], phones[0], phones[1]]) {
    await offline(it, false);
    await it.page.evaluate(() => globalThis.backeddyDeck.again());
    await allSent(it);
  }
  // Once more, all of it: duplicates are harmless.
  await phones[1].page.evaluate(() => globalThis.backeddyDeck.sendAllAgain());
  const all = await journal(main);
  expect(all.length === before + 1500, `1500 entries were made, ${all.length - before} arrived`);
  const count = new Map();
  for (const { content } of all) {
    const thing = /thing \d+/.exec(content)?.[0];
    if (thing) count.set(thing, (count.get(thing) ?? 0) + 1);
  }
  expect(count.size === 500 && [...count.values()].every((n) => n === 3), `${count.size} of 500 things, not each thrice`);
  for (const it of [...phones, main]) {
    await it.page.evaluate(() => globalThis.backeddyDeck.again());
    await it.page.waitForFunction((n) => globalThis.backeddyDeck.entries.length === n && globalThis.backeddyDeck.unsent === 0, all.length, { timeout: 60000 });
  }
  const states = await Promise.all([...phones, main].map((it) => it.page.evaluate(async () => {
    const { state, entries } = globalThis.backeddyDeck;
    const plain = { tables: Object.fromEntries(Object.entries(state.tables).map(([word, rows]) => [word, rows.map(({ addedBy, cells }) => [addedBy, cells])])), fish: [...state.fish, ...state.over].map(({ key, place, next }) => [key, place, next]).sort(), order: entries.map(({ device, sequence }) => `${device}:${sequence}`) };
    return JSON.stringify(plain);
  })));
  expect(new Set(states).size === 1, 'the phones do not show the same');
  for (const it of phones) await it.context.close();
});

await part('axe, widths and gloves, in three themes at three sizes', async () => {
  await main.context.close();
  await server.end();
  server = await serve(copyOf('look'), 0);
  const it = await phone('A. Keen');
  await it.page.waitForFunction(() => globalThis.backeddyDeck.state);
  await press(it, 'All lines in').catch(() => undefined);
  await wait(650);
  await hook(it, /^bow port/);
  await press(it, 'Landed');
  await saved(it, 'landed');
  await press(it, 'Back in water');
  await saved(it, 'back in water');
  await press(it, /^Sealed in /);
  await saved(it, 'sealed');
  await hook(it, /^aft starboard/);
  await press(it, 'Landed');
  await saved(it, 'landed');
  await press(it, 'Back in water');
  await saved(it, 'back in water');
  await hook(it, /^aft port/);
  await it.page.locator('.tabs button', { hasText: 'in water' }).click();
  const rooms = ['Air …', 'Hook …', 'Blood …', 'Weight, length …', 'Fins, body …', 'Reflexes …', 'Tag …', 'Landing …', 'Handling …', 'Photo …', 'Note …', 'Hold …', 'Name …', 'Righting, death …'];
  for (const [size, viewport] of Object.entries(sizes)) {
    await it.page.setViewportSize(viewport);
    for (const theme of Object.keys(themes)) {
      await look(it, theme);
      await wait(150);
      await judge(it, `${size}, ${theme}`);
      if (folder) await it.page.screenshot({ path: join(folder, `deck-${size}${theme === 'day' ? '' : `-${theme}`}.png`) });
    }
    await look(it, 'day');
    if (size === 'tablet') continue;
    await it.page.locator('.tabs button', { hasText: /\d{4}-/ }).last().click();
    for (const room of rooms) {
      const button = it.page.locator('.others').getByRole('button', { name: room, exact: true });
      if ((await button.count()) === 0) continue;
      await button.click();
      await it.page.locator('dialog.sheet').waitFor();
      await judge(it, `${size}, ${room}`);
      if (folder && size === 'phone') await it.page.screenshot({ path: join(folder, `room-${room.replace(/\W+/g, '-').toLowerCase()}.png`) });
      await closeRoom(it);
    }
    for (const open of ['.next-row .next', '.line-state', '.to-log', '.rod', '.stamp:not(:disabled)']) {
      await it.page.locator(open).first().click();
      await it.page.locator('dialog.sheet').waitFor();
      await judge(it, `${size}, ${open}`);
      if (folder && size === 'phone') await it.page.screenshot({ path: join(folder, `room-${open.replace(/\W+/g, '-')}.png`) });
      await closeRoom(it);
    }
  }
  await it.context.close();
});

await browser.close();
await server.end();
rmSync(home, { recursive: true, force: true });
for (const text of faults) console.log(`FAULT ${text}`);
console.log(faults.length === 0 ? 'deck: all good' : `deck: ${faults.length} faults`);
process.exit(faults.length === 0 ? 0 : 1);
