// The guitar: one recording of single tones, cut and laid down by the clock; and the recording of the player.
import { get } from "./api.js";

let context = null;
let meter = null;
let guitarSide = null;
const banks = new Map();

export async function awake() {
  context = context || new AudioContext({ latencyHint: "interactive" });
  if (context.state === "suspended") {
    const woke = await Promise.race([context.resume().then(() => true), new Promise((no) => setTimeout(() => no(false), 3000))]);
    if (!woke) throw new Error("This browser has no sound to play on: is a loudspeaker connected, and sound allowed for this page?");
  }
  if (!meter) {
    meter = context.createAnalyser();
    guitarSide = context.createStereoPanner();
    meter.connect(guitarSide).connect(context.destination);
  }
  return context;
}
export const audioContext = () => context;
export function level() { // how loud the guitar is now
  if (!meter) return 0;
  const wave = new Float32Array(meter.fftSize);
  meter.getFloatTimeDomainData(wave);
  return Math.sqrt(wave.reduce((sum, x) => sum + x * x, 0) / wave.length);
}

// A bank from the program: {bank, tones, pulse_s}; the pulse tells what silence the decoder put in front.
async function opened(data) {
  await awake();
  const bytes = Uint8Array.from(atob(data.bank), (c) => c.charCodeAt(0));
  const buffer = await context.decodeAudioData(bytes.buffer);
  const samples = buffer.getChannelData(0).subarray(0, Math.floor(0.38 * buffer.sampleRate));
  let most = 0;
  for (let i = 0; i < samples.length; i++) if (Math.abs(samples[i]) > Math.abs(samples[most])) most = i;
  return { buffer, shift: most / buffer.sampleRate - data.pulse_s, tones: data.tones };
}
export function bankOf(key, fetched) {
  if (!banks.has(key)) {
    if (banks.size > 4) for (const old of [...banks.keys()].filter((k) => k !== "melody").slice(0, 1)) banks.delete(old);
    banks.set(key, fetched().then(opened).catch((error) => { banks.delete(key); throw error; }));
  }
  return banks.get(key);
}
export const melodyBank = () => bankOf("melody", () => get("/api/bank"));

const FADE_S = 0.02;
class Voice { // one thing that plays at a time: a score from one moment to another, once or round and round
  constructor() { this.timer = null; this.sources = []; this.turn = 0; this.ended = () => {}; }
  get playing() { return this.timer !== null; }
  stop() {
    this.turn++;
    clearInterval(this.timer);
    this.timer = null;
    const now = context ? context.currentTime : 0;
    for (const [source, gain] of this.sources) {
      gain.gain.cancelScheduledValues(now);
      gain.gain.setTargetAtTime(0, now, 0.01);
      try { source.stop(now + 0.08); } catch { /* not begun yet */ }
    }
    this.sources = [];
    const told = this.ended;
    this.ended = () => {};
    told();
  }
  async play(bank, score, from, to, options) {
    this.stop();
    const turn = this.turn;
    this.ended = options.ended || (() => {});
    await awake();
    const tones = await bank;
    if (turn !== this.turn) return;
    guitarSide.pan.value = options.side || 0;
    const notes = score.notes.filter((note) => note[0] >= from - 1 && note[0] < to - 1);
    const first = score.bars.find((bar) => bar[1] >= from - 1);
    const count = options.count ? Math.round(score.beats + (first && first[3] === 0 ? score.lead_beats : 0)) : 0;
    const gains = {};
    for (const part of ["m", "b", "i"]) { gains[part] = context.createGain(); gains[part].connect(meter); }
    let speed = options.speed();
    let begin = context.currentTime + 0.1 + (count * score.beat_ms) / 1000 / speed;
    for (let i = 0; i < count; i++) this.tick(begin - ((count - i) * score.beat_ms) / 1000 / speed, i === 0, 0.25);
    let next = 0;
    let beat = 0;
    let shown = -1;
    let round = 0;
    const ahead = () => {
      if (speed !== options.speed()) {
        const at = from + (context.currentTime - begin) * 1000 * speed;
        speed = options.speed();
        begin = context.currentTime - (at - from) / 1000 / speed;
      }
      for (const part of ["m", "b", "i"]) gains[part].gain.setTargetAtTime(options.level ? options.level(part) : 1, context.currentTime, 0.02);
      for (;;) {
        if (next >= notes.length) {
          const ends = begin + (to - from) / 1000 / speed;
          if (context.currentTime < ends - 0.2) break;
          if (!(options.loop && options.loop())) {
            if (context.currentTime > ends + 0.3) { this.stop(); return; }
            break;
          }
          begin = ends;
          next = 0;
          beat = 0;
          round++;
          if (options.round) options.round(round);
          if (!notes.length) break;
        }
        const at = begin + (notes[next][0] - from) / 1000 / speed;
        if (at > context.currentTime + 0.3) break;
        this.note(tones, notes[next++], Math.max(at, context.currentTime), speed, gains, options.cents || 0);
      }
      if (options.pulse && options.pulse()) {
        for (;;) { // a tick on each beat, counted from the bar lines
          const at = begin + (beat * score.beat_ms) / 1000 / speed;
          if (at > context.currentTime + 0.3 || beat * score.beat_ms > to - from) break;
          if (at > context.currentTime - 0.05) this.tick(at, beat % score.beats === 0, 0.1);
          beat++;
        }
      }
      const where = from + (context.currentTime - begin) * 1000 * speed;
      const bar = score.bars.findIndex((b) => b[1] <= where && where < b[2]);
      if (bar >= 0 && where >= from - 5) {
        if (bar !== shown && options.bar) options.bar(score.bars[bar]);
        shown = bar;
        if (options.at) options.at(score.bars[bar], where);
      }
    };
    ahead();
    this.timer = setInterval(ahead, 50);
  }
  note(bank, [, length, tone, loud, part], at, speed, gains, cents) {
    if (!bank.tones[tone]) return;
    const [begin, whole] = bank.tones[tone];
    const lasts = Math.max(0.03, Math.min(length / 1000 / speed, whole - FADE_S));
    const source = context.createBufferSource();
    source.buffer = bank.buffer;
    source.playbackRate.value = 2 ** (cents / 1200);
    const gain = context.createGain();
    gain.gain.setValueAtTime(loud / 100, at);
    gain.gain.setValueAtTime(loud / 100, at + lasts);
    gain.gain.linearRampToValueAtTime(0, at + lasts + FADE_S);
    source.connect(gain).connect(gains[part]);
    source.start(at, begin + bank.shift, lasts + FADE_S);
    this.keep(source, gain);
  }
  tick(at, first, loud) {
    const tone = context.createOscillator();
    const gain = context.createGain();
    tone.frequency.value = first ? 2100 : 1600;
    gain.gain.setValueAtTime(loud, at);
    gain.gain.exponentialRampToValueAtTime(0.001, at + 0.05);
    tone.connect(gain).connect(meter);
    tone.start(at);
    tone.stop(at + 0.06);
    this.keep(tone, gain);
  }
  keep(source, gain) {
    const pair = [source, gain];
    this.sources.push(pair);
    source.onended = () => { const at = this.sources.indexOf(pair); if (at >= 0) this.sources.splice(at, 1); gain.disconnect(); };
  }
}
export const voice = new Voice();

