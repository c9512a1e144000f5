// Drives a real Chromium through the pages and tells what it found. Asked as
// JSON on standard input, told as JSON on standard output.
import { asked, check, chromium, fits, how, key, look, looks, tell, told, watch } from './chromium.mjs';

const browser = await chromium.launch(how);

// The first sign-in, by keyboard alone.
async function firstSignIn() {
  const context = await browser.newContext(looks.desktop);
  const page = await context.newPage();
  watch(page, 'first sign-in');
  await page.goto(asked.first);
  await check(page, 'first sign-in');
  await look(page, 'first-sign-in');
  await page.evaluate(() => document.body.focus());
  const visited = [];
  for (let n = 0; n < 12; n += 1) {
    await key(page, 'Tab');
    const id = await page.evaluate(() => document.activeElement?.id || document.activeElement?.tagName);
    visited.push(id);
    if (id === 'name') await page.keyboard.type('Office Example');
    if (id === 'passphrase') await page.keyboard.type('ladder first');
    if (id === 'device') await page.keyboard.type('test browser');
    if (id === 'BUTTON') break;
  }
  told.notes.tabbed = visited;
  await key(page, 'Enter');
  await page.waitForURL(`${asked.base}/`);
  return context.storageState();
}

const state = asked.state ?? await firstSignIn();
for (const [name, options] of Object.entries(looks)) {
  const context = await browser.newContext({ ...options, storageState: state });
  for (const path of asked.pages) {
    const page = await context.newPage();
    const called = `${path.replaceAll('/', '-').replace(/^-$/, '-start').slice(1)}-${name}`;
    watch(page, called);
    await page.goto(asked.base + path);
    await fits(page, called);
    await check(page, called);
    await look(page, called);
    await page.close();
  }
  await context.close();
}
// A link in a picture, by its name: clicked where it is drawn, and by keyboard.
if (asked.pointed) {
  const { path, name } = asked.pointed;
  told.notes.pointed = [];
  for (const [kind, options] of [['phone', looks.phone], ['desktop', looks.desktop]]) {
    const context = await browser.newContext({ ...options, storageState: state });
    const page = await context.newPage();
    watch(page, `pointed-${kind}`);
    await page.goto(asked.base + path);
    const link = page.locator(`svg a[aria-label="${name}"]`).first();
    if (kind === 'phone') await link.locator('polygon').tap();
    else { await link.focus(); await key(page, 'Enter'); }
    await page.waitForURL((url) => url.hash !== '');
    told.notes.pointed.push(page.url().replace(asked.base, ''));
    await check(page, `pointed-${kind}`);
    await look(page, `pointed-${kind}`);
    await context.close();
  }
}
await browser.close();
tell();
