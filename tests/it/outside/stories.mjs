// People at their work in a real Chromium, from the sign-in to what they came for:
// by what a page shows, never by an address that they would have to know. Asked as
// JSON on standard input, told as JSON on standard output.
import { asked, check, chromium, fits, how, key, look, looks, tabTo, tell, told, watch } from './chromium.mjs';

const browser = await chromium.launch(how);
const start = `${asked.base}/`;
const notes = told.notes;

async function open(name, options) {
  const context = await browser.newContext(options);
  const page = await context.newPage();
  watch(page, name);
  return page;
}

async function seen(page, name) {
  await fits(page, name);
  await check(page, name);
  await look(page, name);
}

// As the README shows it, from there down.
async function picture(page, name, from, height) {
  if (!asked.shots) return;
  await page.evaluate(() => document.activeElement.blur());
  const { y } = await page.locator(from).first().boundingBox();
  const top = Math.max(0, y + (await page.evaluate(() => scrollY)) - 16);
  const clip = { x: 0, y: top, width: page.viewportSize().width, height };
  await page.screenshot({ path: `${asked.shots}/picture-${name}.png`, fullPage: true, clip });
}

const link = (page, name) => page.getByRole('link', { name, exact: true });
const button = (page, name) => page.getByRole('button', { name });

// Whoever holds a link with a code gives a name and chooses a passphrase.
async function join(page, address, name) {
  await page.goto(address);
  await page.getByLabel('Name', { exact: true }).fill(name);
  await page.getByLabel('Passphrase or PIN').fill(asked.passphrases[name]);
  await button(page, /^Make the/).click();
  await page.waitForURL(start);
}

// The office makes the first sign-in and invites one person a role.
async function office() {
  const page = await open('office', looks.desktop);
  await join(page, asked.first, 'Office Example');
  return page;
}
async function invitation(page, role) {
  await link(page, 'People').click();
  await page.getByRole('checkbox', { name: role, exact: true }).check();
  await button(page, 'Make an invitation').click();
  const code = (await page.locator('p.code').textContent()).split(': ')[1].trim();
  return `${asked.base}/join?code=${code}`;
}

// Signs in by name and passphrase, from the address of the machine alone.
async function signIn(page, name) {
  await page.goto(asked.base);
  await tabTo(page, 'Name');
  await page.keyboard.type(name);
  await tabTo(page, 'Passphrase or PIN');
  await page.keyboard.type(asked.passphrases[name]);
  await key(page, 'Enter');
  await page.waitForURL(start);
}

// What the roof screen asks, and an answer to it by touch.
const asks = (page, words) =>
  page.waitForFunction((wanted) => document.querySelector('#question')?.textContent.includes(wanted), words);
const touch = (page, name) => button(page.locator('#question'), name).first().tap();

// A fresh data folder: the first sign-in, the invented example, its first question.
async function first() {
  const page = await office();
  await seen(page, 'first-start');
  await button(page, 'Open the invented example').click();
  await link(page, 'EX-0001').click();
  notes.invented = await page.locator('.invented').textContent();
  await page.getByRole('link', { name: /^Walk it Deck-mounted/ }).click();
  await asks(page, 'Instructions');
}

