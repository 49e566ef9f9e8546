// Passes what the microphone gives on to the page, in blocks of about a twentieth of a second.
class Recorder extends AudioWorkletProcessor {
  constructor() { super(); this.block = new Float32Array(2048); this.at = 0; }
  process([[channel]]) {
    if (!channel) return true;
    for (let i = 0; i < channel.length; i++) {
      this.block[this.at++] = channel[i];
      if (this.at === this.block.length) { this.port.postMessage(this.block.slice()); this.at = 0; }
    }
    return true;
  }
}
registerProcessor("recorder", Recorder);
