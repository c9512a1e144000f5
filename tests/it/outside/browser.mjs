// Drives a real Chromium through the pages and tells what it found. Asked as
// JSON on standard input, told as JSON on standard output.
import { createRequire } from 'node:module';
import { mkdirSync, readFileSync } from 'node:fs';

const folder = process.env.CHALKHAND_OUTSIDE;
const require = createRequire(`${folder}/package.json`);
const { chromium } = require('playwright-core');
const axe = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');

const asked = JSON.parse(readFileSync(0, 'utf8'));
const told = { violations: [], errors: [], outside: [], wide: [], notes: {} };
const looks = {
  desktop: { viewport: { width: 1280, height: 900 } },
  phone: { viewport: { width: 390, height: 844 }, hasTouch: true },
  narrow: { viewport: { width: 320, height: 640 } },
  dark: { viewport: { width: 390, height: 844 }, colorScheme: 'dark' },
  forced: { viewport: { width: 1280, height: 900 }, forcedColors: 'active' },
};

const browser = await chromium.launch({
  executablePath: asked.chromium,
  // The test is the only user of this machine's sandbox.
  args: ['--no-sandbox', '--disable-dev-shm-usage', ...(asked.args ?? [])],
});

function watch(page, name) {
  page.on('console', (message) => {
    if (message.type() === 'error') told.errors.push(`${name}: ${message.text()}`);
  });
  page.on('pageerror', (error) => told.errors.push(`${name}: ${error}`));
  page.on('request', (request) => {
    const url = request.url();
    if (!url.startsWith(asked.base) && !url.startsWith('data:') && !url.startsWith('blob:')) {
      told.outside.push(`${name}: ${url}`);
    }
  });
}

async function look(page, name) {
  if (asked.shots) {
    mkdirSync(asked.shots, { recursive: true });
    const { width } = page.viewportSize();
    const all = await page.evaluate(() => document.documentElement.scrollHeight);
    const clip = { x: 0, y: 0, width, height: Math.min(all, 8000) };
    await page.screenshot({ path: `${asked.shots}/${name}.png`, fullPage: true, clip });
  }
}

// WCAG 2.2 AA, as axe-core checks it. It is injected by the test, past the
// page's own policy.
async function check(page, name) {
  const session = await page.context().newCDPSession(page);
  await session.send('Page.setBypassCSP', { enabled: true });
  await page.evaluate(axe);
  const found = await page.evaluate(() =>
    window.axe.run(document, {
      runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'],
    }));
  for (const violation of found.violations) {
    const where = violation.nodes.slice(0, 3).map((node) => node.html).join(' | ');
    told.violations.push(`${name}: ${violation.id}: ${violation.help}: ${where}`);
  }
}

// Nothing may have to be scrolled sideways, with letters twice as large either.
async function fits(page, name) {
  for (const percent of [100, 200]) {
    const wide = await page.evaluate((size) => {
      document.documentElement.style.fontSize = `${size}%`;
      const { scrollWidth, clientWidth } = document.documentElement;
      document.documentElement.style.fontSize = '';
      return scrollWidth - clientWidth;
    }, percent);
    if (wide > 1) told.wide.push(`${name} at ${percent} %: ${wide} px`);
  }
}

const key = async (page, ...keys) => {
  for (const one of keys) await page.keyboard.press(one);
};

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
console.log(JSON.stringify(told));