// A foreman's evening, by keys alone; the installer's phone beside it.
async function evening() {
  const desktop = await office();
  const phone = await open('installer', { ...looks.phone, deviceScaleFactor: 2 });
  await join(phone, await invitation(desktop, 'installer'), 'Installer Example');
  const invited = await open('invited', looks.phone);
  await join(invited, await invitation(desktop, 'foreman'), 'Foreman Example');
  await invited.context().close();

  await link(phone, 'EX-0001').tap();
  await phone.getByRole('link', { name: /^Walk it Deck-mounted/ }).tap();
  await asks(phone, 'Where does the start fall');
  await touch(phone, 'at a joint');
  await asks(phone, 'Is this right');
  await touch(phone, /^yes/i);
  await asks(phone, 'Off target');
  await seen(phone, 'evening-off-target');
  await touch(phone, /log it/i);
  await phone.locator('#value').fill('two old shingles are narrow here');
  await touch(phone, 'Enter it');
  await asks(phone, 'two old shingles');
  await touch(phone, /^yes/i);
  await asks(phone, 'Hold point: work stops');
  await seen(phone, 'evening-held');
  await phone.evaluate(() => { window.sameDocument = true; });

  const page = await open('foreman', looks.desktop);
  await signIn(page, 'Foreman Example');
  await tabTo(page, 'Day log');
  await key(page, 'Enter');
  await page.waitForSelector('#day');
  notes.order = await page.locator('#day h2').allTextContents();
  notes.needs = await page.locator('section.needs').allTextContents();
  await look(page, 'evening-day');
  await picture(page, 'day', 'nav', 900);
  // From the line to the entry that shows it.
  await tabTo(page, 'Entry ');
  await key(page, 'Enter');
  await page.waitForURL((url) => url.hash.startsWith('#e'));
  notes.entry = await page.locator('.entries > li:target').textContent();
  await tabTo(page, 'Release “Run 1: Nail line', 'Shift+Tab');
  await key(page, 'Enter');
  await tabTo(page, 'I have looked');
  await seen(page, 'evening-release');
  await key(page, 'Enter');
  // The roof goes on by itself.
  await asks(phone, 'Snap the nail line');
  notes.live = await phone.evaluate(() => window.sameDocument === true);
  await page.waitForFunction(() => !document.querySelector('form[action="/day/release"]'));
  await tabTo(page, 'Accept entry');
  await key(page, 'Enter');
  await tabTo(page, 'Why it may stay');
  await page.keyboard.type('held back by a hand, the joint is covered');
  await seen(page, 'evening-accept');
  await tabTo(page, 'Accept entry');
  await key(page, 'Enter');
  await page.waitForFunction(() => !document.querySelector('form[action="/day/accept"]'));
  notes.after = await page.locator('section.needs').allTextContents();
  await look(page, 'evening-after');
  await page.pdf({ path: asked.paper, format: 'Letter' });

  // The installer goes on, and loses the connection for a while.
  await seen(phone, 'evening-nail-line');
  await picture(phone, 'roof', 'nav', 1140);
  const before = told.errors.length;
  await phone.context().setOffline(true);
  await touch(phone, '4');
  await touch(phone, '1/2');
  await touch(phone, 'Enter it');
  await phone.waitForFunction(() => document.getElementById('link').textContent.includes('Not logged yet'));
  notes.offline = await phone.textContent('#link');
  await seen(phone, 'evening-offline');
  await phone.context().setOffline(false);
  await asks(phone, 'Is this right');
  await touch(phone, /^yes/i);
  await asks(phone, 'Nails clear of a tuck');
  // The screen comes first, then that the log has the answer.
  await phone.waitForFunction(() => document.getElementById('link').textContent === '');
  notes.online = await phone.textContent('#link');
  // The browser complains of every try without a connection.
  const own = told.errors.splice(before);
  told.errors.push(...own.filter((error) => !error.includes('ERR_INTERNET_DISCONNECTED')));
}

// A leak call at the desk, by the mouse.
async function call() {
  const desktop = await office();
  const invited = await open('invited', looks.desktop);
  await join(invited, await invitation(desktop, 'desk'), 'Desk Example');
  await invited.context().close();
  const page = await open('desk', { ...looks.desktop, acceptDownloads: true });
  await signIn(page, 'Desk Example');
  await link(page, 'Leak calls').click();

  // One field, part of a number: found as it is typed.
  const field = page.getByRole('searchbox');
  const found = (words) => page.waitForFunction(
    (wanted) => document.querySelector('#results h2').textContent === wanted, words);
  await field.pressSequentially('555-01');
  await found('2 jobs');
  await field.pressSequentially('00');
  await found('1 job');
  notes.typed = page.url().replace(asked.base, '');
  await seen(page, 'call-found');
  await page.locator('#results').getByRole('link').click();

  // Where the caller says, on the drawing; what lies there and why comes first.
  await page.getByLabel('Where water came in').first().fill('kitchen ceiling');
  await button(page, 'Show what lies there').click();
  await link(page, 'Choose on the drawing').click();
  await page.locator('svg.parts a[aria-label="run 1"]').first().locator('polygon').click();
  await page.waitForURL((url) => url.hash === '#first');
  notes.steps = await page.locator('ul.steps').textContent();
  await seen(page, 'call-place');
  await picture(page, 'desk', '#drawing', 900);
  notes.deviations = await page.locator('h3:has-text("Deviations") ~ ul').first().textContent();
  notes.filled = await page.locator('form[action="/desk/open"]').evaluate(
    (form) => Object.fromEntries(['water', 'plane', 'run'].map((name) => [name, form.elements[name].value])));
  await page.getByLabel('Who called').fill('Owner Example');
  await button(page, 'Take the call down').click();
  await page.getByRole('heading', { name: 'What to look at first, call 1' }).waitFor();

  await page.locator('summary', { hasText: 'Plan the visit of call 1' }).click();
  await seen(page, 'call-plan');
  await button(page, /^Put the visit of call 1/).click();
  const planned = page.getByRole('link', { name: /^Visit planned for/ });
  notes.planned = await planned.textContent();
  await seen(page, 'call-planned');

  // What goes to the owner and the installer.
  for (const [name, path] of Object.entries(asked.files)) {
    const [file] = await Promise.all([page.waitForEvent('download'), link(page, name).click()]);
    notes[name] = file.suggestedFilename();
    await file.saveAs(path);
  }
  await link(page, 'Leak calls').click();
  notes.listed = await page.locator('#results').textContent();
  await page.locator('#results').getByRole('link').click();
  notes.call = await page.locator('h2#first').textContent();
}

