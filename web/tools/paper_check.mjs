// Field sheets in a browser against the program itself, on a study that may be changed: printed for both papers, a deck
// sheet typed twice by keyboard alone, compared, settled and entered, a fish sheet typed once.
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';

const inches = { A4: [11.69, 8.27], Letter: [11, 8.5] };

/** `tools` are those of app_check. */
export async function paperJobs({ open, goTo, settled, axeOf, fits, picture, sizes, folder }) {
  await printed({ open, goTo, axeOf, picture, folder });
  await typedTwice({ open, goTo, settled, axeOf, fits, picture });
  await fishSheet({ open, goTo, settled, axeOf, fits, picture, sizes });
}

const claimsOf = (fault) => async (what, claim) => {
  try {
    if ((await claim()) === false) fault(what);
  } catch (error) {
    fault(`${what} (${String(error).split('\n')[0]})`);
  }
};

// ---------------------------------------------------------------- on paper

async function printed({ open, goTo, axeOf, picture, folder }) {
  for (const [size, [wide, tall]] of Object.entries(inches)) {
    const { context, page, fault } = await open(`field sheets, ${size}`);
    const must = claimsOf(fault);
    await goTo(page, '/set-up/paper');
    await page.locator('.field-page').first().waitFor({ timeout: 15000 });
    await page.locator('.paper-form select').selectOption(size);
    for (const [kind, n] of [['Deck', 2], ['Fish', 2], ['Night', 1]]) {
      await page.getByLabel(`${kind} sheets`).fill(String(n));
      await page.getByLabel(`${kind} sheets`).press('Tab');
    }
    await page.waitForFunction(() => document.querySelectorAll('.field-page').length === 5);
    await axeOf(page, fault);
    await picture(page, `set-up-paper-${size}`);
    for (const media of ['screen', 'print']) {
      await page.emulateMedia({ media });
      await must(`something reaches over its paper (${media})`, async () => {
        const over = await page.evaluate(() => [...document.querySelectorAll('.field-page, .field-page .field-body, .field-page footer, .field-page .fish-right, .field-page .fish-left, .field-page .lines, .field-page .field-table')]
          .filter((each) => each.scrollHeight > each.clientHeight + 1 || each.scrollWidth > each.clientWidth + 1).map((each) => `${each.className || each.tagName} ${each.scrollHeight - each.clientHeight} ${each.scrollWidth - each.clientWidth}`));
        if (over.length > 0) fault(over.join('; '));
        return over.length === 0;
      });
    }
    await must('the pages’ own frame is printed too', async () => !(await page.locator('.top').isVisible()) && !(await page.locator('.paper-form').isVisible()));
    await must('the foot lacks permit, study or page', async () => {
      const foot = await page.locator('.field-page footer').first().innerText();
      return foot.includes('Permit') && foot.includes('page 1 of 5') && (await page.locator('.field-foot span').first().innerText()) !== '';
    });
    const pdf = await page.pdf({ preferCSSPageSize: true });
    if (folder) writeFileSync(join(folder, `field-sheets-${size}.pdf`), pdf);
    const text = pdf.toString('latin1');
    await must('the paper is not five lying pages', async () => {
      const boxes = [...text.matchAll(/\/MediaBox\s*\[([^\]]*)\]/g)].map((found) => found[1].trim().split(/\s+/).map(Number));
      return boxes.length === 5 && boxes.every((box) => Math.abs(box[2] / 72 - wide) < 0.02 && Math.abs(box[3] / 72 - tall) < 0.02);
    });
    await page.emulateMedia({ media: 'screen' });
    if (folder) for (const i of [0, 2, 4]) await page.locator('.field-page').nth(i).screenshot({ path: join(folder, `field-sheet-${size}-${i}.png`) });
    await context.close();
  }
}

// ---------------------------------------------------------------- typed in

const deckLines = [
  ['612', 'li', 'port bow', 'single_hook'],
  ['6.18', 'b', 'port bow'],
  ['0621', 'hook', 'port bow', 'single_hook', 'P01'],
  ['6:23:30', 'l', '', '', 'P01'],
  ['627', 's', '', '', 'P01', 'tube_A'],
  ['2355', 'n', '', '', '', '', '', 'seal near the pen'],
  ['0010', 'n', '', '', '', '', '', 'gone again'],
];

async function typeLines(page, lines) {
  for (const [i, cells] of lines.entries()) {
    for (const [j, cell] of cells.entries()) {
      if (j > 0) await page.keyboard.press('Tab');
      if (cell !== '') await page.keyboard.type(cell);
    }
    if (i + 1 < lines.length) await page.keyboard.press('Enter');
  }
}

