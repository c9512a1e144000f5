// Results as somebody types: the same page's own part. Without it Enter does.
"use strict";
(() => {
  const field = document.getElementById("q");
  const results = () => document.getElementById("results");
  if (!field || !results()) return;
  let asked = 0;
  let wait = 0;
  const look = async () => {
    const mine = ++asked;
    const to = new URL("/desk", location.href);
    to.searchParams.set("q", field.value);
    const answer = await fetch(to, { headers: { Accept: "text/html" } });
    if (!answer.ok || answer.redirected || mine !== asked) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.getElementById("results");
    if (!fresh || mine !== asked) return;
    results().replaceChildren(...document.adoptNode(fresh).childNodes);
    history.replaceState(null, "", to);
  };
  field.addEventListener("input", () => {
    clearTimeout(wait);
    wait = setTimeout(() => look().catch(() => {}), 150);
  });
})();
