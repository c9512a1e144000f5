// Asks every few seconds whether anything was logged, and puts the new page in
// the place of the old one. What somebody typed, opened or looks at stays.
"use strict";
(() => {
  const EVERY_MS = 5000;
  const main = () => document.getElementById("main");
  const shown = () => document.getElementById("day");

  const state = () => ({
    typed: [...main().querySelectorAll("textarea[id], input[id]")]
      .filter((one) => one.value !== one.defaultValue)
      .map((one) => [one.id, one.value]),
    open: [...main().querySelectorAll("details[id][open]")].map((one) => one.id),
    focus: document.activeElement && document.activeElement.id,
    from: document.activeElement && document.activeElement.selectionStart,
    to: document.activeElement && document.activeElement.selectionEnd,
    x: scrollX,
    y: scrollY,
  });

  const restore = (was) => {
    for (const [id, value] of was.typed) {
      const one = document.getElementById(id);
      if (one) one.value = value;
    }
    for (const id of was.open) {
      const one = document.getElementById(id);
      if (one) one.open = true;
    }
    const one = was.focus && document.getElementById(was.focus);
    if (one) {
      one.focus({ preventScroll: true });
      if (typeof was.from === "number" && one.tagName === "TEXTAREA") {
        one.setSelectionRange(was.from, was.to);
      }
    }
    scrollTo(was.x, was.y);
  };

  const isBusy = () => [...document.querySelectorAll("audio")].some((one) => !one.paused);
  // What has focus without a name could not be found again.
  const hasNoName = () => {
    const one = document.activeElement;
    return Boolean(one && main().contains(one) && one !== main() && !one.id);
  };

  const look = async () => {
    if (document.hidden || isBusy() || hasNoName()) return true;
    const answer = await fetch(location.href, {
      headers: { "If-None-Match": `"${shown().dataset.tag}"`, Accept: "text/html" },
      cache: "no-store",
    });
    if (answer.status === 304 || answer.status === 429 || answer.status === 503) return true;
    if (!answer.ok || answer.redirected) return false;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.getElementById("main");
    if (!fresh || !page.getElementById("day")) return false;
    // Somebody may have begun meanwhile.
    if (isBusy() || hasNoName()) return true;
    const was = state();
    main().replaceWith(document.adoptNode(fresh));
    restore(was);
    return true;
  };

  const again = async () => {
    let on = true;
    try {
      on = await look();
    } catch {
      // The daemon is away for a moment, or the network.
    }
    if (on) setTimeout(again, EVERY_MS);
  };
  setTimeout(again, EVERY_MS);
})();