// The pages put among the apps of a phone; the machine cannot be reached for a while.
async function installed() {
  await browser.close();
  const own = { ...how, ...looks.phone, locale: asked.locale };
  const context = await chromium.launchPersistentContext(asked.folder, own);
  const [page] = context.pages();
  watch(page, 'installed');
  await page.goto(asked.first);
  await page.getByRole('textbox', { name: /^(Name|Nombre)$/ }).fill('Installer Example');
  await page.locator('#passphrase').fill(asked.passphrases['Installer Example']);
  await page.locator('main button').tap();
  await page.waitForURL(start);
  await page.waitForFunction(() => navigator.serviceWorker.controller !== null);
  const session = await context.newCDPSession(page);
  const manifest = await session.send('Page.getAppManifest');
  notes.manifest = { errors: manifest.errors, url: manifest.url, ...JSON.parse(manifest.data) };
  notes.hindrances = (await session.send('Page.getInstallabilityErrors')).installabilityErrors;
  notes.icons = await page.evaluate((icons) => Promise.all(icons.map(async ({ src }) => {
    const picture = new Image();
    picture.src = src;
    await picture.decode();
    return `${picture.naturalWidth}`;
  })), notes.manifest.icons);

  await link(page, 'SW-1').tap();
  await page.getByRole('link', { name: /A short walk$/ }).tap();
  await page.waitForSelector('#roof[data-shots]');
  const question = await page.textContent('#question h1');
  const before = told.errors.length;
  // A connection that is gone: the answer waits, and the page is loaded again.
  await context.setOffline(true);
  await page.locator('button[name=meaning][value=photo-taken]').tap();
  await page.waitForFunction(() => document.getElementById('link').textContent !== '');
  await page.reload();
  notes.unreachable = await page.textContent('main');
  notes.language = await page.evaluate(() => document.documentElement.lang);
  await seen(page, 'installed-unreachable');
  await context.setOffline(false);
  await page.waitForSelector('#roof[data-shots]');
  // The page may be just coming back.
  await page.waitForFunction(() => document.getElementById('link')?.textContent === '');
  notes.question = [question, await page.textContent('#question h1')];
  notes.kept = await page.evaluate(async () => {
    const all = [];
    for (const name of await caches.keys()) {
      for (const { url } of await (await caches.open(name)).keys()) all.push(url.replace(location.origin, ''));
    }
    return all;
  });
  const complaints = told.errors.splice(before);
  told.errors.push(...complaints.filter((error) => !error.includes('ERR_INTERNET_DISCONNECTED')));

  // A link on a page of somebody else still brings nobody in as signed in.
  const other = await context.newPage();
  await other.goto(asked.base.replace('127.0.0.1', 'localhost') + '/trust');
  await other.evaluate((to) => { location.href = to; }, `${asked.base}/you`);
  await other.waitForURL(/sign-in/);
  await context.close();
}

await { first, evening, call, installed }[asked.story]();
await browser.close();
tell();
