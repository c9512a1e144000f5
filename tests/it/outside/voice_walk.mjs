// A walk by voice in a real Chromium: the page's own microphone and loudspeaker,
// with recordings played into the microphone when somebody would speak. Asked as
// JSON on standard input, told as JSON on standard output.
import { createRequire } from 'node:module';
import { mkdirSync, readFileSync } from 'node:fs';

const require = createRequire(`${process.env.CHALKHAND_OUTSIDE}/package.json`);
const { chromium } = require('playwright-core');
const asked = JSON.parse(readFileSync(0, 'utf8'));
const told = { errors: [], asked: [], said: [], states: [], late_ms: [] };

const browser = await chromium.launch({
  executablePath: asked.chromium,
  args: ['--no-sandbox', '--disable-dev-shm-usage', '--autoplay-policy=no-user-gesture-required',
    '--use-fake-ui-for-media-stream', '--use-fake-device-for-media-stream'],
});
const context = await browser.newContext({
  viewport: { width: 390, height: 844 }, hasTouch: true, permissions: ['microphone'],
});
const [name, value] = asked.cookie.split('=');
await context.addCookies([{ name, value, url: asked.base }]);
const page = await context.newPage();
page.on('pageerror', (error) => told.errors.push(String(error)));
page.on('console', (message) => {
  if (message.type() === 'error') told.errors.push(message.text());
});
// When it began to speak last, and when it will have said all.
let spokenAt = 0, spokenUntil = 0;
page.on('websocket', (socket) => socket.on('framereceived', ({ payload }) => {
  if (typeof payload === 'string') return;
  if (spokenUntil < Date.now()) spokenAt = Date.now();
  const length_ms = (payload.length - 8) / 2 / payload.readUInt32LE(4) * 1000;
  spokenUntil = Math.max(spokenUntil, Date.now()) + length_ms;
}));

const shot = async (called) => {
  if (!asked.shots) return;
  mkdirSync(asked.shots, { recursive: true });
  await page.screenshot({ path: `${asked.shots}/${called}.png` });
};

// The browser's fake microphone beeps; with recordings it says what is played to it.
if (asked.recorded) {
  await page.addInitScript(() => {
    const whole = { context: null, out: null };
    navigator.mediaDevices.getUserMedia = async () => {
      whole.context = new AudioContext();
      whole.out = whole.context.createMediaStreamDestination();
      return whole.out.stream;
    };
    window.sayIt = (samples, rate_hz) => new Promise((said) => {
      const buffer = whole.context.createBuffer(1, samples.length, rate_hz);
      buffer.copyToChannel(Float32Array.from(samples), 0);
      const source = whole.context.createBufferSource();
      source.buffer = buffer;
      source.connect(whole.out);
      source.onended = () => said(Date.now());
      source.start();
    });
  });
}

function samples(path) {
  const wav = readFileSync(path);
  const rate_hz = wav.readUInt32LE(24), from = wav.indexOf('data') + 8;
  const all = [];
  for (let at = from; at + 1 < wav.length; at += 2) all.push(wav.readInt16LE(at) / 32768);
  return [all, rate_hz];
}
const wait = (ms) => new Promise((done) => setTimeout(done, ms));
const text = (selector) => page.evaluate((one) => document.querySelector(one)?.textContent ?? '', selector);
const question = () => page.evaluate(() => document.getElementById('question').dataset.question);
// How it stands: whether it is asked the same, with as many photos to take.
const stands = async () => `${await question()} ${await text('#question')}`;

// Listens out, as whoever is spoken to does.
async function quiet() {
  while (Date.now() < spokenUntil + 500) await wait(50);
}
async function say(words) {
  const [all, rate_hz] = samples(asked.recorded[words]);
  told.said.push(words);
  return page.evaluate(([all, rate_hz]) => window.sayIt(all, rate_hz), [all, rate_hz]);
}

await page.goto(asked.base + asked.path);
await page.waitForSelector('#voice:not([hidden])');
await shot('voice-off');
await page.getByRole('button', { name: asked.button }).click();

if (!asked.recorded) {
  // The browser's own microphone: it is heard, and the check asks for quiet.
  await page.waitForFunction(() => document.querySelector('#ear .read'), null, { timeout: 60000 });
  await page.waitForFunction(() => document.getElementById('level').value > 5, null, { timeout: 20000 });
  told.states.push(await text('#ear'));
  await page.getByRole('button', { name: asked.off }).click();
  await page.waitForFunction(() => !document.querySelector('#ear p'), null, { timeout: 20000 });
} else {
  // The hearing check: each phrase is read when it is asked for.
  let read = '';
  const begun = Date.now();
  while (!(await text('#ear')).startsWith('Listening')) {
    if (Date.now() - begun > 180000) throw new Error(`no end of the check: ${await text('#ear')}`);
    const line = await text('#ear .read');
    const words = Object.keys(asked.recorded).find((words) => line.includes(words));
    if (words && line !== read) {
      read = line;
      await shot(`check-${told.said.length}`);
      await wait(300);
      await quiet();
      await say(words);
    }
    await wait(50);
  }
  await shot('voice-listening');
  for (const words of asked.answers) {
    const before = await stands();
    let tries = 0;
    while (await stands() === before) {
      tries += 1;
      if (tries > 4) throw new Error(`"${words}" is not taken: ${await text('#ear')} ${before}`);
      await quiet();
      const ended = await say(words);
      for (let n = 0; n < 160 && await stands() === before; n += 1) await wait(50);
      if (spokenAt > ended) told.late_ms.push(spokenAt - ended);
    }
    await shot(`after-${told.said.length}`);
    told.asked.push(await text('#question h1'));
  }
}
await browser.close();
console.log(JSON.stringify(told));
