// What the scripts beside it share: a real Chromium, what is looked at on every
// page, going by keys alone. Asked as JSON on standard input, told as JSON on
// standard output.
import { createRequire } from 'node:module';
import { mkdirSync, readFileSync } from 'node:fs';

export const require = createRequire(`${process.env.CHALKHAND_OUTSIDE}/package.json`);
export const { chromium } = require('playwright-core');
const axe = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');

export const asked = JSON.parse(readFileSync(0, 'utf8'));
export const told = { violations: [], errors: [], outside: [], wide: [], notes: {} };
export const looks = {
  desktop: { viewport: { width: 1280, height: 900 } },
  phone: { viewport: { width: 390, height: 844 }, hasTouch: true },
  narrow: { viewport: { width: 320, height: 640 } },
  dark: { viewport: { width: 390, height: 844 }, colorScheme: 'dark' },
  forced: { viewport: { width: 1280, height: 900 }, forcedColors: 'active' },
};
export const how = {
  executablePath: asked.chromium,
  // The test is the only user of this machine's sandbox.
  args: ['--no-sandbox', '--disable-dev-shm-usage', ...(asked.args ?? [])],
};

export function watch(page, name) {
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

export async function look(page, name) {
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
export async function check(page, name) {
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
export async function fits(page, name) {
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

export const key = async (page, ...keys) => {
  for (const one of keys) await page.keyboard.press(one);
};

// Goes to a control that says this, by Tab alone, and sees that it shows where it is.
export async function tabTo(page, words, by = 'Tab') {
  const passed = [];
  for (let n = 0; n < 200; n += 1) {
    await page.keyboard.press(by);
    const at = await page.evaluate(() => {
      const one = document.activeElement;
      if (!one || one === document.body) return null;
      const labels = [...(one.labels ?? [])].map((label) => label.textContent.trim());
      const { outlineStyle } = getComputedStyle(one);
      return { says: [one.getAttribute('aria-label'), ...labels, one.textContent.trim()], outlineStyle };
    });
    passed.push(at?.says.find(Boolean));
    if (!at?.says.some((says) => says?.startsWith(words))) continue;
    if (at.outlineStyle === 'none') throw new Error(`"${words}" does not show that it has the focus`);
    return;
  }
  throw new Error(`no "${words}" among ${JSON.stringify(passed)}`);
}

export const tell = () => console.log(JSON.stringify(told));
