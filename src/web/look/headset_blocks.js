// The sound of the microphone in blocks of 40 ms, as 16-bit samples.
"use strict";
registerProcessor("blocks", class extends AudioWorkletProcessor {
  constructor() {
    super();
    this.block = new Int16Array(Math.round(sampleRate / 25));
    this.at = 0;
  }
  process([[channel]]) {
    for (const sample of channel ?? []) {
      this.block[this.at++] = Math.round(Math.max(-1, Math.min(1, sample)) * 32767);
      if (this.at === this.block.length) {
        this.port.postMessage(this.block.slice().buffer);
        this.at = 0;
      }
    }
    return true;
  }
});
