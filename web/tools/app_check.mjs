// Walks through the application's pages in a real browser, in every theme and at three sizes, and fails on whatever a user
// would stumble over: an error in the console, a request that leaves the origin, a page wider than the window, a serious
// complaint of axe, a page whose main job cannot be done by keyboard, a state of the line or the study that says nothing.
//
//   node tools/app_check.mjs ADDRESS [FOLDER]      (as `backeddy serve` prints it, of the demo; pictures go to FOLDER;
//                                                   CHROMIUM names the browser; /usr/bin/chromium when not set)
import { mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { chromium } from 'playwright-core';

const [address, folder] = process.argv.slice(2);
if (!address) {
  console.error('usage: app_check ADDRESS [FOLDER]');
  process.exit(2);
}
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

/** A page whose every word to the console and every request is watched. `allow` are console texts that belong to the case. */
async function open(name, options = {}, { allow = [], prepare } = {}) {
  const fault = (text) => faults.push(`${name}: ${text}`);
  const context = await browser.newContext({ viewport: sizes.laptop, reducedMotion: 'reduce', acceptDownloads: true, storageState, ...options });
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
  await body.waitFor({ timeout: 20000 });
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
  await page.waitForTimeout(250);
}

async function axeOf(page, fault) {
  // The report's own page is judged by page_check.
  await page.evaluate(axe);
  const complaints = await page.evaluate(async () => {
    const { violations } = await window.axe.run({ exclude: [['iframe']] }, { resultTypes: ['violations'], rules: { 'target-size': { enabled: true } } });
    return violations
      .filter((each) => each.impact === 'serious' || each.impact === 'critical')
      .map((each) => `${each.id}: ${each.help} (${each.nodes.length}; ${each.nodes[0]?.html.slice(0, 200)})`);
  });
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
  report: '/report',
};

// ---------------------------------------------------------------- every page, theme and size

const papers = {};
for (const [sizeName, viewport] of Object.entries(sizes)) {
  for (const theme of themes) {
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
      // Colours are the theme's, at any size; what stands where is the size's, in any theme.
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
if (new Set(Object.values(papers)).size !== themes.length) faults.push(`themes: their papers are ${JSON.stringify(papers)}`);

// ---------------------------------------------------------------- the main jobs, by keyboard

{
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
  await must('? does not open the sheet of keys', async () => (await page.locator('dialog.sheet[open] kbd').count()) > 4);
  await picture(page, 'keys-laptop');
  await axeOf(page, fault);
  await press('Escape');
  await context.close();
}

// ---------------------------------------------------------------- states that a good day does not show

const stateNow = { phase: 'ready', what: '', done: 0, total: 0, unit: '', revision: 'other', answered_at: '2026-06-14T03:12:00Z', complaints: [] };
const stops = { severity: 'stops', text: 'stays.csv line 12, column "assembly": no assembly "tube_Z"; write one of assemblies.csv', file: 'stays.csv', line: 12, column: 'assembly', remedy: 'write one of assemblies.csv' };
const json = (route, value, status = 200) => route.fulfill({ status, contentType: 'application/json', body: JSON.stringify(value) });
const refused = ['Failed to load resource', 'WebSocket connection'];

async function inState(name, { state, resultsAre, session, allow = refused }, path, claims) {
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
}, '/', ['This study is empty', 'encounters.csv']);
await inState('other-version', { state: stateNow, resultsAre: (route) => json(route, { ...results, schema_version: '9.0' }) }, '/fish', ['these pages read']);
await inState('signed-out', { session: (route) => json(route, { title: 'Unauthorized', detail: 'sign in first', remedy: 'give name and passphrase' }, 401) }, '/fish', ['Passphrase', 'Sign in']);
await inState('no-answer', { session: (route) => route.abort() }, '/fish', ['No word from the program since', 'Ask now']);

await browser.close();
for (const text of faults) console.error(`app_check: ${text}`);
console.log(`app_check: ${faults.length} faults in ${((Date.now() - started) / 1000).toFixed(0)} s`);
process.exit(faults.length === 0 ? 0 : 1);
