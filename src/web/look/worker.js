// Stands in where a page cannot be reached, and says so. It keeps the look's files and
// that one page; no page of a job, no answer and no photo ever goes through its store.
"use strict";
const KEPT = "chalkhand VERSION LANGUAGE";
const PAGE = "/unreachable?language=LANGUAGE";
const FILES = ["FILES"];

addEventListener("install", (event) => {
  const keep = async () => (await caches.open(KEPT)).addAll([PAGE, ...FILES]);
  event.waitUntil(keep().then(() => skipWaiting()));
});

addEventListener("activate", (event) => {
  const begin = async () => {
    for (const name of await caches.keys()) if (name !== KEPT) await caches.delete(name);
    // The browser itself goes on asking for pages, and need not wait for this.
    if (registration.navigationPreload) await registration.navigationPreload.enable();
    await clients.claim();
  };
  event.waitUntil(begin());
});

async function page(event) {
  try {
    return (await event.preloadResponse) ?? (await fetch(event.request));
  } catch {
    return (await caches.match(PAGE)) ?? Response.error();
  }
}

addEventListener("fetch", (event) => {
  const { request } = event;
  // A form that is sent goes by the browser alone: it says itself that it was not.
  if (request.method !== "GET") return;
  if (request.mode === "navigate") event.respondWith(page(event));
  else if (FILES.includes(new URL(request.url).pathname)) {
    event.respondWith(caches.match(request).then((kept) => kept ?? fetch(request)));
  }
});
