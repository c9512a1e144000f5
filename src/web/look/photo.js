// A photo taken on the roof screen goes as soon as it is taken, and is kept on the
// phone until the log has it. Without this script the form sends it.
"use strict";
(() => {
  const told = document.getElementById("photos"), roof = document.getElementById("roof");
  if (!told || !roof || !("fetch" in window)) return;
  const who = roof.dataset.who, MOST = Number(told.dataset.most);
  const REPLY_MS = 600000;
  let items = [], sending = null, tries = 0, again = 0, kept = "";
  roof.dataset.shots = "";

  // --- what is not sent yet ----------------------------------------------------
  // On the phone's disk where the browser has one for us, else in this page alone.
  const disk = new Promise((found) => {
    try {
      const asked = indexedDB.open("chalkhand photos", 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore("photos", { keyPath: "id" });
      asked.onsuccess = () => found(asked.result);
      asked.onerror = () => found(null);
    } catch { found(null); }
  });
  function run(mode, body) {
    return disk.then((db) => db && new Promise((done) => {
      const deal = db.transaction("photos", mode, { durability: "strict" });
      const asked = body(deal.objectStore("photos"));
      deal.oncomplete = () => done(asked);
      deal.onerror = deal.onabort = () => done(null);
    }), () => null);
  }
  async function keep(item) {
    items.push(item);
    const { why, ...plain } = item;
    item.onDisk = Boolean(await run("readwrite", (photos) => photos.put(plain)));
  }
  function forget(item) {
    items = items.filter((one) => one !== item);
    return run("readwrite", (photos) => photos.delete(item.id));
  }
  function name() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  // --- what is said of it --------------------------------------------------------
  function line(words, item) {
    return words.replace("{step}", item.label).replace("{why}", item.why || "");
  }
  function tell() {
    const lines = items.map((item) => {
      const p = document.createElement("p");
      const words = item.why ? told.dataset.refused : item.signedOut ? told.dataset.signedOut
        : item === sending ? told.dataset.sending : item.onDisk ? told.dataset.unsent : told.dataset.memory;
      p.textContent = line(words, item);
      if (item.why) {
        p.className = "wrong";
        const save = document.createElement("a");
        save.href = item.url = item.url || URL.createObjectURL(new Blob([item.bytes], { type: item.type }));
        save.download = item.name;
        save.textContent = told.dataset.save;
        const drop = document.createElement("button");
        drop.type = "button";
        drop.textContent = told.dataset.drop;
        drop.addEventListener("click", () => { URL.revokeObjectURL(item.url); forget(item).then(tell); });
        p.append(" ", save, drop);
      }
      return p;
    });
    if (kept) {
      const p = document.createElement("p");
      p.textContent = kept;
      lines.unshift(p);
    }
    told.replaceChildren(...lines);
    told.hidden = lines.length === 0;
  }
  addEventListener("beforeunload", (event) => {
    if (items.some((item) => !item.onDisk)) event.preventDefault();
  });

  // --- sending -------------------------------------------------------------------
  async function send() {
    clearTimeout(again);
    const item = items.find((one) => !one.why);
    if (sending || !item) return;
    sending = item;
    tell();
    const token = document.querySelector("input[name=token]");
    const form = new FormData();
    form.append("token", token ? token.value : "");
    for (const [field, value] of Object.entries(item.fields)) form.append(field, value);
    form.append("photo", new Blob([item.bytes], { type: item.type }), item.name);
    let answer = null, body = null;
    const stop = new AbortController(), timer = setTimeout(() => stop.abort(), REPLY_MS);
    try {
      answer = await fetch(item.action, {
        method: "POST", body: form, headers: { Accept: "application/json" }, signal: stop.signal,
      });
      body = await answer.json();
    } catch { /* no connection: it is sent again */ }
    clearTimeout(timer);
    sending = null;
    item.signedOut = Boolean(answer) && (answer.status === 401 || answer.status === 403);
    if (answer && answer.ok && body) {
      tries = 0;
      kept = told.dataset.kept.replace("{entry}", body.entry);
      await forget(item);
      follow(item);
    } else if (answer && !item.signedOut && answer.status >= 400 && answer.status < 500 && answer.status !== 429) {
      item.why = (body && body.detail) || String(answer.status);
    } else {
      tries += 1;
      again = setTimeout(send, Math.min(1000 * 2 ** Math.min(tries, 5), 30000));
      return tell();
    }
    tell();
    send();
  }
  // The socket shows what is asked now; where there is none the page is loaded again.
  function follow(item) {
    setTimeout(() => {
      const form = item.form;
      if (form && form.isConnected && "wanted" in form.dataset && !items.length) location.reload();
    }, 4000);
  }

  // --- the control -----------------------------------------------------------------
  async function took(form) {
    const input = form.querySelector("input[type=file]"), file = input.files[0];
    if (!file) return;
    const fields = {};
    for (const field of ["walk", "step", "question"]) fields[field] = form.elements.namedItem(field).value;
    fields.id = name();
    const item = {
      id: fields.id, who, action: form.action, fields, label: form.dataset.step,
      name: file.name || "photo.jpg", type: file.type || "image/jpeg", bytes: await file.arrayBuffer(),
    };
    input.value = "";
    kept = "";
    if (item.bytes.byteLength > MOST) { item.why = told.dataset.large; item.onDisk = false; items.push(item); return tell(); }
    await keep(item);
    item.form = form;
    tell();
    send();
  }
  roof.addEventListener("change", (event) => {
    const form = event.target.closest("form.shot");
    if (form && event.target.type === "file") took(form);
  });
  roof.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.classList.contains("shot")) return;
    event.preventDefault();
    took(form);
  });

  addEventListener("online", () => { tries = 0; send(); });
  addEventListener("pageshow", () => send());
  // What this person did not get sent before, of whatever walk.
  run("readonly", (photos) => photos.getAll()).then((asked) => {
    const all = asked && asked.result ? asked.result : [];
    const known = items.map((item) => item.id);
    for (const item of all.filter((one) => one.who === who && !known.includes(one.id))) {
      item.onDisk = true;
      items.push(item);
    }
    tell();
    send();
  });
})();