// ---- one recording at a time, from a place to a place
let tape = null;
let tapeSide = null;
let watching = 0;
let tapeEnded = () => {};
export function loadTape(address) {
  stopTape();
  if (tape && tape.dataset.from === address) return tape;
  if (tape) { tape.pause(); tape.removeAttribute("src"); }
  tape = new Audio();
  tape.preload = "auto";
  tape.dataset.from = address;
  tape.src = address;
  tapeSide = null;
  return tape;
}
export function stopTape() {
  if (!tape) return;
  cancelAnimationFrame(watching);
  tape.pause();
  const told = tapeEnded;
  tapeEnded = () => {};
  told();
}
export async function playTape(from, to, { speed, loop, at, ended, side = 0 }) {
  stopTape();
  tapeEnded = ended || (() => {});
  await awake();
  if (side && !tapeSide) {
    tapeSide = context.createStereoPanner();
    context.createMediaElementSource(tape).connect(tapeSide).connect(context.destination);
  }
  if (tapeSide) tapeSide.pan.value = side;
  tape.preservesPitch = true;
  tape.playbackRate = speed();
  tape.currentTime = Math.max(from, 0);
  await tape.play();
  const watch = () => {
    if (tape.paused) return;
    tape.playbackRate = speed();
    if (tape.currentTime >= to - 0.02) {
      if (loop && loop()) tape.currentTime = Math.max(from, 0);
      else { stopTape(); return; }
    }
    if (at) at(tape.currentTime);
    watching = requestAnimationFrame(watch);
  };
  watching = requestAnimationFrame(watch);
}
export const tapeNow = () => tape;
export function silence() { voice.stop(); stopTape(); }

// One tone at once, to hear an edit.
export async function hearNote(midi) {
  const score = { notes: [[0, 420, tone(midi), 75, "m"]], bars: [[0, 0, 450, 1, 0, 0]], beats: 1, lead_beats: 0, beat_ms: 450 };
  await voice.play(melodyBank(), score, 0, 450, { speed: () => 1 });
}
const LOWEST = 48;
const COUNT = 41;
function tone(midi) { let at = midi - LOWEST; while (at < 0) at += 12; while (at >= COUNT) at -= 12; return at; }

window.liltwrightLevel = level; // for the test that listens
