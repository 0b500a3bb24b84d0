// Walks through the application's pages in a real browser, in every theme and at three sizes, and fails on whatever a user
// would stumble over: an error in the console, a request that leaves the origin, a page wider than the window, a serious
// complaint of axe, a page whose main job cannot be done by keyboard, a state of the line or the study that says nothing.
// It judges spells as well and undoes that again: give it a copy of the study, whose journal it writes into.
//
//   node tools/app_check.mjs ADDRESS [FOLDER] [--looks | --work]
//                           (ADDRESS as `backeddy serve` prints it, of a copy of the demo, which it changes; pictures go to
//                            FOLDER; --looks: only how pages look, in every state; --work: only what is done on them;
//                            CHROMIUM names the browser, /usr/bin/chromium when not set)
import { parseArgs } from 'node:util';
import { mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { chromium } from 'playwright-core';
import { askJobs } from './ask_check.mjs';
import { paperJobs } from './paper_check.mjs';
import { setUpJobs, setUpStates } from './set_up_check.mjs';
import { until } from './until.mjs';

const { values: only, positionals } = parseArgs({ allowPositionals: true, options: { looks: { type: 'boolean' }, work: { type: 'boolean' } } });
const [address, folder] = positionals;
if (!address) {
  console.error('usage: app_check ADDRESS [FOLDER] [--looks | --work]');
  process.exit(2);
}
const isLooks = !only.work;
const isWork = !only.looks;
if (folder) mkdirSync(folder, { recursive: true });
const origin = new URL(address).origin;
const axe = readFileSync(new URL('../node_modules/axe-core/axe.min.js', import.meta.url), 'utf8');
const faults = [];
const started = Date.now();
const sizes = { phone: { width: 390, height: 844 }, tablet: { width: 820, height: 1180 }, laptop: { width: 1440, height: 900 } };
const themes = ['day', 'sun', 'night'];

const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium', args: ['--no-sandbox'] });

// The token of the printed address becomes a cookie at its first visit.
let storageState;
{
  const context = await browser.newContext();
  await (await context.newPage()).goto(address);
  storageState = await context.storageState();
  await context.close();
}

/** A page whose every word to the console and every request is watched. `allow` are console texts that belong to the case; `hasTour`: as a device that was never here. */
async function open(name, options = {}, { allow = [], prepare, hasTour = false } = {}) {
  const fault = (text) => faults.push(`${name}: ${text}`);
  const context = await browser.newContext({ viewport: sizes.laptop, reducedMotion: 'reduce', acceptDownloads: true, storageState, ...options });
  // The tour is looked at on its own: everywhere else it was seen.
  if (!hasTour) await context.addInitScript(() => window === top && localStorage.setItem('backeddy tour', 'seen'));
  const page = await context.newPage();
  page.on('console', (message) => {
    if (!['error', 'warning'].includes(message.type())) return;
    if (!allow.some((each) => message.text().includes(each))) fault(`console: ${message.text()}`);
  });
  page.on('pageerror', (error) => fault(`error: ${error.message}`));
  page.on('request', (request) => {
    if (!request.url().startsWith(`${origin}/`) && !/^(data|blob):/.test(request.url())) fault(`asks for ${request.url()}`);
  });
  if (prepare) await prepare(page);
  return { context, page, fault };
}

async function goTo(page, path) {
  await page.goto(origin + path);
  await page.waitForSelector('main h1');
}

const settled = async (page) => {
  await page.waitForLoadState('networkidle').catch(() => undefined);
  await page.waitForTimeout(150);
};

/** The report in its frame, when its script has run. */
async function reportShown(page) {
  const body = page.frameLocator('iframe').locator('html.scripted body');
  await body.waitFor({ timeout: 60000 });
  return body;
}

/** To another page without loading everything anew, as a link does. */
async function walkTo(page, path) {
  await page.evaluate((to) => {
    history.pushState(null, '', to);
    dispatchEvent(new PopStateEvent('popstate'));
    scrollTo(0, 0);
  }, path);
  await page.waitForSelector('main h1');
  if (path === '/report') await reportShown(page);
  if (path.startsWith('/set-up')) await settled(page);
  await page.waitForTimeout(250);
}

async function axeOf(page, fault) {
  // What stands half under the top line, as far as the page happens to be scrolled, is no small target.
  const scrolled = await page.evaluate(() => {
    const { scrollY } = window;
    scrollTo(0, 0);
    return scrollY;
  });
  // The report's own page is judged by page_check.
  await page.evaluate(axe);
  const complaints = await page.evaluate(async () => {
    const { violations } = await window.axe.run({ exclude: [['iframe']] }, { resultTypes: ['violations'], rules: { 'target-size': { enabled: true } } });
    return violations
      .filter((each) => each.impact === 'serious' || each.impact === 'critical')
      .map((each) => `${each.id}: ${each.help} (${each.nodes.length}; ${each.nodes[0]?.html.slice(0, 200)})`);
  });
  await page.evaluate((y) => scrollTo(0, y), scrolled);
  for (const text of complaints) fault(`axe: ${text}`);
}

async function fits(page, fault) {
  const wider = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
  if (wider > 0) fault(`is ${wider} px wider than the window`);
}

const picture = async (page, name, fullPage = false) => {
  if (folder) await page.screenshot({ path: join(folder, `${name}.png`), fullPage });
};

// ---------------------------------------------------------------- what there is

const first = await open('first look');
await goTo(first.page, '/');
// The program may still be computing.
const phase = () => first.page.evaluate(async () => (await (await fetch('/api/state')).json()).phase);
for (let i = 0; i < 240 && (await phase()) !== 'ready'; ++i) await first.page.waitForTimeout(500);
const study = await first.page.evaluate(async () => {
  const results = await (await fetch('/api/results')).json();
  const stays = [...results.fish.flatMap((fish) => fish.stays), ...results.blanks].filter((stay) => stay.spells.number.length > 0);
  const doubtful = stays.find((stay) => stay.spells.mark.some((mark) => mark !== 'good'));
  const night = stays.find((stay) => stay.roles.some((role) => role.role === 'rest')) ?? stays[0];
  return {
    fish: results.fish.slice(0, 2).map((fish) => fish.id), finding: results.findings[0]?.name, stay: night.id, results,
    doubtful: doubtful && { stay: doubtful.id, spell: doubtful.spells.number[doubtful.spells.mark.findIndex((mark) => mark !== 'good')] },
  };
});
await first.context.close();
const results = study.results;
const part = encodeURIComponent;

const pages = {
  study: '/',
  fish: '/fish',
  'one-fish': `/fish/${part(study.fish[0])}`,
  'two-fish': `/fish/${part(study.fish[0])}/beside/${part(study.fish[1] ?? study.fish[0])}`,
  traces: study.doubtful ? `/traces/${part(study.doubtful.stay)}/${study.doubtful.spell}` : '/traces',
  night: `/traces/${part(study.stay)}`,
  findings: '/findings',
  finding: `/findings/${part(study.finding ?? '')}`,
  ask: '/ask',
  report: '/report',
  'set-up': '/set-up',
  'set-up-files': '/set-up/files',
  'set-up-table': '/set-up/tables/events',
  'set-up-brief': '/set-up/brief',
  'set-up-sensors': '/set-up/sensors',
  'set-up-paper': '/set-up/paper',
  'set-up-type-in': '/set-up/paper/type-in',
  'set-up-phones': '/set-up/phones',
};

// ---------------------------------------------------------------- every page, theme and size

const papers = {};
if (isLooks) for (const [sizeName, viewport] of Object.entries(sizes)) {
  for (const theme of themes) {
    // What stands where is the size's, in any theme; colours are the theme's, at any size. Pictures are wanted of all.
    if (theme !== 'day' && sizeName !== 'phone' && !folder) continue;
    const { context, page } = await open('', { viewport, hasTouch: sizeName !== 'laptop' }, { prepare: async (each) => {
      await each.addInitScript((word) => window === top && localStorage.setItem('backeddy theme', word), theme);
    } });
    await goTo(page, '/');
    await settled(page);
    for (const [name, path] of Object.entries(pages)) {
      const fault = (text) => faults.push(`${name}, ${theme}, ${sizeName}: ${text}`);
      page.removeAllListeners('console');
      page.removeAllListeners('pageerror');
      page.on('console', (message) => ['error', 'warning'].includes(message.type()) && fault(`console: ${message.text()}`));
      page.on('pageerror', (error) => fault(`error: ${error.message}`));
      await walkTo(page, path);
      await fits(page, fault);
      await picture(page, `${name}-${sizeName}-${theme}`);
      if (theme === 'day') {
        // Down to the end, so that every figure is drawn.
        for (let y = 0; y < (await page.evaluate(() => document.documentElement.scrollHeight)); y += 900) {
          await page.evaluate((top) => scrollTo(0, top), y);
          await page.waitForTimeout(30);
        }
        await page.waitForTimeout(250);
        await fits(page, fault);
        const waits = await page.locator('.wait').count();
        if (waits > 0) fault(`${waits} figures were not drawn`);
        for (const text of await page.locator('.drawing .none').allTextContents()) if (text.includes('could not be drawn')) fault(text);
        await page.evaluate(() => scrollTo(0, 0));
        if (sizeName !== 'tablet') await picture(page, `${name}-${sizeName}-whole`, true);
      }
      if (theme === 'day' || sizeName === 'phone') await axeOf(page, fault);
      papers[theme] = await page.evaluate(() => getComputedStyle(document.body).backgroundColor);
      if (name === 'report') {
        const paper = await (await reportShown(page)).evaluate((body) => getComputedStyle(body).backgroundColor);
        if (paper !== papers[theme]) fault(`the report is ${paper} on a page of ${papers[theme]}`);
      }
    }
    await context.close();
  }
}
if (isLooks && new Set(Object.values(papers)).size !== themes.length) faults.push(`themes: their papers are ${JSON.stringify(papers)}`);

// ---------------------------------------------------------------- the main jobs, by keyboard

if (isLooks) {
  const { context, page, fault } = await open('keyboard');
  const must = async (what, claim) => {
    try {
      if ((await claim()) === false) fault(what);
    } catch (error) {
      fault(`${what} (${String(error).split('\n')[0]})`);
    }
  };
  const heading = () => page.locator('main h1').first().textContent();
  const press = (key) => page.keyboard.press(key);
  await goTo(page, '/');
  await settled(page);

  await press('Tab');
  await must('the first Tab is not at the skip link', async () => (await page.evaluate(() => document.activeElement?.className)) === 'skip');
  await press('Enter');
  await must('the skip link does not lead to the page', async () => (await page.evaluate(() => document.activeElement?.id)) === 'page');
  await must('study: no number of the page opens by keyboard', async () => {
    await page.locator('.headline .number').first().focus();
    await press('Enter');
    await page.waitForSelector('dialog.why[open]', { timeout: 3000 });
    await press('Escape');
    return (await page.locator('dialog.why[open]').count()) === 0;
  });

  await press('2');
  await must('key 2 does not lead to the fish', async () => (await heading()) === 'Fish');
  await press('/');
  await page.keyboard.type(study.fish[1] ?? study.fish[0]);
  await must('typing does not find a fish', async () => (await page.locator('.fish-rows tbody tr').count()) === 1);
  await page.locator('.find input').fill('');
  await press('Tab');
  await page.locator('.fish-rows thead button').first().focus();
  await press('Enter');
  await must('sorting by key does not turn the list', async () => (await page.locator('.fish-rows tbody th').first().textContent()) !== study.fish[0]);
  await press('Enter');
  await press('ArrowDown');
  await press('Enter');
  await must('the first fish does not open', async () => {
    await page.waitForSelector('.fish-head');
    return (await heading()) === study.fish[0];
  });
  await press('n');
  await must('n is not the next fish', async () => (await heading()) === study.fish[1]);
  await press('p');
  await must('p is not the fish before', async () => (await heading()) === study.fish[0]);
  await press('b');
  await must('b does not put two side by side', async () => (await page.locator('.fish-head').count()) === 2);
  await press('b');
  await page.locator('.numbers .number').first().focus();
  await press('Enter');
  await must('why: no road back', async () => (await page.locator('.road').textContent({ timeout: 5000 })).length > 40);
  await press('Escape');

  await press('3');
  await must('key 3 does not lead to the traces', async () => (await heading()) === 'Traces');
  await settled(page);
  const chosen = () => page.locator('.strips [aria-selected="true"]');
  const before = await chosen().getAttribute('id');
  const beforeStay = await page.locator('.chooser select').inputValue();
  await press('n');
  await must('n does not walk to a spell in doubt', async () => {
    const after = `${await page.locator('.chooser select').inputValue()} ${await chosen().getAttribute('id')}`;
    return after !== `${beforeStay} ${before}` && !/, good/.test((await chosen().getAttribute('aria-label')) ?? '');
  });
  await press('ArrowDown');
  await must('an arrow does not walk on', async () => (await chosen().count()) === 1);
  await must('zooming does not ask for detail', async () => {
    const asked = page.waitForRequest((request) => request.url().includes('/trace?from='), { timeout: 4000 });
    await press('0');
    await page.waitForTimeout(30);
    for (let i = 0; i < 6; ++i) await press('+');
    await asked;
  });
  await must('the whole stay cannot be moved along by the band', async () => {
    await page.locator('.band').focus();
    const was = await page.locator('.band').getAttribute('aria-valuenow');
    await press('Home');
    await press('ArrowRight');
    return was !== null && (await page.locator('.band').getAttribute('aria-valuenow')) === '2';
  });

  await page.evaluate(() => document.activeElement?.blur());
  await press('4');
  await must('key 4 does not lead to the findings', async () => (await heading()) === 'Findings');
  await press('n');
  await press('Enter');
  await must('a question does not open', async () => {
    await page.waitForSelector('.walk');
    return (await page.locator('main h2').allTextContents()).includes('Family of tests');
  });
  await press('5');
  await must('the report is not in its frame', async () => {
    await reportShown(page);
  });
  await must('a file cannot be saved', async () => {
    const link = page.locator('.files a').filter({ hasText: 'uptake_by_fish.csv' });
    await link.focus();
    const [download] = await Promise.all([page.waitForEvent('download'), press('Enter')]);
    return readFileSync(await download.path(), 'utf8').startsWith('fish,') || readFileSync(await download.path(), 'utf8').includes('\n');
  });
  await press('?');
  await must('? does not open the sheet of keys', async () => (await page.locator('dialog.sheet[open] kbd').count()) > 4 && (await page.locator('dialog.sheet[open]').innerText()).includes('Ctrl Z'));
  await picture(page, 'keys-laptop');
  await axeOf(page, fault);
  await press('Escape');
  await context.close();
}

// ---------------------------------------------------------------- the tour of an invented study

if (isLooks) for (const [sizeName, viewport] of Object.entries(sizes)) {
  const { context, page, fault } = await open(`tour, ${sizeName}`, { viewport }, { hasTour: true });
  const must = async (what, claim) => {
    try {
      if ((await claim()) === false) fault(what);
    } catch (error) {
      fault(`${what} (${String(error).split('\n')[0]})`);
    }
  };
  const card = page.locator('.tour');
  await goTo(page, '/');
  await must('an invented study does not open with its tour', () => card.waitFor({ timeout: 8000 }));
  await axeOf(page, fault);
  await fits(page, fault);
  await picture(page, `tour-${sizeName}`);
  const places = [];
  for (let i = 0; i < 10 && (await card.count()) > 0; ++i) {
    places.push(new URL(page.url()).pathname);
    await page.keyboard.press('n');
    await settled(page);
  }
  await must(`n does not lead through the pages: ${places.join(' ')}`, () => places.length >= 6 && new Set(places).size >= 6 && places.includes('/set-up'));
  await page.reload();
  await page.waitForSelector('main h1');
  await settled(page);
  await must('a tour that was seen comes again', async () => (await card.count()) === 0);
  await must('the tour does not begin again by its link', async () => {
    await goTo(page, '/');
    await page.getByRole('button', { name: 'a short tour' }).click();
    await card.waitFor({ timeout: 4000 });
    await page.keyboard.press('n');
    await page.keyboard.press('p');
    if (new URL(page.url()).pathname !== '/') return false;
    await page.keyboard.press('Escape');
    return (await card.count()) === 0;
  });
  await must('nor from the sheet of keys', async () => {
    await page.keyboard.press('?');
    await page.getByRole('button', { name: 'The short tour of this study' }).click();
    await card.waitFor({ timeout: 4000 });
    await page.keyboard.press('Escape');
  });
  await context.close();
}

// ---------------------------------------------------------------- judging spells: written, undone, refused, kept

/** A page on which something is changed, and what is asked of the program beside it. */
async function atWork(name, path, ready, fishId, options = {}) {
  const all = await open(name, options, { allow: ['Failed to load resource'] });
  const { page, fault } = all;
  const must = async (what, claim) => {
    try {
      if ((await claim()) === false) fault(what);
    } catch (error) {
      fault(`${what} (${String(error).split('\n')[0]})`);
    }
  };
  const ask = (path) => page.evaluate(async (each) => (await fetch(each)).json(), path);
  const entries = async () => (await ask('/api/entries')).entries;
  /** Of the fish: every number of the document, to the last digit. */
  const numbers = async () => {
    const fish = (await ask('/api/results')).fish.find((each) => each.id === fishId);
    return JSON.stringify([fish.metrics, fish.stays.map((stay) => stay.spells)]);
  };
  /** The answer to what was just wished: shown before and after. */
  const answered = () => page.waitForFunction(() => document.querySelector('.change') && !document.querySelector('.change [role=status]'), undefined, { timeout: 120000 });
  await goTo(page, path);
  await page.waitForSelector(ready);
  await settled(page);
  return { ...all, ask, must, entries, numbers, answered, press: (key) => page.keyboard.press(key), text: () => page.evaluate(() => document.body.innerText) };
}
const judgedFish = results.fish.find((each) => each.stays.some((stay) => stay.id === study.doubtful?.stay))?.id;
const atSpell = (name, options) => atWork(name, pages.traces, '.judge', judgedFish, options);
const undoAll = async ({ page, press, answered }, times) => {
  for (let i = 0; i < times; ++i) {
    await page.evaluate(() => document.activeElement?.blur());
    const isWritten = page.waitForResponse((answer) => answer.url().endsWith('/api/entries') && answer.request().method() === 'POST', { timeout: 20000 });
    await press('Control+z');
    await isWritten;
    await page.waitForTimeout(300);
    await answered();
  }
};

if (isWork && study.doubtful) {
  const all = await atSpell('judging');
  const { page, press, must, numbers, entries, answered, fault } = all;
  const before = await numbers();
  const count = (await entries()).length;

  await press('x');
  await must('x opens no form at which a key chooses', async () => (await page.evaluate(() => document.activeElement?.getAttribute('type'))) === 'radio');
  await press('Enter');
  await must('a judgement without a reason is not held back', async () => (await page.locator('.decide-form [role=alert]').textContent()).includes('reason'));
  await axeOf(page, fault);
  await picture(page, 'judge-form-laptop');
  await press('3');
  await must('a judgement does not show what it does, before and after', async () => {
    await page.waitForSelector('.change');
    await answered();
    const rows = await page.locator('.before-after tbody tr').count();
    return rows > 1 && (await page.locator('.before-after').innerText()).includes('unusable');
  });
  await axeOf(page, fault);
  await picture(page, 'judge-changed-laptop');
  const after = await numbers();
  await must('a judgement moves no number', async () => after !== before);
  await must('it is not in the journal with who, why and what was seen', async () => {
    const last = (await entries()).at(-1);
    const { row } = last.content;
    return (await entries()).length === count + 1 && row.act === 'exclude' && row.treatment === 'hidden' && last.reason === 'chamber not tight' && last.author !== '' && row.stay === study.doubtful.stay;
  });
  await undoAll(all, 1);
  await must('undo does not give back exactly the earlier numbers', async () => (await numbers()) === before);
  await press('Control+Shift+Z');
  await page.waitForTimeout(600);
  await answered();
  await must('redo does not give the later numbers', async () => (await numbers()) === after);
  await undoAll(all, 1);
  await must('undoing again does not give back the earlier numbers', async () => (await numbers()) === before);

  const first = () => page.locator('output[aria-label="first reading used"]').textContent();
  const was = await first();
  await press('.');
  await page.waitForTimeout(1500);
  await press('.');
  await page.waitForTimeout(600);
  await must('the first reading used does not move', async () => (await first()) !== was);
  await page.locator('.bound.is-first').focus();
  await press('ArrowLeft');
  await page.waitForTimeout(600);
  const readingsOf = async () => {
    const now = await page.evaluate(async () => (await fetch('/api/results')).json());
    const { spells } = now.fish.flatMap((each) => each.stays).concat(now.blanks).find((stay) => stay.id === study.doubtful.stay);
    return spells.readings[spells.number.indexOf(study.doubtful.spell)];
  };
  const readings = await readingsOf();
  await page.evaluate(() => document.activeElement?.blur());
  await press('m');
  await press('1');
  await page.waitForTimeout(600);
  await answered();
  await must('a bound moved by one reading does not use one reading less', async () => (await readingsOf()) === readings - 1);
  await undoAll(all, 1);
  await must('the bound is not put back', async () => (await numbers()) === before);

  const grip = await page.locator('.bound.is-last .grip').boundingBox();
  await page.mouse.move(grip.x + 10, grip.y + 20);
  await page.mouse.down();
  await page.mouse.move(grip.x - 60, grip.y + 20, { steps: 4 });
  await page.mouse.up();
  await must('the last reading used cannot be dragged', async () => {
    await page.waitForFunction(() => document.querySelector('.bound.is-last.is-moved'), undefined, { timeout: 5000 });
  });
  await press('Escape');
  await must('Escape does not put it back', async () => (await page.locator('.bound.is-moved').count()) === 0);

  await page.getByRole('button', { name: 'Show treatment' }).click();
  await page.getByRole('button', { name: 'Show it' }).click();
  await must('the treatment is not shown', async () => (await all.text()).includes('Treatment shown'));
  await press('w');
  await page.keyboard.type('looked at twice');
  await press('Enter');
  await page.waitForTimeout(600);
  await answered();
  await must('a judgement with the treatment seen does not say so', async () => (await entries()).at(-1).content.row.treatment === 'seen');
  await press('c');
  await must('the list of all changes has no row for each', async () => (await page.locator('dialog.changes .change-list li').count()) >= 5);
  await axeOf(page, fault);
  await picture(page, 'changes-laptop');
  await press('Escape');
  await undoAll(all, 1);
  await all.context.close();
}

if (isWork && study.doubtful) {
  const all = await atSpell('refused');
  const { page, press, must, entries, answered } = all;
  const count = (await entries()).length;
  // The same wish about a stay that is not there: the real program's own complaint.
  await page.route('**/api/entries', (route) =>
    route.request().method() === 'POST' ? route.continue({ postData: route.request().postData().replace(`"stay":"${study.doubtful.stay}"`, '"stay":"nowhere"') }) : route.continue());
  await press('d');
  await page.locator('.decide-form input[name=own]').fill('looks bent');
  await press('Enter');
  await must('a refusal is not told at the form', async () => (await page.locator('.decide-form [role=alert]').innerText({ timeout: 20000 })).includes('nowhere'));
  await must('a refusal loses what was typed', async () => (await page.locator('.decide-form input[name=own]').inputValue()) === 'looks bent');
  await must('what was refused is not in the top line', async () => (await page.locator('.top .unsent').innerText()).includes('1 refused'));
  await picture(page, 'judge-refused-laptop');
  await must('what was refused was written', async () => (await entries()).length === count);
  await page.unroute('**/api/entries');
  await page.locator('.decide-form input[name=own]').focus();
  await press('Enter');
  await page.waitForTimeout(600);
  await answered();
  await must('sent again it is not written once', async () => (await entries()).length === count + 1 && (await page.locator('.top .unsent').count()) === 0);
  await undoAll(all, 1);
  await all.context.close();
}

if (isWork && study.doubtful) {
  const all = await atSpell('kept');
  const { page, press, must, entries, numbers } = all;
  const before = await numbers();
  const count = (await entries()).length;
  let isAway = true;
  let asked = 0;
  await page.route('**/api/entries', async (route) => {
    if (route.request().method() !== 'POST' || !isAway) return route.continue();
    asked += 1;
    // The first is heard and its answer lost, the others are not heard.
    if (asked === 1) await route.fetch();
    return route.abort();
  });
  await press('u');
  await press('6');
  await must('what could not be sent is not in the top line', async () => (await page.locator('.top .unsent').innerText({ timeout: 20000 })).includes('1 unsent'));
  await must('nor beside its spell', async () => (await all.text()).includes('Not yet written'));
  await picture(page, 'judge-unsent-laptop');
  await page.reload();
  await page.waitForSelector('.judge');
  await must('it does not survive a reload', async () => (await page.locator('.top .unsent').innerText({ timeout: 20000 })).includes('1 unsent'));
  isAway = false;
  await page.waitForFunction(() => !document.querySelector('.top .unsent'), undefined, { timeout: 60000 });
  await must('it is not written just once', async () => (await entries()).length === count + 1);
  await until(page, async () => (await all.ask('/api/state')).phase === 'ready');
  await undoAll(all, 1);
  await must('undone, the numbers are not as before', async () => (await numbers()) === before);
  await all.context.close();
}

if (isWork && study.doubtful) {
  const all = await atSpell('judging, phone', { viewport: sizes.phone, hasTouch: true });
  const { page, fault, must, answered } = all;
  await page.getByRole('button', { name: 'leave out' }).click();
  await fits(page, fault);
  await axeOf(page, fault);
  await picture(page, 'judge-form-phone');
  await must('a target of the form is under 44 px', async () => {
    const small = await page.evaluate(() => [...document.querySelectorAll('.decide-form :is(button, label, input[type=text]), .judge button, .back-and-forth button, .bound .grip')].filter((each) => each.getBoundingClientRect().height < 43.5 || each.getBoundingClientRect().width < 43.5).map((each) => each.textContent));
    if (small.length > 0) fault(`under 44 px: ${small.join(', ')}`);
  });
  await page.locator('.usual label').nth(2).click();
  await page.getByRole('button', { name: 'Write it' }).click();
  await page.waitForTimeout(600);
  await answered();
  await fits(page, fault);
  await axeOf(page, fault);
  await page.evaluate(() => scrollTo(0, 0));
  await picture(page, 'judge-changed-phone');
  await undoAll(all, 1);
  await all.context.close();
}

// ---------------------------------------------------------------- a fish's facts and events corrected

if (isWork) {
  const id = study.fish[0];
  const all = await atWork('correcting', pages['one-fish'], '.fish-name button', id);
  const { page, press, must, numbers, ask, answered, fault } = all;
  const before = await numbers();
  /** Rows of a table as objects. */
  const rowsOf = async (table) => {
    const { columns, rows } = await ask(`/api/tables/${table}`);
    return rows.map((row) => Object.fromEntries(columns.map((name, i) => [name, row.cells[i] ?? ''])));
  };
  const massNow = async () => (await rowsOf('fish')).find((row) => row.fish === id).mass_g;
  const rowsNow = async () => (await rowsOf('events')).filter((row) => row.fish === id);
  const written = async (what) => {
    await page.getByRole('button', { name: what }).click();
    await page.waitForFunction(() => document.querySelector('.edit-fish [role=status]')?.textContent.startsWith('Written'), undefined, { timeout: 20000 });
  };
  const fill = (label, text) => page.locator('.row-form label').filter({ hasText: label }).locator('input').first().fill(text);

  await press('e');
  await page.getByRole('button', { name: 'Correct its facts' }).click();
  await axeOf(page, fault);
  await fill('mass, g', 'heavy');
  await fill('Why', 'measured again');
  await picture(page, 'edit-facts-laptop');
  await page.getByRole('button', { name: 'Write it' }).click();
  await must('a mass that is none is not told at its cell', async () => (await page.locator('.row-form label [role=alert]').innerText()).includes('heavy'));
  const mass = Number(await massNow());
  await fill('mass, g', String(mass + 50));
  // Somebody else has changed the cell meanwhile: the real program's own complaint.
  await page.route('**/api/entries', (route) =>
    route.request().method() === 'POST' ? route.continue({ postData: route.request().postData().replace(`"was":"${mass}"`, '"was":"1"') }) : route.continue());
  await page.getByRole('button', { name: 'Write it' }).click();
  await must('a refusal is not told at the form', async () => (await page.locator('.row-form [role=alert]').innerText({ timeout: 20000 })).includes('holds'));
  await must('a refusal loses what was typed', async () => (await page.locator('.row-form label').filter({ hasText: 'mass, g' }).locator('input').first().inputValue()) === String(mass + 50));
  await picture(page, 'edit-refused-laptop');
  await page.unroute('**/api/entries');
  await written('Write it');
  await must('the corrected cell is not in the table', async () => (await massNow()) === String(mass + 50));
  await page.getByRole('button', { name: 'Close', exact: true }).click();
  await must('a corrected mass does not show what it does', async () => {
    await page.waitForTimeout(600);
    await answered();
    return (await page.locator('.before-after tbody tr').count()) > 0 && (await numbers()) !== before;
  });
  await picture(page, 'edit-changed-laptop');

  const count = (await rowsNow()).length;
  const at = (await rowsNow())[0].at;
  await press('e');
  await page.getByRole('button', { name: 'Add an event' }).click();
  await fill('at', at);
  await page.locator('.row-form select').first().selectOption('note');
  await fill('note', 'remembered ashore');
  await written('Write it');
  await must('a late event is not in the table', async () => (await rowsNow()).length === count + 1);
  await page.locator('.edit-fish li').filter({ hasText: 'remembered ashore' }).getByRole('button', { name: 'Correct' }).click();
  await fill('note', 'remembered next day');
  await fill('Why', 'typed wrongly');
  await written('Write it');
  await must('an event is not corrected', async () => (await rowsNow()).some((row) => row.note === 'remembered next day'));
  await axeOf(page, fault);
  await picture(page, 'edit-events-laptop');
  await page.locator('.edit-fish li').filter({ hasText: 'remembered next day' }).getByRole('button', { name: 'Take out' }).click();
  await fill('Why', 'never happened');
  await written('Take it out');
  await must('an event is not taken out', async () => (await rowsNow()).length === count);
  await page.getByRole('button', { name: 'Close', exact: true }).click();
  await answered();
  await undoAll(all, 4);
  await must('undone, the fish’s numbers are not as before', async () => (await numbers()) === before);
  await all.context.close();
}
if (isWork) {
  const all = await atWork('correcting, phone', pages['one-fish'], '.fish-name button', study.fish[0], { viewport: sizes.phone, hasTouch: true });
  await all.page.locator('.fish-name button').click();
  await all.page.getByRole('button', { name: 'Add an event' }).click();
  await fits(all.page, all.fault);
  await axeOf(all.page, all.fault);
  await picture(all.page, 'edit-events-phone');
  await all.context.close();
}

// ---------------------------------------------------------------- states that a good day does not show

const stateNow = { phase: 'ready', what: '', done: 0, total: 0, unit: '', revision: 'other', answered_at: '2026-06-14T03:12:00Z', complaints: [] };
const stops = { severity: 'stops', text: 'stays.csv line 12, column "assembly": no assembly "tube_Z"; write one of assemblies.csv', file: 'stays.csv', line: 12, column: 'assembly', remedy: 'write one of assemblies.csv' };
const json = (route, value, status = 200) => route.fulfill({ status, contentType: 'application/json', body: JSON.stringify(value) });
const refused = ['Failed to load resource', 'WebSocket connection'];

async function inState(name, { state, resultsAre, session, allow = refused }, path, claims) {
  if (!isLooks) return;
  for (const [sizeName, viewport] of Object.entries({ phone: sizes.phone, laptop: sizes.laptop })) {
    const { context, page, fault } = await open(`${name}, ${sizeName}`, { viewport }, {
      allow,
      prepare: async (each) => {
        await each.addInitScript(() => localStorage.setItem('backeddy theme', 'night'));
        if (session) await each.route('**/api/session', session);
        if (state) {
          await each.route('**/api/state', (route) => json(route, state));
          await each.routeWebSocket('**/api/changes', () => undefined);
        }
        if (resultsAre) await each.route('**/api/results', resultsAre);
      },
    });
    await goTo(page, path);
    await settled(page);
    const text = await page.evaluate(() => document.body.innerText);
    for (const claim of claims) if (!text.includes(claim)) fault(`does not say "${claim}"`);
    await fits(page, fault);
    await axeOf(page, fault);
    await picture(page, `state-${name}-${sizeName}`);
    await context.close();
  }
}

const none = (route) => json(route, { title: 'Not Found', detail: 'no results yet', remedy: 'wait' }, 404);
await inState('first-reading', { state: { ...stateNow, phase: 'reading', what: 'reading raw files', done: 12, total: 54, unit: 'files', answered_at: null }, resultsAre: none }, '/', ['reading raw files', '12 of 54']);
await inState('stopped', { state: { ...stateNow, phase: 'stopped', answered_at: null, complaints: [stops] }, resultsAre: none }, '/', ['What stops the run', 'line 12', 'write one of assemblies.csv']);
await inState('stopped-elsewhere', { state: { ...stateNow, phase: 'stopped', answered_at: null, complaints: [stops] }, resultsAre: none }, '/fish', ['Nothing can be computed yet', 'The first page']);
await inState('old', { state: { ...stateNow, phase: 'stopped', complaints: [stops] } }, `/fish/${part(study.fish[0])}`, ['These are old answers', 'one complaint stops it']);
await inState('empty', {
  state: stateNow,
  resultsAre: (route) => json(route, {
    ...results, fish: [], blanks: [], findings: [], complaints: [], headlines: [], exclusions: [],
    accounting: { ...results.accounting, stages: results.accounting.stages.map((each) => ({ ...each, count: 0, left: [] })), fates: [] },
  }),
}, '/', ['This study is empty', 'Bring the raw files in']);
await inState('other-version', { state: stateNow, resultsAre: (route) => json(route, { ...results, schema_version: '9.0' }) }, '/fish', ['these pages read']);
await inState('signed-out', { session: (route) => json(route, { title: 'Unauthorized', detail: 'sign in first', remedy: 'give name and passphrase' }, 401) }, '/fish', ['Passphrase', 'Sign in']);
const roleIs = (role) => (route) => json(route, { name: 'B. Tide', role, change_token: 'x' });
await inState('viewer', { session: roleIs('viewer') }, pages.traces, ['You are here as a viewer', 'signs in as a scientist']);
await inState('crew', { session: roleIs('crew') }, pages.traces, ['You are here as crew', 'signs in as a scientist']);
await inState('no-answer', { session: (route) => route.abort() }, '/fish', ['No word from the program since', 'Ask now']);

// ---------------------------------------------------------------- questions asked, and Set-up: last, for they change the study

const tools = { open, goTo, settled, axeOf, fits, picture, sizes, refused, folder };
if (isLooks) await setUpStates(tools);
if (isWork) {
  await askJobs(tools, study);
  await setUpJobs(tools);
  await paperJobs(tools);
}

await browser.close();
for (const text of faults) console.error(`app_check: ${text}`);
console.log(`app_check: ${faults.length} faults in ${((Date.now() - started) / 1000).toFixed(0)} s`);
process.exit(faults.length === 0 ? 0 : 1);
