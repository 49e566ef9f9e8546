// Record from the microphone: raw samples by a worklet, a level meter, a count-in, listen again, take again.
import { careful, clock, fault, h, say } from "./ui.js";
import { audioContext, awake, silence } from "./sound.js";

const LONGEST_S = 600;
const RAW = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 };

export function recorder(use) {
  let stream = null;
  let node = null;
  let blocks = [];
  let running = false;
  let listening = null;
  let wave = null;
  const time = h("output.time", { "aria-label": "Recorded" }, "0:00");
  const meter = h("meter", { min: 0, max: 1, low: 0.02, high: 0.9, optimum: 0.4, value: 0, "aria-label": "How loud it is" });
  const words = h("p.soft", { role: "status" }, "Hum, whistle or play the tune once or twice, close to the microphone.");
  const start = h("button.strong.record", { onclick: () => (running ? stop() : begin()) }, "Record");
  const again = h("button", { hidden: true, onclick: () => listen() }, "Listen");
  const take = h("button.strong", { hidden: true, onclick: () => use(wave, `${named()}.wav`) }, "Write this down");
  const count = h("input", { type: "checkbox", checked: true });
  const tempo = h("input", { type: "number", min: 40, max: 220, value: 100, "aria-label": "Beats a minute of the count-in" });
  const title = h("input", { type: "text", maxlength: 120, placeholder: "Untitled", autocomplete: "off" });
  const named = () => title.value.trim() || `Tune ${new Date().toISOString().slice(0, 10)}`;

  const begin = careful(async () => {
    silence();
    stopListening();
    if (!navigator.mediaDevices) throw new Error("This browser lends its microphone only to the machine the page runs on: record with the phone's own recorder and drop the file here.");
    await awake();
    const context = audioContext();
    try { stream = await navigator.mediaDevices.getUserMedia({ audio: RAW }); } catch (error) {
      throw new Error(error.name === "NotAllowedError" ? "The browser was not allowed to use the microphone: allow it for this page and try again." : "No microphone was found: connect one, or drop a file.");
    }
    await context.audioWorklet.addModule("/assets/recorder-worklet.js");
    const source = context.createMediaStreamSource(stream);
    node = new AudioWorkletNode(context, "recorder", { numberOfOutputs: 0 });
    blocks = [];
    let wanted = false;
    node.port.onmessage = ({ data }) => {
      let peak = 0;
      for (const x of data) peak = Math.max(peak, Math.abs(x));
      meter.value = Math.max(peak, meter.value * 0.8);
      if (peak > 0.99) words.textContent = "Too loud: move away from the microphone a little.";
      if (!wanted) return;
      blocks.push(data);
      const seconds = (blocks.length * data.length) / context.sampleRate;
      time.textContent = clock(seconds);
      if (seconds > LONGEST_S) stop();
    };
    source.connect(node);
    running = true;
    start.textContent = "Stop";
    again.hidden = take.hidden = true;
    if (count.checked) await counted(context);
    if (!running) return;
    wanted = true;
    words.textContent = "Recording …";
  });
  async function counted(context) {
    const beat = 60 / Math.min(220, Math.max(40, Number(tempo.value) || 100));
    for (let i = 0; i < 4 && running; i++) {
      words.textContent = `${4 - i} …`;
      const tone = context.createOscillator();
      const gain = context.createGain();
      tone.frequency.value = i ? 1600 : 2100;
      gain.gain.setValueAtTime(0.2, context.currentTime);
      gain.gain.exponentialRampToValueAtTime(0.001, context.currentTime + 0.05);
      tone.connect(gain).connect(context.destination);
      tone.start();
      tone.stop(context.currentTime + 0.06);
      await new Promise((go) => setTimeout(go, beat * 1000));
    }
  }
  function stop() {
    running = false;
    start.textContent = "Record again";
    meter.value = 0;
    if (node) node.disconnect();
    for (const track of stream ? stream.getTracks() : []) track.stop();
    stream = node = null;
    const samples = blocks.reduce((sum, block) => sum + block.length, 0);
    const rate = audioContext().sampleRate;
    if (samples < 4 * rate) {
      words.textContent = "That was shorter than 4 seconds: record at least a few bars.";
      again.hidden = take.hidden = true;
      return;
    }
    wave = wav(blocks, samples, rate);
    again.hidden = take.hidden = false;
    words.textContent = `${clock(samples / rate)} recorded. Listen, take it again, or have it written down.`;
    take.focus();
  }
  function listen() {
    if (listening) { stopListening(); return; }
    const address = URL.createObjectURL(wave);
    listening = new Audio(address);
    again.textContent = "Stop listening";
    listening.onended = stopListening;
    listening.play().catch(fault);
  }
  function stopListening() {
    if (!listening) return;
    listening.pause();
    URL.revokeObjectURL(listening.src);
    listening = null;
    again.textContent = "Listen";
  }
  return {
    element: h("div.recorder", {}, h("div.row", {}, start, time, meter), words, h("div.row", {}, again, take),
      h("div.row", {}, h("label.check", {}, count, "Count in at"), tempo, h("label.field", {}, h("span", {}, "Title"), title))),
    close() { if (running) stop(); stopListening(); say(""); },
  };
}

// 16-bit PCM WAV of blocks of samples.
export function wav(blocks, count, rate) {
  const view = new DataView(new ArrayBuffer(44 + 2 * count));
  const text = (at, letters) => [...letters].forEach((c, i) => view.setUint8(at + i, c.charCodeAt(0)));
  text(0, "RIFF"); view.setUint32(4, 36 + 2 * count, true); text(8, "WAVEfmt ");
  view.setUint32(16, 16, true); view.setUint16(20, 1, true); view.setUint16(22, 1, true);
  view.setUint32(24, rate, true); view.setUint32(28, 2 * rate, true); view.setUint16(32, 2, true); view.setUint16(34, 16, true);
  text(36, "data"); view.setUint32(40, 2 * count, true);
  let at = 44;
  for (const block of blocks) for (const x of block) { view.setInt16(at, Math.max(-1, Math.min(1, x)) * 32767, true); at += 2; }
  return new Blob([view.buffer], { type: "audio/wav" });
}