const at = (page, place) => page.locator(`[data-place="${place}"]`);

/** From the head's first box into the first line. */
async function typeHead(page, sheet, date) {
  await at(page, 'head.sheet').waitFor({ timeout: 8000 });
  await page.keyboard.press('Control+A');
  await page.keyboard.type(sheet);
  await page.keyboard.press('Tab');
  await page.keyboard.press('Control+A');
  await page.keyboard.type(date);
  await page.keyboard.press('Tab');
  await page.keyboard.type('A. Keen');
  await page.keyboard.press('Enter');
}

async function typedTwice({ open, goTo, settled, axeOf, fits, picture }) {
  const { context, page, fault } = await open('a deck sheet typed in', {}, { allow: ['409 (Conflict)'] });
  const must = claimsOf(fault);
  const press = (key) => page.keyboard.press(key);
  const entries = () => page.evaluate(async () => (await (await fetch('/api/entries')).json()).entries);
  const before = (await (goTo(page, '/set-up/paper/type-in').then(() => entries()))).length;
  await page.locator('.type-begin').waitFor({ timeout: 15000 });
  await axeOf(page, fault);
  await page.evaluate(() => document.activeElement?.blur());
  await press('d');
  await typeHead(page, '1', '2026-06-21');
  await typeLines(page, deckLines);
  await must('a time is not carried over midnight', async () => (await page.locator('.type-lines tbody tr').nth(6).innerText()).includes('2026-06-22'));
  await must('a few letters are not told as their event', async () => (await page.locator('.type-lines tbody tr').nth(2).innerText()).includes('hook up'));
  await axeOf(page, fault);
  await picture(page, 'set-up-type-in-laptop');

  await must('a fault is not told at its cell', async () => {
    await at(page, '1.time').fill('661');
    await at(page, '1.event').focus();
    return (await page.locator('td', { has: at(page, '1.time') }).innerText()).includes('no such time of day');
  });
  await must('undo does not bring the cell back', async () => {
    await press('Control+z');
    return (await at(page, '1.time').inputValue()) === '6.18';
  });
  await page.reload();
  await page.getByRole('button', { name: 'Go on' }).first().click();
  await must('what was typed is gone with the page', async () => (await at(page, '6.note').inputValue()) === 'gone again' && (await at(page, 'head.who').inputValue()) === 'A. Keen');
  await at(page, '0.time').focus();
  await press('Control+Enter');

  // The second typing: a cell another, a line left out.
  await page.getByLabel('Who types it again').fill('B. Tide');
  await page.getByRole('button', { name: 'Type it again' }).click();
  await must('the second sees what the first typed', async () => {
    await at(page, 'head.date').waitFor({ timeout: 4000 });
    return !(await page.locator('.sheet-typing').innerText()).includes('hook up') && (await at(page, 'head.who').inputValue()) === '';
  });
  await typeHead(page, '1', '2026-06-21');
  await typeLines(page, deckLines.filter((_, i) => i !== 5).map((cells, i) => (i === 1 ? ['6.19', ...cells.slice(1)] : cells)));
  await press('Control+Enter');
  await page.locator('.difference').first().waitFor({ timeout: 4000 });
  await must('the differences are not the one cell and the one line', async () => (await page.locator('.difference legend').allTextContents()).join('; ') === 'Line 2, Time; Line 6');
  await must('it can be entered with a difference open', async () => (await page.locator('.enter-sheet').count()) === 0);
  await axeOf(page, fault);
  await picture(page, 'set-up-differences-laptop');
  await page.locator('.difference').nth(0).locator('input[type=radio]').nth(1).press('Space');
  await page.locator('.difference').nth(1).locator('input[type=radio]').nth(0).press('Space');
  await page.locator('.enter-sheet').waitFor({ timeout: 4000 });
  await axeOf(page, fault);
  await picture(page, 'set-up-enter-laptop', true);
  await page.getByRole('button', { name: /^Enter \d+ rows/ }).press('Enter');
  await must('it does not get into the study', async () => {
    await page.locator('[role=status]', { hasText: 'in the study' }).waitFor({ timeout: 20000 });
    const written = (await entries()).slice(before);
    const events = written.filter((each) => each.content.table === 'events');
    return events.length === 7 && written.length === 9 && written.every((each) => each.reason === 'from deck sheet, no. 1, 2026-06-21, typed twice, by somebody at this machine and B. Tide')
      && events[1].content.row.at === '2026-06-21T05:19:00Z' && events[6].content.row.at === '2026-06-21T23:10:00Z' && events[0].content.row.at_uncertainty_s === '30' && events[3].content.row.at_uncertainty_s === undefined;
  });

  // The same sheet once more: all of it stands there.
  await page.evaluate(() => document.activeElement?.blur());
  await press('d');
  await typeHead(page, '1', '2026-06-21');
  await typeLines(page, deckLines.slice(0, 3));
  await press('Control+Enter');
  await must('what stands there is entered twice unasked', async () => {
    await page.locator('.enter-sheet').waitFor({ timeout: 8000 });
    const boxes = page.locator('.enter-sheet input[type=checkbox]');
    const checked = await Promise.all(Array.from({ length: await boxes.count() }, (_, i) => boxes.nth(i).isChecked()));
    // The bite was settled to another minute.
    return checked.join() === 'false,true,false' && (await page.locator('.enter-sheet').innerText()).includes('Stands in the study already');
  });
  await fits(page, fault);
  await must('a sheet cannot be thrown away', async () => {
    await page.getByRole('button', { name: 'All sheets' }).click();
    await page.getByRole('button', { name: 'Throw away' }).first().click();
    await page.getByRole('button', { name: 'Throw it away' }).click();
    return (await page.getByRole('button', { name: 'Go on' }).count()) === 0;
  });
  await must('one undo does not take all of it back', async () => {
    await page.evaluate(() => document.activeElement?.blur());
    await press('Control+z');
    await page.locator('.notices .said').waitFor({ timeout: 20000 });
    const written = (await entries()).slice(before).filter((each) => each.act !== 'undo');
    return written.length === 9 && written.every((each) => each.is_undone);
  });
  await settled(page);
  await context.close();
}

