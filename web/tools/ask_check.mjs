// A question asked on the pages, walked through in a browser against the program itself on a study that may be changed: tried
// with a fault and without, kept, changed, taken out and undone; an answer that moved is marked; the peak's window has a handle.
import { until } from './until.mjs';

/** `tools` are those of app_check; `study` what it found out about the study. */
export async function askJobs({ open, goTo, settled, axeOf, fits, picture, sizes }, study) {
  const { context, page, fault } = await open('ask', {}, { allow: ['409 (Conflict)', '503 (Service Unavailable)'] });
  const must = async (what, claim) => {
    try {
      if ((await claim()) === false) fault(what);
    } catch (error) {
      fault(`${what} (${String(error).split('\n')[0]})`);
    }
  };
  const press = (key) => page.keyboard.press(key);
  const asked = (path) => page.evaluate(async (from) => (await fetch(from)).json(), path);
  const text = (selector) => page.locator(selector).first().innerText({ timeout: 8000 });
  const has = (selector, timeout = 60000) => page.locator(selector).first().waitFor({ timeout });
  const brief = async () => (await asked('/api/brief')).text;
  let revision = '';
  /** Another answer than the one before is there. */
  const answered = async () => {
    await until(page, async () => {
      const state = await asked('/api/state');
      return state.phase === 'ready' && state.revision !== revision;
    });
    revision = (await asked('/api/state')).revision;
  };
  const field = (name) => page.locator(`.ask-form input[name=${name}]`);
  const tried = async () => {
    await page.waitForTimeout(700);
    await page.waitForFunction(() => document.querySelector('.ask-answer')?.getAttribute('aria-busy') === 'false' && document.querySelector('.ask-answer .answer, .ask-answer .unanswered, .field-fault'), undefined, { timeout: 120000 });
  };

  // ------------------------------------------------------------ tried
  await goTo(page, '/findings');
  await settled(page);
  const start = await brief();
  revision = (await asked('/api/state')).revision;
  await must('the key does not lead to a new question', async () => {
    await press('a');
    await page.waitForFunction(() => location.pathname === '/ask', undefined, { timeout: 8000 });
    await has('.ask-form input');
  });
  await picture(page, 'ask-empty-laptop');
  await axeOf(page, fault);
  await must('it does not say that results were seen', async () => (await text('main')).includes('Results of this study have been seen'));
  await must('a mistyped column has no complaint at its field', async () => {
    await press('o');
    await page.keyboard.type('peak_after_captur');
    await press('Tab');
    await page.keyboard.type('rig');
    await press('Tab');
    await page.locator('.ask-field', { has: page.locator('input[name=outcome]') }).locator('.field-fault').waitFor({ timeout: 60000 });
    return (await field('outcome').getAttribute('aria-invalid')) === 'true';
  });
  await picture(page, 'ask-fault-laptop');
  await axeOf(page, fault);
  await must('the near name is not taken by a button', async () => {
    await page.locator('.field-fault button').first().focus();
    await press('Enter');
    await has('.ask-answer .answer');
    return (await field('outcome').inputValue()) === 'peak_after_capture';
  });
  await must('the answer has no figure with its fish, or says not who is missing', async () => {
    await has('.ask-answer figure svg');
    const said = await text('.ask-answer');
    return said.includes('Who took part') && said.includes('Exploratory: never declared') && said.includes('after results were seen');
  });
  await must('an answer that is tried is another than the brief’s own', async () => {
    const same = study.results.findings.find((each) => each.outcome === 'peak_after_capture' && each.compare === 'rig' && each.within === '' && each.unanswered === '');
    if (!same) return true;
    const keys = (await asked('/api/questions/columns')).questions.find((each) => each.name === same.name);
    const answer = await page.evaluate(async ([question, name]) => {
      const { change_token } = await (await fetch('/api/session')).json();
      return (await fetch(`/api/findings/try?page=check&instead=${name}`, { method: 'POST', headers: { 'Content-Type': 'application/json', 'Backeddy-Change-Token': change_token }, body: JSON.stringify(question) })).json();
    }, [keys, same.name]);
    return answer.finding?.sentence === same.sentence && JSON.stringify(answer.finding.effects) === JSON.stringify(same.effects);
  });
  await must('adjusting for a later column is not warned of', async () => {
    await field('adjust_for').fill('air_s');
    await field('adjust_for').press('Enter');
    await tried();
    await page.locator('.ask-answer .missing li', { hasText: 'air_s' }).first().waitFor({ timeout: 60000 });
  });
  await picture(page, 'ask-later-column-laptop', true);
  await axeOf(page, fault);
  await must('a column is not taken away again', async () => {
    await page.getByRole('button', { name: 'Take air_s away' }).click();
    await tried();
    return (await page.locator('.terms li').count()) === 0;
  });
  await must('a margin without better has no complaint at its key', async () => {
    await page.locator('.ask-form summary').click();
    await page.locator('#ask-margin').fill('0,5');
    await page.locator('#faults-margin .field-fault').waitFor({ timeout: 60000 });
    await page.locator('#ask-margin').fill('');
    await tried();
  });
  await must('the brief was changed before it was said', async () => (await brief()) === start);
  await must('what was typed is lost when another page is shown', async () => {
    await page.locator('.walk a').first().click();
    await has('.question-acts a');
    await page.goBack();
    await has('.ask-answer .answer');
    return (await field('outcome').inputValue()) === 'peak_after_capture';
  });
  await must('another person’s question is not waited for', async () => {
    let count = 0;
    await page.route('**/api/findings/try?*', (route) =>
      route.request().method() === 'POST' && ++count === 1
        ? route.fulfill({ status: 503, contentType: 'application/problem+json', body: JSON.stringify({ title: 'Service Unavailable', status: 503, detail: 'another question is being computed', remedy: 'wait a moment' }) })
        : route.continue());
    await field('adjust_for').fill('log(mass_g)');
    await field('adjust_for').press('Enter');
    await page.locator('.ask-state', { hasText: 'Another person' }).waitFor({ timeout: 20000 });
    await page.locator('.ask-state', { hasText: 'Tried' }).waitFor({ timeout: 60000 });
    await page.unroute('**/api/findings/try?*');
    return count >= 2;
  });
  await must('leaving does not give the computing up', async () => {
    await page.route('**/api/findings/try?*', (route) => (route.request().method() === 'POST' ? new Promise(() => undefined) : route.continue()));
    const gone = page.waitForRequest((request) => request.method() === 'DELETE' && request.url().includes('/api/findings/try'), { timeout: 20000 });
    await page.getByRole('button', { name: 'Take log(mass_g) away' }).click();
    await page.locator('.ask-state', { hasText: 'Being computed' }).waitFor({ timeout: 20000 });
    await picture(page, 'ask-computing-laptop');
    await page.locator('.walk a').first().click();
    await gone;
    await page.unroute('**/api/findings/try?*');
    await page.goBack();
    await has('.ask-answer .answer');
  });

  // ------------------------------------------------------------ kept, changed, taken out
  const name = 'peak_after_capture_by_rig';
  await must('it cannot be kept by key', async () => {
    await tried();
    await field('outcome').focus();
    await press('Control+Enter');
    await has('.kept a');
    const now = await brief();
    return now.startsWith(start) && now.includes(`name = "${name}`) && now.includes('# Asked on the pages on') && now.includes('not declared before looking');
  });
  await picture(page, 'ask-kept-laptop');
  await axeOf(page, fault);
  await must('keeping is not undone to the last byte', async () => {
    await page.locator('.kept button').click();
    await page.locator('.kept', { hasText: 'Undone' }).waitFor({ timeout: 20000 });
    return (await brief()) === start;
  });
  await answered();
  let own = '';
  await must('a kept question has no card with its own page', async () => {
    await press('o');
    await field('outcome').fill('peak_after_capture');
    await field('compare').fill('unhooking');
    await tried();
    await has('.ask-keep button:not([disabled])');
    own = await page.locator('#ask-name').inputValue();
    await field('outcome').focus();
    await press('Control+Enter');
    await has('.kept a');
    await answered();
    await page.locator('.kept a').click();
    await has('.question-acts a');
    return (await text('main')).includes('Exploratory: never declared');
  });
  await must('it cannot be changed in its place', async () => {
    await press('e');
    await has('.ask-answer .answer');
    await field('adjust_for').fill('log(mass_g)');
    await field('adjust_for').press('Enter');
    await tried();
    await page.locator('.ask-state', { hasText: 'Tried' }).waitFor({ timeout: 60000 });
    await page.locator('.ask-keep button.main').click();
    await has('.kept a');
    const now = await brief();
    return now.split(`name = "${own}"`).length === 2 && now.slice(now.indexOf(`name = "${own}"`)).includes('adjust_for = ["log(mass_g)"]');
  });
  await answered();
  await must('a changed question is not marked as asked otherwise', async () => {
    await goTo(page, '/findings');
    await page.locator('.card', { has: page.locator(`a[href="/findings/${own}"]`) }).locator('.moved', { hasText: 'asked otherwise' }).waitFor({ timeout: 120000 });
  });
  await must('it cannot be taken out', async () => {
    await goTo(page, `/findings/${own}`);
    await page.getByRole('button', { name: 'Take it out of the brief' }).click();
    await axeOf(page, fault);
    await page.getByRole('button', { name: 'Take it out', exact: true }).click();
    await page.waitForFunction(() => location.pathname === '/findings', undefined, { timeout: 20000 });
    return (await brief()) === start;
  });
  await answered();

  // ------------------------------------------------------------ an answer that moved
  await must('an answer that moved is not marked with before and after', async () => {
    await goTo(page, '/findings');
    await settled(page);
    const { columns, rows } = await asked('/api/tables/fish');
    const row = Object.fromEntries(columns.map((each, i) => [each, rows[0].in_file?.[i] ?? rows[0].cells[i]]));
    const ids = await page.evaluate(async ([cells, mass]) => {
      const { change_token } = await (await fetch('/api/session')).json();
      const headers = { 'Content-Type': 'application/json', 'Backeddy-Change-Token': change_token };
      const content = { table: 'fish', row: cells, cells: { mass_g: { was: mass, now: String(Number(mass) * 1.4) } } };
      const answer = await fetch('/api/entries', { method: 'POST', headers, body: JSON.stringify({ entries: [{ act: 'set', content, reason: 'a check' }] }) });
      return (await answer.json()).ids;
    }, [row, rows[0].cells[columns.indexOf('mass_g')]]);
    await answered();
    await has('.card .moved');
    if (!(await text('.card .moved')).includes('→')) return false;
    await picture(page, 'findings-moved-laptop');
    await axeOf(page, fault);
    const link = await page.locator('.card.has-moved h2 a').first().getAttribute('href');
    await page.locator('.card.has-moved h2 a').first().click();
    await has('.moved');
    await page.locator('.walk a[href="/findings"]').click();
    await has('.cards');
    const still = await page.locator('.card', { has: page.locator(`a[href="${link}"]`) }).locator('.moved').count();
    await page.evaluate(async (id) => {
      const { change_token } = await (await fetch('/api/session')).json();
      const headers = { 'Content-Type': 'application/json', 'Backeddy-Change-Token': change_token };
      await fetch('/api/entries', { method: 'POST', headers, body: JSON.stringify({ entries: [{ act: 'undo', content: { entry: id }, reason: '' }] }) });
    }, ids[0]);
    await answered();
    return still === 0;
  });

  // ------------------------------------------------------------ the peak's window
  const fish = study.results.fish.find((each) => each.metrics.peaks.some((peak) => peak.curve.filter((point) => point.reason === '').length > 2));
  if (fish) {
    await goTo(page, `/fish/${encodeURIComponent(fish.id)}`);
    await page.locator('section[aria-label=Peak]').scrollIntoViewIfNeeded();
    await must('the handle does not move by key', async () => {
      const slider = page.locator('.peak-window input[type=range]').first();
      await slider.focus();
      const before = await text('.at-window strong');
      if (!(await text('.at-window')).includes('the brief’s window')) return false;
      await press('ArrowRight');
      const after = await text('.at-window strong');
      return before !== after && (await text('.at-window')).includes('of the brief');
    });
    await picture(page, 'fish-window-laptop');
    await axeOf(page, fault);
    await must('it is not dragged on the figure', async () => {
      const box = await page.locator('.peak-window svg.drawn').first().boundingBox();
      const before = await text('.at-window strong');
      await page.mouse.click(box.x + box.width * 0.9, box.y + box.height / 2);
      return (await text('.at-window strong')) !== before;
    });
    await must('the road to the brief does not end at the window', async () => {
      await page.locator('.window-acts a').first().click();
      await has('.editor textarea');
      await page.waitForTimeout(400);
      const at = await page.locator('.editor textarea').evaluate((node) => node.value.slice(node.selectionStart, node.selectionEnd));
      return /window_s|^\[peak\]/.test(at) || (await text('main')).includes('peak.window_s');
    });
  }
  await context.close();

  // ------------------------------------------------------------ a stay split where something happened
  const split = await open('split');
  await splitJob({ ...split, goTo, axeOf, fits, picture, sizes }, study);
  await split.context.close();

  // ------------------------------------------------------------ every size, and whoever may not keep
  for (const [who, size, session] of [['laptop', sizes.laptop, null], ['tablet', sizes.tablet, null], ['phone', sizes.phone, null], ['viewer', sizes.phone, { name: 'B. Tide', role: 'viewer' }]]) {
    const small = await open(`ask, ${who}`, { viewport: size, hasTouch: who !== 'laptop' }, {
      prepare: async (each) => {
        if (session) await each.route('**/api/session', async (route) => route.fulfill({ status: 200, contentType: 'application/json', body: JSON.stringify({ ...(await (await route.fetch()).json()), ...session }) }));
      },
    });
    await goTo(small.page, '/ask');
    await small.page.locator('.ask-form input[name=outcome]').fill('peak_after_capture');
    await small.page.locator('.ask-form input[name=compare]').fill('rig');
    await small.page.locator('.ask-form input[name=adjust_for]').fill('log(mass_g)');
    await small.page.locator('.ask-form input[name=adjust_for]').press('Enter');
    await small.page.locator('.ask-answer .answer').waitFor({ timeout: 60000 }).catch(() => small.fault('no answer'));
    await settled(small.page);
    await fits(small.page, small.fault);
    await axeOf(small.page, small.fault);
    await small.page.evaluate(() => scrollTo(0, 0));
    await picture(small.page, `ask-${who}`);
    const targets = await small.page.evaluate(() => [...document.querySelectorAll('.ask-form :is(input:not([type=checkbox]), select, button, summary)')].filter((each) => each.offsetParent !== null && each.getBoundingClientRect().height < 43.5).map((each) => each.name || each.textContent));
    if (targets.length > 0) small.fault(`under 44 px: ${targets.join(', ')}`);
    if (session && !(await small.page.locator('.ask-keep button.main').isDisabled())) small.fault('a viewer may keep a question');
    await small.context.close();
  }
}

