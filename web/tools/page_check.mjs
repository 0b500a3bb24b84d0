// Opens a report in a real browser, without a network, at the widths of a phone and of a laptop and on paper, and fails on
// whatever a reader would stumble over: an error in the console, a request that leaves the file, a page wider than the
// window, a figure that was not drawn, a saved figure that does not stand alone, or a serious complaint of axe.
//
//   node tools/page_check.mjs REPORT.html        (CHROMIUM names the browser; /usr/bin/chromium when not set)
import { readFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { chromium } from 'playwright-core';

const report = process.argv[2];
if (!report) {
  console.error('usage: page_check REPORT.html');
  process.exit(2);
}
const address = pathToFileURL(resolve(report)).href;
const axe = readFileSync(new URL('../node_modules/axe-core/axe.min.js', import.meta.url), 'utf8');
const faults = [];
const started = Date.now();

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
  args: ['--no-sandbox'],
});

async function check(name, options, drawAll) {
  const fault = (text) => faults.push(`${name}: ${text}`);
  // The page's own content policy would refuse axe, which stands outside of it.
  const context = await browser.newContext({ ...options, offline: true, bypassCSP: true });
  const page = await context.newPage();
  page.on('console', (message) => {
    if (['error', 'warning'].includes(message.type())) fault(`console: ${message.text()}`);
  });
  page.on('pageerror', (error) => fault(`error: ${error.message}`));
  page.on('request', (request) => {
    if (!request.url().startsWith('data:') && request.url() !== address) fault(`asks for ${request.url()}`);
  });
  await page.goto(address);
  const wider = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
  if (wider > 0) fault(`is ${wider} px wider than the window`);
  await drawAll(page);
  const undrawn = await page.$$eval('[data-figure] .wait', (all) => all.length);
  if (undrawn > 0 && drawAll !== byScrolling) fault(`${undrawn} figures were not drawn`);
  const failed = await page.$$eval('[data-figure] .drawing', (all) =>
    all.map((each) => each.textContent ?? '').filter((text) => text.includes('could not be drawn')),
  );
  for (const text of failed) fault(text);
  return { context, page, fault };
}

// As a reader comes to them: those of the study and of the first fish. The phone's pass draws all, as for print.
const scrolledTo = 24;
const byScrolling = async (page) => {
  for (const place of (await page.$$('[data-figure]')).slice(0, scrolledTo)) {
    await place.scrollIntoViewIfNeeded();
    await place.waitForSelector('.wait', { state: 'detached', timeout: 5000 }).catch(() => undefined);
  }
};

async function axeOf(page, fault) {
  await page.evaluate(axe);
  const complaints = await page.evaluate(async () => {
    // The first fish stands for all: they are made alike.
    const { violations } = await window.axe.run({ exclude: [['article.fish ~ article.fish']] }, { resultTypes: ['violations'] });
    return violations
      .filter((each) => each.impact === 'serious' || each.impact === 'critical')
      .map((each) => `${each.id}: ${each.help} (${each.nodes.length}; ${each.nodes[0]?.html.slice(0, 160)})`);
  });
  for (const text of complaints) fault(`axe: ${text}`);
}

// A saved figure must be well-formed, carry its own colours and its key, and show something when opened by itself.
async function savedFigure(page, what, fault) {
  const [download] = await Promise.all([
    page.waitForEvent('download'),
    page.locator(`[data-figure="${what}"] .save`).first().click(),
  ]);
  const text = readFileSync(await download.path(), 'utf8');
  const error = await page.evaluate((svg) => {
    const parsed = new DOMParser().parseFromString(svg, 'image/svg+xml');
    return parsed.querySelector('parsererror')?.textContent ?? '';
  }, text);
  if (error !== '') fault(`saved ${what} is no XML: ${error}`);
  const entries = await page.locator(`[data-figure="${what}"]`).first().locator('.key-entry').allTextContents();
  for (const entry of entries.map((words) => words.replace(/\s+/g, ' ').trim())) {
    const word = entry.split(/[^\w]+/).find((each) => each.length > 3) ?? entry;
    if (!text.includes(word)) fault(`saved ${what} lacks the entry "${entry}" of its key`);
  }
  if (text.includes('var(--')) fault(`saved ${what} needs the page's colours`);
  const colours = await page.evaluate(async (svg) => {
    const image = new Image();
    image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(svg)}`;
    await image.decode();
    const canvas = document.createElement('canvas');
    canvas.width = image.naturalWidth;
    canvas.height = image.naturalHeight;
    const context = canvas.getContext('2d');
    context.drawImage(image, 0, 0);
    const { data } = context.getImageData(0, 0, canvas.width, canvas.height);
    const seen = new Set();
    for (let i = 0; i < data.length; i += 4) seen.add((data[i] << 16) | (data[i + 1] << 8) | data[i + 2]);
    return seen.size;
  }, text);
  if (colours < 8) fault(`saved ${what} shows nothing: ${colours} colours`);
}

const laptop = await check('laptop', { viewport: { width: 1280, height: 900 }, acceptDownloads: true }, byScrolling);
await axeOf(laptop.page, laptop.fault);
await laptop.page.evaluate(() => scrollTo(0, 0));
for (const what of ['accounting', 'study-overview', 'uptake-through-time', 'trace', 'resting-distribution', 'recovery']) {
  await savedFigure(laptop.page, what, laptop.fault);
}
// Not every study asks questions or writes down a fish's condition.
for (const what of ['finding', 'fish-timeline', 'blood-after-event', 'fish-outline', 'plate-curve', 'plate-map', 'condition-points']) {
  if ((await laptop.page.locator(`[data-figure="${what}"] .save`).count()) > 0) await savedFigure(laptop.page, what, laptop.fault);
}
await laptop.context.close();

const phone = await check('phone, night', { viewport: { width: 390, height: 844 }, colorScheme: 'dark' }, async (page) => {
  await page.locator('[data-figure="accounting"]').scrollIntoViewIfNeeded();
  // Beyond the first fish everything is drawn the same way: printing draws the rest at once.
  await page.evaluate(() => dispatchEvent(new Event('beforeprint')));
  await page.evaluate(() => dispatchEvent(new Event('afterprint')));
});
await axeOf(phone.page, phone.fault);
await phone.context.close();
await browser.close();

for (const text of faults) console.error(`page_check: ${text}`);
console.log(`page_check: ${faults.length} faults in ${((Date.now() - started) / 1000).toFixed(0)} s`);
process.exit(faults.length === 0 ? 0 : 1);