async function fishSheet({ open, goTo, settled, axeOf, fits, picture, sizes }) {
  const { context, page, fault } = await open('a fish sheet typed in', { viewport: sizes.phone }, { allow: ['409 (Conflict)'] });
  const must = claimsOf(fault);
  await goTo(page, '/set-up/paper/type-in');
  const entries = () => page.evaluate(async () => (await (await fetch('/api/entries')).json()).entries);
  const before = (await entries()).length;
  await page.getByRole('button', { name: /Begin a fish sheet/ }).click();
  await must('Tab does not go as the sheet goes', async () => {
    const places = [];
    for (let i = 0; i < 12; ++i) {
      places.push(await page.evaluate(() => document.activeElement?.getAttribute('data-place')));
      await page.keyboard.press('Tab');
    }
    return places.join(' ') === 'head.sheet head.fish head.encounter head.date head.who head.sure 0.species 0.rod 0.rig 0.landing 0.unhooking 0.hook_location';
  });
  const boxes = {
    'head.sheet': '7', 'head.fish': 'P02', 'head.date': '2026-06-21', 'head.who': 'A. Keen', '0.rig': 'single_hook', '0.hook_location': 'upper_jaw', '0.at.hook_up': '701', '0.at.landed': '704', '0.at.sealed': '709', '0.in.sealed': 'tube_A',
    '0.mass_g': '812,5', '0.fin.dorsal': '1', '0.at.blood': '800', '0.blood.volume_ml': '0,6', '0.fate': 'released',
  };
  for (const [place, text] of Object.entries(boxes)) await at(page, place).fill(text);
  await must('a fate without its time is taken', async () => {
    await page.keyboard.press('Control+Enter');
    return (await page.locator('label', { has: at(page, '0.at.fate') }).innerText()).includes('the time is missing') || (await page.evaluate(() => document.activeElement?.getAttribute('data-place'))) === '0.at.fate';
  });
  await axeOf(page, fault);
  await fits(page, fault);
  await picture(page, 'set-up-fish-sheet-phone', true);
  await at(page, '0.at.fate').fill('830');
  await page.keyboard.press('Control+Enter');
  await must('it does not get into the study', async () => {
    await page.getByRole('button', { name: /^Enter \d+ rows/ }).click({ timeout: 8000 });
    await page.locator('[role=status]', { hasText: 'in the study' }).waitFor({ timeout: 20000 });
    const written = (await entries()).slice(before);
    const of = (table) => written.filter((each) => each.content.table === table).map((each) => each.content.row);
    return of('fish')[0]?.mass_g === '812.5' && of('encounters')[0]?.at === '2026-06-21T06:01:00Z' && of('events').length === 5 && of('blood')[0]?.volume_ml === '0.6' && of('fins')[0]?.score === '1';
  });
  await must('one undo does not take all of it back', async () => {
    await page.evaluate(() => document.activeElement?.blur());
    await page.keyboard.press('Control+z');
    await page.locator('.notices .said').waitFor({ timeout: 20000 });
  });
  await settled(page);
  await context.close();
}
