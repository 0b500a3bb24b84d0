/** Asks again and again until the claim, which may have to wait for an answer itself, holds. (A page's own waitForFunction
    takes a promise for a yes.) */
export async function until(page, claim, timeout = 240000) {
  for (const end = Date.now() + timeout; Date.now() < end; ) {
    if (await claim()) return;
    await page.waitForTimeout(300);
  }
  throw new Error(`not so after ${timeout} ms`);
}
