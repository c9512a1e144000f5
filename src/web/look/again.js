// On the page that stands in for another one: goes to that one as soon as the machine
// answers again.
"use strict";
(() => {
  const EVERY_MS = 3000;
  let wait = 0;
  const look = async () => {
    clearTimeout(wait);
    try {
      const answer = await fetch("/app.webmanifest", { cache: "no-store" });
      if (answer.ok) return location.reload();
    } catch { /* it does not answer yet */ }
    wait = setTimeout(look, EVERY_MS);
  };
  // This very address, where somebody came to it.
  if (location.pathname === "/unreachable") return;
  addEventListener("online", look);
  wait = setTimeout(look, EVERY_MS);
})();
