// The phone as a headset: its microphone goes to the walk by the roof screen's
// socket, speech comes back by it. Without this script answers go by touch.
"use strict";
(() => {
  const roof = document.getElementById("roof"), voice = document.getElementById("voice");
  if (!roof || !voice || !("WebSocket" in window) || !("AudioContext" in window)) return;
  const level = document.getElementById("level"), RATE_HZ = 16000, LEAST_DBFS = -60;
  const said = document.createElement("p");
  said.setAttribute("role", "alert");
  let wants = null, context = null, stream = null, name = "", until = 0, starts = 0, blocks = 0, loudest = 0;
  const playing = new Map(), late = new Set();

  const send = (detail) => roof.dispatchEvent(new CustomEvent("send", { detail }));
  const tell = (message) => send(JSON.stringify(message));

  function show(why) {
    said.textContent = why || "";
    voice.append(said);
    for (const button of voice.querySelectorAll("[data-ear]")) {
      button.hidden = (button.dataset.ear === "off") !== Boolean(wants);
    }
    level.hidden = wants !== "hears";
    voice.hidden = false;
  }

  // --- putting it on ----------------------------------------------------------
  // What one start has opened is closed where it was stopped, or started anew,
  // while the browser asked.
  async function start(kind) {
    stop();
    const mine = ++starts;
    wants = kind;
    show();
    const opened = { context: null, stream: null, name: "" };
    try {
      if (kind === "hears") await listen(opened, () => mine === starts);
      else await open(opened, new AudioContext());
    } catch (error) {
      close(opened);
      if (mine !== starts) return;
      const insecure = !navigator.mediaDevices;
      stop();
      return show(insecure ? voice.dataset.insecure : voice.dataset.refused + " (" + error.message + ")");
    }
    if (mine !== starts) return close(opened);
    ({ context, stream, name } = opened);
    announce();
  }
  async function open(opened, fresh) {
    if (opened.context) opened.context.close();
    opened.context = fresh;
    await fresh.resume();
  }
  async function listen(opened, isWanted) {
    // As it is: what a browser does against noise and echo spoils what is heard.
    const audio = { channelCount: 1, echoCancellation: false, noiseSuppression: false, autoGainControl: false };
    const microphone = opened.stream = await navigator.mediaDevices.getUserMedia({ audio });
    if (!isWanted()) return;
    let source;
    try {
      await open(opened, new AudioContext({ sampleRate: RATE_HZ }));
      source = opened.context.createMediaStreamSource(microphone);
    } catch {
      // This browser takes a microphone at its own rate alone.
      await open(opened, new AudioContext());
      source = opened.context.createMediaStreamSource(microphone);
    }
    await opened.context.audioWorklet.addModule(voice.dataset.blocks);
    const node = new AudioWorkletNode(opened.context, "blocks",
      { numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit" });
    node.port.onmessage = (event) => {
      if (stream !== microphone) return;
      send(event.data);
      measure(event.data);
    };
    source.connect(node);
    const [track] = microphone.getAudioTracks();
    opened.name = track.label;
    // A headset that is gone: another microphone may be there.
    track.onended = () => { if (stream === microphone) start("hears"); };
  }
  function close(opened) {
    for (const track of opened.stream?.getTracks() ?? []) { track.onended = null; track.stop(); }
    if (opened.context) opened.context.close();
  }
  function announce() {
    const rate_hz = wants === "hears" ? context.sampleRate : null;
    tell({ kind: "headset", name, rate_hz });
    show();
  }
  function stop() {
    if (wants) tell({ kind: "take-off" });
    wants = null;
    starts += 1;
    hush();
    close({ context, stream });
    stream = context = null;
    name = "";
    show();
  }
  function measure(buffer) {
    let squares = 0;
    const samples = new Int16Array(buffer);
    for (const sample of samples) squares += sample * sample;
    loudest = Math.max(loudest, squares / samples.length);
    blocks += 1;
    if (blocks % 5) return;
    const dbfs = 10 * Math.log10(Math.max(loudest, 1) / 32767 ** 2);
    level.value = Math.max(0, dbfs - LEAST_DBFS);
    loudest = 0;
  }

  // --- what is spoken ---------------------------------------------------------
  function play(bytes) {
    if (!context) return;
    const head = new DataView(bytes), id = head.getUint32(0, true), rate_hz = head.getUint32(4, true);
    const samples = new Int16Array(bytes, 8);
    if (!samples.length) return tell({ kind: "played", id });
    const buffer = context.createBuffer(1, samples.length, rate_hz);
    buffer.copyToChannel(Float32Array.from(samples, (sample) => sample / 32768), 0);
    const source = context.createBufferSource();
    source.buffer = buffer;
    source.connect(context.destination);
    const at = Math.max(context.currentTime, until);
    until = at + buffer.duration;
    playing.set(id, source);
    source.onended = () => {
      if (!playing.delete(id)) return;
      // What left the browser is heard a moment later.
      const late_s = (context?.outputLatency || 0) + (context?.baseLatency || 0);
      const timer = setTimeout(() => { late.delete(timer); tell({ kind: "played", id }); }, late_s * 1000);
      late.add(timer);
    };
    source.start(at);
  }
  function hush() {
    for (const source of playing.values()) { source.onended = null; source.stop(); }
    playing.clear();
    for (const timer of late) clearTimeout(timer);
    late.clear();
    until = 0;
  }

  voice.addEventListener("click", (event) => {
    const button = event.target.closest("[data-ear]");
    if (!button) return;
    if (button.dataset.ear === "off") stop();
    else start(button.dataset.ear);
  });
  roof.addEventListener("speech", (event) => play(event.detail));
  roof.addEventListener("told", ({ detail }) => {
    if (detail.kind === "hush") { hush(); tell({ kind: "played", id: detail.id }); }
    if (detail.kind === "not-worn") { wants = null; stop(); show(detail.sentence); }
  });
  roof.addEventListener("connected", () => { if (wants && context) announce(); });
  roof.addEventListener("dropped", hush);
  show();
})();
