// The roof screen while it is connected: what is asked comes by a socket, an
// answer is kept until the log has it. Without this script the forms do the same.
"use strict";
(() => {
  const roof = document.getElementById("roof");
  const link = document.getElementById("link");
  if (!roof || !("WebSocket" in window)) return;
  const kept = "chalkhand " + roof.dataset.who + " " + roof.dataset.live;
  const REPLY_MS = 20000, PING_MS = 8000, SILENT_MS = 18000;
  let socket = null, connected = false, opened = false, tries = 0, heardMs = 0, again = 0, lost = false;
  let pending = read(), sentMs = 0, refused = link.textContent.trim();
  const parts = new Map();

  // What was given and not yet answered by the log: one answer at most.
  function read() {
    try { return JSON.parse(localStorage.getItem(kept)); } catch { return null; }
  }
  function keep(answer) {
    pending = answer;
    try {
      if (answer) localStorage.setItem(kept, JSON.stringify(answer));
      else localStorage.removeItem(kept);
    } catch { /* a private window keeps it in memory */ }
  }
  function name() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  function tell() {
    const lines = [];
    if (refused) lines.push(refused);
    if (lost) lines.push(roof.dataset.lost);
    if (pending) {
      const words = connected && sentMs ? roof.dataset.sending : roof.dataset.unsent;
      lines.push(words.replace("{answer}", pending.label));
    }
    const now = lines.join("\n");
    if (link.dataset.now !== now) {
      link.dataset.now = now;
      link.replaceChildren(...lines.map((line) => {
        const p = document.createElement("p");
        p.textContent = line;
        if (line === refused) p.className = "wrong";
        return p;
      }));
    }
    const question = document.getElementById("question"), rest = document.getElementById("rest");
    for (const part of [question, rest]) part.setAttribute("aria-busy", String(Boolean(pending)));
  }

  // --- the connection --------------------------------------------------------
  function connect() {
    clearTimeout(again);
    if (socket) return;
    const address = new URL(roof.dataset.live, location.href);
    address.protocol = location.protocol === "https:" ? "wss:" : "ws:";
    const mine = socket = new WebSocket(address);
    mine.binaryType = "arraybuffer";
    heardMs = Date.now();
    mine.onopen = () => {
      if (mine !== socket) return;
      connected = opened = true; lost = false; tries = 0; heardMs = Date.now();
      sendPending();
      tell();
      roof.dispatchEvent(new Event("connected"));
    };
    mine.onmessage = (event) => {
      if (mine !== socket) return;
      if (typeof event.data === "string") heard(JSON.parse(event.data));
      else roof.dispatchEvent(new CustomEvent("speech", { detail: event.data }));
    };
    mine.onclose = () => { if (mine === socket) drop(); };
  }
  function drop() {
    const was = socket;
    socket = null; connected = false; sentMs = 0;
    if (was) { was.onclose = null; was.close(); }
    roof.dispatchEvent(new Event("dropped"));
    // A daemon that starts anew is back within a second: nothing is said of that.
    tries += 1;
    lost = lost || tries > 1 || !navigator.onLine;
    if (tries % 3 === 2 && navigator.onLine) signedOut();
    again = setTimeout(connect, Math.min(500 * 2 ** Math.min(tries - 1, 5), 15000) * (0.75 + Math.random() / 2));
    tell();
  }
  function signedOut() {
    fetch(roof.dataset.live, { headers: { Accept: "application/json" } }).then((answer) => {
      if (answer.status === 401 || answer.status === 403) { refused = roof.dataset.signedOut; tell(); }
    }, () => {});
  }
  setInterval(() => {
    if (!socket) return;
    const now = Date.now();
    if (now - heardMs > SILENT_MS || (sentMs && now - sentMs > REPLY_MS)) { lost = true; return drop(); }
    if (connected) socket.send('{"kind":"ping"}');
  }, PING_MS);
  addEventListener("offline", () => { lost = true; if (socket) drop(); else tell(); });
  addEventListener("online", () => { tries = 0; connect(); });
  addEventListener("pageshow", (event) => { if (event.persisted) { pending = read(); connect(); } });

  // What the headset sends goes as it is, or not at all.
  roof.addEventListener("send", (event) => { if (connected) socket.send(event.detail); });

  function sendPending() {
    if (!pending || !connected) return;
    const { id, question, meaning, value } = pending;
    socket.send(JSON.stringify({ kind: "answer", id, question, meaning, value }));
    sentMs = Date.now();
  }
  function heard(told) {
    heardMs = Date.now();
    roof.dispatchEvent(new CustomEvent("told", { detail: told }));
    if (told.kind === "shown") show(told.html);
    if (told.kind === "reply" && pending && told.id === pending.id) {
      sentMs = 0;
      if (told.unknown) {
        setTimeout(() => { sendPending(); tell(); }, 1500);
      } else {
        keep(null);
        refused = told.taken ? "" : told.sentence;
      }
      tell();
    }
  }

  // --- the page --------------------------------------------------------------
  function show(html) {
    const fresh = document.createElement("template");
    fresh.innerHTML = html;
    const focused = document.activeElement;
    const follows = roof.contains(focused) || focused === document.body;
    for (const part of fresh.content.querySelectorAll("[data-part]")) {
      const old = document.getElementById(part.id);
      const text = part.innerHTML;
      if (!old || parts.get(part.id) === text) continue;
      const asked = part.dataset.question;
      const isNew = asked !== undefined && asked !== old.dataset.question;
      // The same question loaded with the page stays as it is: somebody may be typing.
      const loaded = !parts.has(part.id);
      parts.set(part.id, text);
      if (asked !== undefined && !isNew && loaded) continue;
      if (asked !== undefined) old.dataset.question = asked;
      old.replaceChildren(...part.childNodes);
      if (part.id === "question") {
        pads();
        if (isNew) {
          scrollTo(0, 0);
          const heading = old.querySelector("h1");
          if (heading && follows) heading.focus({ preventScroll: true });
          if (heading) document.title = heading.textContent + " · chalkhand";
        }
      }
    }
    tell();
  }

  roof.addEventListener("submit", (event) => {
    const form = event.target, button = event.submitter;
    // A socket that never opened is no way: the form goes as a form.
    if (!form.classList.contains("answer") || !opened) return;
    event.preventDefault();
    if (pending) return;
    const given = (button || form.querySelector("button[name=meaning]")).value;
    const [meaning, place] = given.split(" ");
    const field = form.elements.namedItem("value");
    const value = place ?? (field ? field.dataset.text || field.value : "");
    const label = field ? field.value : button ? button.textContent.trim() : given;
    refused = "";
    keep({ id: name(), question: form.elements.namedItem("question").value, meaning, value, label });
    sendPending();
    tell();
  });

  // --- the pad ---------------------------------------------------------------
  // A mark is feet, digits and a fraction; it shows as on a tape and goes as text.
  function pads() {
    for (const pad of document.querySelectorAll(".pad[hidden]")) {
      const field = pad.closest("form").elements.namedItem("value");
      const mark = { feet: "", digits: "", fraction: "" };
      pad.hidden = false;
      field.inputMode = "none";
      field.addEventListener("input", () => {
        mark.feet = mark.digits = mark.fraction = field.dataset.text = "";
      });
      pad.addEventListener("click", (event) => {
        const button = event.target.closest("button");
        if (!button) return;
        if (button.dataset.family) return open(pad, button);
        press(mark, button.dataset.key);
        const inches = [mark.digits, mark.fraction].filter(Boolean).join(" ");
        if ("inches" in pad.dataset) {
          field.value = (mark.feet ? mark.feet + "'" + (inches ? "-" : "") : "") + (inches ? inches + '"' : "");
          field.dataset.text = [mark.feet && mark.feet + " ft", inches && inches + " in"].filter(Boolean).join(" ");
        } else {
          field.value = mark.digits;
        }
        for (const key of pad.querySelectorAll("[data-key*='/']")) {
          key.setAttribute("aria-pressed", String(key.dataset.key === mark.fraction));
        }
      });
    }
  }
  function open(pad, button) {
    for (const family of pad.querySelectorAll("[data-family]")) {
      const opens = family === button && family.getAttribute("aria-expanded") === "false";
      family.setAttribute("aria-expanded", String(opens));
      pad.querySelector(`[data-of="${family.dataset.family}"]`).hidden = !opens;
    }
  }
  function press(mark, key) {
    if (key === "clear") { mark.feet = mark.digits = mark.fraction = ""; }
    else if (key === "erase") {
      if (mark.fraction) mark.fraction = "";
      else if (mark.digits) mark.digits = mark.digits.slice(0, -1);
      else { mark.digits = mark.feet; mark.feet = ""; }
    } else if (key === "feet") {
      if (!mark.feet && mark.digits && !mark.fraction) { mark.feet = mark.digits; mark.digits = ""; }
    } else if (key.includes("/")) { mark.fraction = mark.fraction === key ? "" : key; }
    else if (key === ".") { if (!mark.digits.includes(".")) mark.digits = (mark.digits || "0") + "."; }
    else if (mark.digits.length < 6) { mark.digits = mark.digits === "0" ? key : mark.digits + key; }
  }

  // --- the screen stays awake ------------------------------------------------
  function awake() {
    if (document.visibilityState !== "visible") return;
    if (navigator.wakeLock) navigator.wakeLock.request("screen").catch(() => {});
    if (!socket) { tries = 0; connect(); }
  }
  document.addEventListener("visibilitychange", awake);

  pads();
  connect();
  awake();
  tell();
})();