/** Cut at the moment a spell was sealed: another stay begins there, rows go with it, and undo puts all of it back. */
async function splitJob({ page, fault, goTo, axeOf, fits, picture, sizes }, study) {
  const must = async (what, claim) => {
    try {
      if ((await claim()) === false) fault(what);
    } catch (error) {
      fault(`${what} (${String(error).split('\n')[0]})`);
    }
  };
  const asked = (path) => page.evaluate(async (from) => (await fetch(from)).json(), path);
  const staysNow = async () => (await asked('/api/tables/stays')).rows.map((row) => row.cells.join());
  /** The answer has looked at all that was written. */
  const answered = () => until(page, async () => {
    const { entries } = await asked('/api/entries');
    const state = await asked('/api/state');
    return state.phase === 'ready' && state.entries === entries.length;
  });
  const written = () => page.waitForResponse((answer) => answer.url().endsWith('/api/entries') && answer.request().method() === 'POST', { timeout: 20000 });
  const { stays } = study.results.fish.find((fish) => fish.stays.some((stay) => stay.id === study.stay)) ?? { stays: [] };
  const stay = stays.find((each) => each.id === study.stay);
  if (!stay) return;
  const middle = stay.spells.number[Math.floor(stay.spells.number.length / 2)];
  await goTo(page, `/traces/${encodeURIComponent(stay.id)}/${middle}`);
  const before = await staysNow();
  await answered();
  await must('the key does not open the form', async () => {
    await page.locator('.judge').waitFor();
    await page.keyboard.press('y');
    await page.locator('.split-form input[name=moment]').waitFor();
  });
  await must('a moment outside the stay is no fault at its field', async () => {
    const moment = page.locator('.split-form input[name=moment]');
    const was = await moment.inputValue();
    await moment.fill('2001-01-01T00:00:00Z');
    await page.locator('.split-form [role=alert]', { hasText: 'no stretch' }).waitFor({ timeout: 8000 });
    await moment.fill(was);
  });
  await must('a split without a reason is written', async () => {
    await page.getByRole('button', { name: 'Split it' }).click();
    await page.locator('.split-form [role=alert]', { hasText: 'Say what happened' }).waitFor({ timeout: 8000 });
    return (await staysNow()).length === before.length;
  });
  await picture(page, 'split-laptop');
  await axeOf(page, fault);
  await page.setViewportSize(sizes.phone);
  await fits(page, fault);
  await axeOf(page, fault);
  await page.setViewportSize(sizes.laptop);
  await must('the stay is not split', async () => {
    await page.locator('.split-form input[name=why]').fill('the lid came off');
    const isWritten = written();
    await page.locator('.split-form input[name=why]').press('Enter');
    await isWritten;
    await page.waitForFunction(() => !document.querySelector('.split-form'), undefined, { timeout: 20000 });
    await answered();
    const now = await asked('/api/results');
    const own = now.fish.flatMap((fish) => fish.stays).filter((each) => each.id === stay.id || each.id === `${stay.id}-2`);
    return own.length === 2 && own[0].to === own[1].from && (await staysNow()).length === before.length + 1;
  });
  await picture(page, 'split-done-laptop');
  await must('one undo does not put it together again', async () => {
    const isWritten = written();
    await page.keyboard.press('Control+z');
    await isWritten;
    await answered();
    return JSON.stringify(await staysNow()) === JSON.stringify(before);
  });
}
