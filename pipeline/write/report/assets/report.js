"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const $ = (selector, root = document) => root.querySelector(selector);
  const $$ = (selector, root = document) => [...root.querySelectorAll(selector)];
  const live = $("#live");
  const say = (words) => { live.textContent = words; };
  const bytesOf = (base64) => Uint8Array.from(atob(base64), (c) => c.charCodeAt(0));

  // ---- the guitar: one recording of single tones, cut and laid down by the clock
  let context = null;
  let bank = null;
  let meter = null;
  let guitarSide = null;
  let recordingSide = null;
  const inTime = (promise) => Promise.race([
    promise.then(() => true), new Promise((done) => setTimeout(() => done(false), 3000)),
  ]);
  const opened = async () => {
    context = context || new AudioContext();
    if (context.state === "suspended" && !(await inTime(context.resume()))) {
      live.className = "toast";
      say("This browser has no sound to play on: is a loudspeaker connected, and sound allowed for this page?");
      return null;
    }
    if (!bank) {
      const decoded = await context.decodeAudioData(bytesOf(data.bank).buffer);
      bank = { buffer: decoded, shift: pulseAt(decoded) - data.pulse_s };
      meter = context.createAnalyser();
      guitarSide = context.createStereoPanner();
      meter.connect(guitarSide).connect(context.destination);
    }
    return context;
  };
  const pulseAt = (buffer) => {
    const samples = buffer.getChannelData(0).subarray(0, Math.floor(0.38 * buffer.sampleRate));
    let most = 0;
    for (let i = 0; i < samples.length; i++) if (Math.abs(samples[i]) > Math.abs(samples[most])) most = i;
    return most / buffer.sampleRate;
  };
  const LAST_FADE_S = 0.02;

  class Voice {
    // One thing that plays at a time: a score from one moment to another, once or in a loop.
    constructor() { this.timer = null; this.sources = []; this.stopped = () => {}; this.turn = 0; }
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
      const told = this.stopped;
      this.stopped = () => {};
      told();
    }
    async play(score, from, to, options) {
      this.stop();
      this.stopped = options.ended || (() => {});
      const turn = this.turn;
      const ready = await opened();
      if (turn !== this.turn) return; // stopped, or something else begun, while the sound woke up
      if (!ready) { this.stop(); return; }
      const notes = score.notes.filter((note) => note[0] >= from - 1 && note[0] < to - 1);
      const ticks = options.count ? beatsBefore(score, from) : [];
      const gains = {};
      for (const part of ["m", "b", "i"]) {
        gains[part] = context.createGain();
        gains[part].connect(meter);
      }
      let begin = context.currentTime + 0.12 + (ticks.length * score.beat_ms) / 1000 / options.speed();
      let speed = options.speed();
      ticks.forEach((_, i) => this.tick(begin - ((ticks.length - i) * score.beat_ms) / 1000 / speed, i === 0));
      let next = 0;
      let shown = -1;
      const ahead = () => {
        if (speed !== options.speed()) {
          const at = from + (context.currentTime - begin) * 1000 * speed;
          speed = options.speed();
          begin = context.currentTime - (at - from) / 1000 / speed;
        }
        for (const part of ["m", "b", "i"]) {
          gains[part].gain.setTargetAtTime(options.level ? options.level(part) : 1, context.currentTime, 0.02);
        }
        for (;;) {
          if (next >= notes.length) {
            const ends = begin + (to - from) / 1000 / speed;
            if (context.currentTime < ends - 0.15) break;
            if (!(options.loop && options.loop())) {
              if (context.currentTime > ends + 0.3) this.stop();
              break;
            }
            begin = ends;
            next = 0;
            if (!notes.length) break;
          }
          const at = begin + (notes[next][0] - from) / 1000 / speed;
          if (at > context.currentTime + 0.3) break;
          this.note(notes[next++], Math.max(at, context.currentTime), speed, gains, options.cents || 0);
        }
        const where = from + (context.currentTime - begin) * 1000 * speed;
        const bar = score.bars.findIndex((b) => b[1] <= where && where < b[2]);
        if (bar !== shown && bar >= 0 && where >= from) {
          shown = bar;
          if (options.bar) options.bar(score.bars[bar]);
        }
      };
      ahead();
      this.timer = setInterval(ahead, 60);
    }
    note([, length, tone, loud, part], at, speed, gains, cents) {
      const [begin, whole] = data.tones[tone];
      const lasts = Math.min(length / 1000 / speed, whole - LAST_FADE_S);
      const source = context.createBufferSource();
      source.buffer = bank.buffer;
      source.playbackRate.value = 2 ** (cents / 1200);
      const gain = context.createGain();
      gain.gain.setValueAtTime(loud / 100, at);
      gain.gain.setValueAtTime(loud / 100, at + lasts);
      gain.gain.linearRampToValueAtTime(0, at + lasts + LAST_FADE_S);
      source.connect(gain).connect(gains[part]);
      source.start(at, begin + bank.shift, lasts + LAST_FADE_S);
      this.sources.push([source, gain]);
      if (this.sources.length > 200) this.sources.splice(0, 100);
    }
    tick(at, first) {
      const tone = context.createOscillator();
      const gain = context.createGain();
      tone.frequency.value = first ? 2100 : 1600;
      gain.gain.setValueAtTime(0.25, at);
      gain.gain.exponentialRampToValueAtTime(0.001, at + 0.05);
      tone.connect(gain).connect(meter);
      tone.start(at);
      tone.stop(at + 0.06);
      this.sources.push([tone, gain]);
    }
  }
  const beatsBefore = (score, from) => {
    const bar = score.bars.find((b) => b[1] >= from - 1);
    const extra = bar && bar[3] === 0 ? score.lead_beats : 0;
    return Array.from({ length: score.beats + extra });
  };
  const voice = new Voice();
  const recording = $("#recording");
  const silence = () => {
    voice.stop();
    if (recording) recording.pause();
  };

  // The recording in the left ear and the guitar in the right, or both in the middle.
  const apart = async (yes) => {
    if (!yes && !recordingSide) return;
    if (!(await opened())) return;
    if (recording && !recordingSide) {
      recordingSide = context.createStereoPanner();
      context.createMediaElementSource(recording).connect(recordingSide).connect(context.destination);
    }
    if (recordingSide) recordingSide.pan.value = yes ? -1 : 0;
    guitarSide.pan.value = yes ? 1 : 0;
  };

  // ---- a player for every score on the page
  for (const box of $$("[data-score]")) {
    const score = data.scores[box.dataset.score];
    const button = $("button.play", box);
    const what = $("select", box);
    const loop = $("[name=loop]", box);
    const count = $("[name=count]", box);
    const speed = $("[name=speed]", box);
    const levels = { m: $("[name=melody]", box), b: $("[name=bass]", box) };
    const music = box.dataset.music ? document.getElementById(box.dataset.music) : null;
    const shownAs = $("[name=where]", box);
    const tempo = () => {
      $("output", speed.parentNode).textContent = `${speed.value} %`;
    };
    speed.addEventListener("input", tempo);
    const light = (written) => {
      if (!music) return;
      for (const bar of $$(".now", music)) bar.classList.remove("now");
      for (const bar of $$(`[data-written="${written}"]`, music)) bar.classList.add("now");
    };
    const start = (from, to) => {
      silence();
      apart(false);
      button.textContent = "Stop";
      button.dataset.playing = "yes";
      voice.play(score, from, to, {
        speed: () => Number(speed.value) / 100,
        loop: () => loop.checked,
        count: count.checked,
        level: (part) => {
          const slider = levels[part === "m" ? "m" : "b"];
          return slider ? Number(slider.value) / 100 : 1;
        },
        bar: (bar) => {
          light(bar[0]);
          if (shownAs) shownAs.textContent = bar[3] ? `bar ${bar[3]}` : "";
        },
        ended: () => {
          button.textContent = "Play";
          delete button.dataset.playing;
          light(-9);
        },
      });
    };
    button.addEventListener("click", () => {
      if (button.dataset.playing) { silence(); return; }
      const [from, to] = what.value.split(":").map(Number);
      start(from, to);
    });
    if (music) {
      music.addEventListener("click", (event) => {
        const bar = event.target.closest(".measure");
        if (!bar) return;
        const first = score.bars.find((b) => b[0] === Number(bar.dataset.written));
        if (first) start(first[1], score.bars[score.bars.length - 1][2]);
      });
    }
  }

  // ---- what was heard: bars to click, or to walk through with the arrow keys
  const bars = $$(".hbar");
  if (bars.length) {
    const heard = data.scores.heard;
    const choice = () => ($("[name=listen]:checked") || { value: "tune" }).value;
    const pace = $("#heard-speed");
    const rate = () => Number(pace.value) / 100;
    const loopBar = $("#heard-loop");
    let stopAt = null;
    let waiting = null;
    const mark = (index) => {
      for (const bar of bars) bar.classList.toggle("now", Number(bar.dataset.heard) === index);
    };
    let startAt = 0;
    const listen = (index) => {
      const [, from, to, number] = heard.bars.find((b) => b[0] === index);
      mark(index);
      return listenTo(from, to, number ? `Bar ${number}` : "Pick-up");
    };
    const listenTo = async (from, to, words) => {
      silence();
      const which = choice();
      say(`${words}, ${which}`);
      const both = which === "both";
      await apart(both);
      if (recording && which !== "tune") {
        recording.preservesPitch = true;
        recording.playbackRate = rate();
        recording.currentTime = startAt = from / 1000;
        stopAt = to / 1000;
        await recording.play();
      }
      if (which === "tune" || both || which === "after") {
        const wait = which === "after" ? ((to - from) / rate()) + 150 : 0;
        clearTimeout(waiting);
        waiting = setTimeout(() => voice.play(heard, from, to, {
          speed: rate, cents: data.cents, loop: () => which === "tune" && loopBar.checked,
          bar: (bar) => mark(bar[0]), ended: () => mark(-1),
        }), wait);
      }
    };
    for (const button of $$("button.hear")) {
      button.addEventListener("click", () => {
        const [first, last] = [button.dataset.first, button.dataset.last].map(Number);
        const these = heard.bars.filter((b) => first <= b[3] && b[3] <= last);
        if (these.length) listenTo(these[0][1], these[these.length - 1][2], button.textContent);
      });
    }
    pace.addEventListener("input", () => {
      $("output", pace.parentNode).textContent = `${pace.value} %`;
      if (recording) recording.playbackRate = rate();
    });
    if (recording) {
      const watch = () => {
        if (!recording.paused) requestAnimationFrame(watch);
        if (stopAt !== null && recording.currentTime >= stopAt - 0.02) {
          if (loopBar.checked && choice() === "recording") {
            recording.currentTime = startAt;
            return;
          }
          recording.pause();
          stopAt = null;
        } else if (!recording.paused) {
          const now = recording.currentTime * 1000;
          const bar = heard.bars.find((b) => b[1] <= now && now < b[2]);
          mark(bar ? bar[0] : -1);
        }
      };
      recording.addEventListener("play", watch);
      $("#heard-all").addEventListener("click", () => {
        silence();
        apart(false);
        stopAt = null;
        recording.preservesPitch = true;
        recording.playbackRate = rate();
        recording.currentTime = Math.max(heard.bars[0][1] / 1000 - 0.3, 0);
        recording.play();
      });
    }
    $("#heard-stop").addEventListener("click", () => {
      clearTimeout(waiting);
      silence();
      mark(-1);
    });
    const part = $("#heard-part");
    if (part) {
      $("#heard-part-play").addEventListener("click", () => {
        const [from, to] = part.value.split(":").map(Number);
        listenTo(from, to, part.selectedOptions[0].textContent);
      });
    }
    let at = 0;
    bars[0].setAttribute("tabindex", "0");
    const walk = (to) => {
      bars[at].setAttribute("tabindex", "-1");
      at = Math.max(0, Math.min(bars.length - 1, to));
      bars[at].setAttribute("tabindex", "0");
      bars[at].focus();
    };
    bars.forEach((bar, index) => {
      bar.addEventListener("click", () => { walk(index); listen(Number(bar.dataset.heard)); });
      bar.addEventListener("keydown", (event) => {
        const step = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: 4, ArrowUp: -4 }[event.key];
        if (step) { walk(at + step); event.preventDefault(); }
        if (event.key === "Enter" || event.key === " ") { listen(Number(bar.dataset.heard)); event.preventDefault(); }
      });
    });
  }

  addEventListener("keydown", (event) => { if (event.key === "Escape") silence(); });
  // For the test that plays the page: how loud the guitar is now.
  window.guitarLevel = () => {
    if (!meter) return 0;
    const wave = new Float32Array(meter.fftSize);
    meter.getFloatTimeDomainData(wave);
    return Math.sqrt(wave.reduce((sum, x) => sum + x * x, 0) / wave.length);
  };
})();
