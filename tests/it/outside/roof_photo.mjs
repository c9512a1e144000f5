// Takes photos on the roof screen with a real Chromium: without a connection, with
// a reply that is lost, over a reload, without scripts. Asked as JSON on standard
// input, told as JSON on standard output.
import { asked, check, chromium, fits, how, look, looks, tell, told } from './chromium.mjs';

told.said = {};
const browser = await chromium.launch(how);
const { phone } = looks;

const context = await browser.newContext(phone);
const page = await context.newPage();
page.on('pageerror', (error) => told.errors.push(String(error)));
await page.goto(asked.first);
await page.fill('#name', 'Office Example');
await page.fill('#passphrase', 'ladder first');
await page.click('main button');
await page.waitForURL(`${asked.base}/`);

const roof = asked.base + asked.roof;
const said = async (name) => {
  told.said[name] = await page.textContent('#photos');
  await check(page, name);
  await fits(page, name);
  await look(page, `roof-photo-${name}`);
};
const says = (words) => page.waitForFunction(
  (wanted) => document.getElementById('photos').textContent.includes(wanted), words, { timeout: 30000 });
const photo = '#question form.shot input[type=file], #rest form.shot input[type=file]';
const take = async (file) => {
  const control = page.locator(photo).first();
  await control.setInputFiles(file);
};

// Taken without a connection: told, kept over a reload, sent when it is back.
await page.goto(roof);
await page.waitForSelector('#roof[data-shots]');
const upload = '**/photo';
await page.route(upload, (route) => route.abort('internetdisconnected'));
await take(asked.photos[0]);
await says('not sent yet');
await said('unsent');
await page.reload();
await says('not sent yet');
await said('reloaded');
await page.unroute(upload);
await page.evaluate(() => dispatchEvent(new Event('online')));
await says('Photo kept, entry');
await said('kept');
await page.waitForFunction(
  () => document.getElementById('question').textContent.includes('Photos wanted: 1'), null, { timeout: 30000 });

// The log has it and the reply is lost: sent again, it is one.
let lost = 0;
await page.route(upload, async (route) => {
  if (lost > 0) return route.continue();
  lost += 1;
  await route.fetch();
  return route.abort('connectionreset');
});
await take(asked.photos[1]);
await says('not sent yet');
await says('Photo kept, entry');
told.lost = lost;
await page.unroute(upload);
await page.waitForFunction(
  () => !document.getElementById('question').textContent.includes('Photos wanted'), null, { timeout: 30000 });

// What the program refuses stays here to be saved, or is thrown away.
await page.locator('#rest details:has(form.shot) summary').first().click();
await take(asked.photos[2]);
await says('Photo not kept');
await said('refused');
told.saved = await page.getAttribute('#photos a', 'download');
await page.click('#photos button');
await page.waitForFunction(() => document.getElementById('photos').hidden);
await page.reload();
await page.waitForSelector('#roof[data-shots]');
await page.waitForTimeout(500);
told.afterwards = await page.evaluate(() => document.getElementById('photos').hidden);

// Without scripts the form does it.
const plain = await browser.newContext({
  ...phone, javaScriptEnabled: false, storageState: await context.storageState(),
});
const still = await plain.newPage();
await still.goto(roof);
await still.locator('#rest details:has(form.shot) summary').first().click();
await still.locator(photo).first().setInputFiles(asked.photos[3]);
await still.locator('#rest form.shot button').click();
await still.waitForURL(roof);
await look(still, 'roof-photo-plain');
told.plain = await still.textContent('main');

await browser.close();
tell();
