// The phone as a headset: its microphone goes to the walk by the roof screen's
// socket, speech comes back by it. Without this script answers go by touch.
"use strict";
(() => {
  const roof = document.getElementById("roof"), voice = document.getElementById("voice");
  if (!roof || !voice || !("WebSocket" in window) || !("AudioContext" in window)) return;
  const level = document.getElementById("level"), RATE_HZ = 16000, LEAST_DBFS = -60;
  const said = document.createElement("p");
  said.setAttribute("role", "alert");
  let wants = null, context = null, stream = null, name = "", until = 0, blocks = 0, loudest = 0;
  const playing = new Map();

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
  async function start(kind) {
    stop();
    wants = kind;
    show();
    try {
      if (kind === "hears") await listen();
      else await open(new AudioContext());
    } catch (error) {
      const insecure = !navigator.mediaDevices;
      stop();
      return show(insecure ? voice.dataset.insecure : voice.dataset.refused + " (" + error.message + ")");
    }
    // Somebody may have stopped it while the browser asked.
    if (wants === kind) announce();
  }
  async function open(fresh) {
    context = fresh;
    await context.resume();
  }
  async function listen() {
    // As it is: what a browser does against noise and echo spoils what is heard.
    const audio = { channelCount: 1, echoCancellation: false, noiseSuppression: false, autoGainControl: false };
    const mine = stream = await navigator.mediaDevices.getUserMedia({ audio });
    if (wants !== "hears") return;
    let source;
    try {
      await open(new AudioContext({ sampleRate: RATE_HZ }));
      source = context.createMediaStreamSource(mine);
    } catch {
      // This browser takes a microphone at its own rate alone.
      await open(new AudioContext());
      source = context.createMediaStreamSource(mine);
    }
    await context.audioWorklet.addModule(voice.dataset.blocks);
    const node = new AudioWorkletNode(context, "blocks",
      { numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit" });
    node.port.onmessage = (event) => { send(event.data); measure(event.data); };
    source.connect(node);
    const [track] = mine.getAudioTracks();
    name = track.label;
    // A headset that is gone: another microphone may be there.
    track.onended = () => { if (stream === mine) start("hears"); };
  }
  function announce() {
    const rate_hz = wants === "hears" ? context.sampleRate : null;
    tell({ kind: "headset", name, rate_hz });
    show();
  }
  function stop() {
    if (wants) tell({ kind: "take-off" });
    wants = null;
    hush();
    if (stream) for (const track of stream.getTracks()) { track.onended = null; track.stop(); }
    if (context) context.close();
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
      setTimeout(() => tell({ kind: "played", id }), late_s * 1000);
    };
    source.start(at);
  }
  function hush() {
    for (const source of playing.values()) { source.onended = null; source.stop(); }
    playing.clear();
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
    if (detail.kind === "hush") hush();
    if (detail.kind === "not-worn") { wants = null; stop(); show(detail.sentence); }
  });
  roof.addEventListener("connected", () => { if (wants && context) announce(); });
  roof.addEventListener("dropped", hush);
  show();
})();
