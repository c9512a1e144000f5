// Has the worker stand in where a page cannot be reached. A browser that does not
// trust this machine's certificate has none, and everything else works.
"use strict";
(() => {
  if (!("serviceWorker" in navigator)) return;
  const worker = "/worker.js?language=" + document.documentElement.lang;
  addEventListener("load", () => navigator.serviceWorker.register(worker).catch(() => {}));
})();
