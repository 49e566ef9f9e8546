// Look and mend: the tune engraved, a note chosen, what can be done with it, the doubts, the recording beside it.
import { get } from "./api.js";
import { $$, barWords, calm, careful, choice, field, fraction, h, keepingFocus, lengthWords, lengths, number, say } from "./ui.js";
import { hearNote, melodyBank, playTape, silence, stopTape, voice } from "./sound.js";
import { ranges, transport } from "./player.js";
import { Tune, drawMusic, nearest } from "./tune.js";
import { METRES, TYPES, rereading } from "./anew.js";

const MODES = ["major", "mixolydian", "dorian", "minor", "lydian", "phrygian"];
const TONICS = ["C", "C#", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"];
const KEYS = [["← →", "from note to note"], ["↑ ↓", "a step of the scale up or down"], ["Shift ↑ ↓", "a semitone"], ["PageUp PageDown", "an octave"],
  [", .", "shorter, longer"], ["S  3", "split in two, in three"], ["J", "join with the next note"], ["T", "tie over the bar line, or cut the tie"], ["I", "insert a note after this one"],
  ["X", "delete, the note before rings on"], ["R", "delete and leave a rest"], ["B", "a bar begins here, in every part"], ["Space", "play or stop"], ["H", "hear the tune around the note"], ["L", "hear the recording there"],
  ["N", "next doubt"], ["O", "the doubt is all right as it is"], ["U  Ctrl Z", "undo"], ["Y  Shift Ctrl Z", "redo"], ["Esc", "silence"]];

export async function show(main, id) {
  const tune = await new Tune(id).load();
  let chosen = { bar: 0, note: 0 };
  let drawn = null;
  let doubt = -1;
  let rows = null;
  const music = h("div.music", { role: "group", "aria-label": "The tune. Arrow keys go from note to note.", tabindex: "0" });
  const dock = h("section.card.dock", { "aria-label": "The chosen note" });
  const facts = h("section.card.facts-card", { "aria-label": "The tune as a whole" });
  const doubts = h("section.card.doubts-card", { "aria-label": "To check by ear" });
  const strip = h("div.strip", { hidden: true });
  const history = h("div.row.history");

  // ---- drawing
  function draw() {
    const state = tune.state;
    chosen.bar = Math.min(chosen.bar, state.bars.length - 1);
    chosen.note = Math.min(Math.max(chosen.note, 0), Math.max(state.bars[chosen.bar].notes.length - 1, 0));
    drawn = drawMusic(music, state.music);
    mark();
    drawDock();
    drawFacts();
    drawDoubts();
    history.replaceChildren(
      h("button", { onclick: () => tune.undo(), disabled: !state.undo, title: state.undo ? `Undo: ${state.undo}` : "Nothing to undo", "aria-keyshortcuts": "U" }, "Undo"),
      h("button", { onclick: () => tune.redo(), disabled: !state.redo, title: state.redo ? `Redo: ${state.redo}` : "Nothing to redo", "aria-keyshortcuts": "Y" }, "Redo"),
      h("button", { onclick: () => print() }, "Print"), h("button", { onclick: () => help.showModal() }, "Keys"));
    player.refresh();
  }
  tune.changed = draw;
  function mark() {
    for (const old of $$(".chosen", music)) old.classList.remove("chosen");
    const found = drawn.notes(chosen);
    for (const head of found) head.classList.add("chosen");
    for (const old of $$(".here", music)) old.classList.remove("here");
    for (const bar of drawn.bar(chosen.bar)) bar.classList.add("here");
    const at = (found[0] || drawn.bar(chosen.bar)[0])?.getBoundingClientRect();
    if (at && (at.top < 90 || at.bottom > innerHeight - 150)) scrollBy({ top: at.top - innerHeight / 3, behavior: calm() ? "auto" : "smooth" });
  }
  function choose(place, quiet) {
    chosen = place;
    mark();
    drawDock();
    const note = tune.note(chosen);
    say(note ? `${note.name}, ${lengthWords(note.length)}, ${barWords(tune.state.bars[chosen.bar], tune.state.parts)}` : `${barWords(tune.state.bars[chosen.bar], tune.state.parts)}, empty`);
    if (note && !quiet && !voice.playing) hearNote(note.midi).catch(() => {});
  }
  function step(by) {
    let { bar, note } = chosen;
    note += by;
    const bars = tune.state.bars;
    while (note < 0 || note >= bars[bar].notes.length) {
      bar += by;
      if (bar < 0 || bar >= bars.length) return;
      note = by > 0 ? 0 : bars[bar].notes.length - 1;
      if (!bars[bar].notes.length) { note = -1; break; }
    }
    choose({ bar, note: Math.max(note, 0) });
  }

  // ---- edits
  async function edit(op, more = {}, after = 0) {
    const done = await tune.edit({ op, ...chosen, ...more }, chosen);
    if (done && after) step(after);
    const note = tune.note(chosen);
    if (done && note && ["pitch", "insert"].includes(op)) hearNote(note.midi).catch(() => {});
    if (done && note) say(`${note.name}, ${lengthWords(note.length)}`);
  }
  function longer(by) {
    const note = tune.note(chosen);
    if (!note) return;
    const order = lengths.map(([text]) => number(text));
    const now = number(note.length);
    const to = by > 0 ? order.find((one) => one > now + 1e-6) : [...order].reverse().find((one) => one < now - 1e-6);
    if (to) edit("length", { to: fraction(to) });
  }
  const tool = (words, keys, work, label) => h("button", { onclick: work, "aria-keyshortcuts": keys, title: `${label || words} (${keys})`, "aria-label": label }, words);

  function drawDock() {
    const bar = tune.state.bars[chosen.bar];
    const note = tune.note(chosen);
    const part = tune.state.parts[bar.part];
    const where = barWords(bar, tune.state.parts);
    const tools = note ? [
      h("div.row.notes", {}, tool("▲", "ArrowUp", () => edit("pitch", { steps: 1 }), "A step up"), tool("▼", "ArrowDown", () => edit("pitch", { steps: -1 }), "A step down"),
        tool("♯", "Shift+ArrowUp", () => edit("pitch", { semitones: 1 }), "A semitone up"), tool("♭", "Shift+ArrowDown", () => edit("pitch", { semitones: -1 }), "A semitone down"),
        tool("–", "Comma", () => longer(-1), "Shorter"),
        choice(lengths.some(([v]) => v === note.length) ? lengths : [[note.length, note.length], ...lengths], note.length, (to) => edit("length", { to }), "Length of the note"),
        tool("+", "Period", () => longer(1), "Longer")),
      h("div.row", {}, tool("Split", "S", () => edit("split")), tool("In 3", "3", () => edit("split", { into: 3 }), "Split in three"), tool("Join", "J", () => edit("join"), "Join with the next note"), tool("Tie", "T", () => edit("tie"), "Tie over the bar line, or cut the tie"),
        tool("Insert", "I", () => edit("insert", {}, 1)), tool("Delete", "X", () => edit("delete")), tool("Rest", "R", () => edit("delete", { rest: true }), "Delete and leave a rest"),
        choice([["", "no ornament"], ["cut", "cut"], ["tap", "tap"], ["roll", "roll"], ["triplet", "triplet"], ["slide", "slide"]], note.ornament || "", (kind) => edit("ornament", { kind }), "Ornament")),
    ] : [h("div.row", {}, tool("Insert", "I", () => edit("insert", { note: -1 })))];
    const bars = h("details.more", { open: barsOpen ? true : null, ontoggle: (event) => { barsOpen = event.target.open; } }, h("summary", {}, "Bars and parts"),
      h("div.row", {}, tool("A bar begins here", "B", () => edit("bar-here", { all: true })), h("button", { onclick: () => edit("bar-here") }, `… in part ${part.name} only`)),
      h("div.row", {}, h("button", { onclick: () => edit("add-bar") }, "Add a bar after"), h("button", { onclick: () => edit("add-bar", { copy: true }) }, "Copy the bar"), h("button", { onclick: () => edit("drop-bar") }, "Delete the bar"),
        h("button", { onclick: () => edit("part-here") }, "A part begins with this bar"), h("button", { onclick: () => edit("join-part", { part: bar.part }), disabled: bar.part + 1 >= tune.state.parts.length }, "Join with the next part")),
      h("div.row", {}, field(`Part ${part.name} is played`, choice([1, 2, 3, 4].map((n) => [String(n), n === 1 ? "once" : `${n} times`]), String(part.repeats), (times) => edit("repeats", { part: bar.part, times: Number(times) }), `How often part ${part.name} is played`)),
        field("Pick-up", choice([["", "choose"], ["0", "none"], ["1/16", "sixteenth"], ["1/8", "eighth"], ["1/4", "quarter"], ["3/8", "three eighths"]], "", (length) => length && edit("pick-up", { length }), "Length of the pick-up of every part"))));
    const hear = h("div.row", {}, h("button", { onclick: () => around(), "aria-keyshortcuts": "H" }, "Hear the tune here"),
      tune.state.recording ? h("button", { onclick: () => aroundRecording(), "aria-keyshortcuts": "L" }, "Hear the recording here") : null);
    dock.replaceChildren(h("div.dock-head", {}, h("b.name", {}, note ? note.name : "rest"), h("span", {}, note ? lengthWords(note.length) : ""), h("span.soft", {}, where)), ...tools, hear, bars);
    drawStrip();
  }
  let barsOpen = false;

  function drawFacts() {
    const state = tune.state;
    const title = h("input", { type: "text", value: state.title, maxlength: 200, onchange: () => tune.edit({ op: "title", to: title.value }) });
    const tempo = h("input", { type: "number", min: 20, max: 400, step: 1, value: Math.round(state.tempo), onchange: () => tune.edit({ op: "tempo", to: Number(tempo.value) }) });
    const tonics = TONICS.includes(state.key.tonic) ? TONICS : [state.key.tonic, ...TONICS];
    const key = (tonic, mode) => tune.edit({ op: "key", to: `${tonic}:${mode}` });
    keepingFocus(facts, () => facts.replaceChildren(h("h2", {}, "The tune"), field("Title", title),
      h("div.row", {}, field("Type", choice(TYPES.map((t) => [t, t]), state.type, (to) => tune.edit({ op: "type", to }), "Type of tune")),
        field("Metre", choice((METRES.includes(state.metre) ? METRES : [state.metre, ...METRES]).map((m) => [m, m]), state.metre, (to) => tune.edit({ op: "metre", to }), "Metre"))),
      h("div.row", {}, field("Key", choice(tonics.map((t) => [t, t.replace("#", "♯").replace("b", "♭")]), state.key.tonic, (to) => key(to, state.key.mode), "Tonic"), choice(MODES.map((m) => [m, m]), state.key.mode, (to) => key(state.key.tonic, to), "Mode")),
        field("Tempo", tempo)),
      state.anew.heard ? anew.element() : "",
      h("div.row", {}, h("button.small", { onclick: () => tune.edit({ op: "octave", by: 1 }) }, "Octave up"), h("button.small", { onclick: () => tune.edit({ op: "octave", by: -1 }) }, "Octave down"), h("span.soft", {}, state.form)),
      state.remarks.length ? h("details", {}, h("summary", {}, "What the program noticed"), h("ul.plain", {}, state.remarks.map((text) => h("li", {}, text)))) : ""));
  }

  const anew = rereading(tune, facts, () => drawRows());

  // ---- doubts, one after another
  function drawDoubts() {
    const all = tune.state.doubts;
    doubts.hidden = !all.length;
    doubt = Math.min(doubt, all.length - 1);
    doubts.replaceChildren(h("h2", {}, "To check by ear"), h("p.soft", {}, `${all.length} ${all.length === 1 ? "place is" : "places are"} left`),
      h("ol.plain", {}, all.map((one, at) => h("li", { class: at === doubt ? "current" : null },
        h("button.link", { onclick: () => goDoubt(at) }, one.words), h("span", {}, one.why),
        h("button.small", { onclick: () => right(at), "aria-label": `${one.words} is right as it is` }, "Right as it is")))));
  }
  function goDoubt(at) {
    const all = tune.state.doubts;
    if (!all.length) { say("There is nothing left to check."); return; }
    doubt = (at + all.length) % all.length;
    const one = all[doubt];
    if (one.bars.length) choose({ bar: one.bars[0], note: 0 }, true);
    drawDoubts();
    say(`${one.words}: ${one.why}`);
    if (tune.state.recording) hearTape(one.from, one.to);
  }
  function right(at) {
    const one = tune.state.doubts[at];
    if (one) tune.edit({ op: "right", first: one.first, last: one.last });
  }

  // ---- hearing
  const player = transport(async () => {
    const { tune: score } = await tune.score();
    return { bank: melodyBank(), score, ranges: ranges(score, tune.state.parts), bar: light, at: lightNote };
  });
  function light(bar) {
    for (const old of $$(".now", music)) old.classList.remove("now");
    if (bar) for (const one of drawn.bar(bar[0])) one.classList.add("now");
    if (!bar) for (const old of $$(".sounding", music)) old.classList.remove("sounding");
  }
  let sounding = "";
  function lightNote(bar, ms) {
    const score = tune.scores?.tune;
    if (!score) return;
    let at = -1;
    for (const note of score.notes) if (note[0] <= ms && note[0] >= bar[1] - 1 && note[0] < bar[2]) at = note[5];
    const now = `${bar[0]}:${at}`;
    if (now === sounding) return;
    sounding = now;
    for (const old of $$(".sounding", music)) old.classList.remove("sounding");
    for (const head of drawn.notes({ bar: bar[0], note: at })) head.classList.add("sounding");
  }
  const around = careful(async () => {
    const { tune: score } = await tune.score();
    const at = score.bars.findIndex((bar) => bar[0] === chosen.bar);
    const from = score.bars[Math.max(at - 1, 0)];
    player.go(from[1], score.bars[Math.min(at + 1, score.bars.length - 1)][2]);
  });
  function hearTape(from, to) {
    silence();
    playTape(Math.max(from - 0.15, 0), to, { speed: player.speed, loop: player.loop, at: follow, ended: () => light(null) }).catch(() => say("The recording cannot be played in this browser."));
  }
  function follow(seconds) {
    const bar = tune.state.heard.find(([from, to]) => from <= seconds && seconds < to);
    for (const old of $$(".now")) old.classList.remove("now");
    if (!bar) return;
    if (bar[2] >= 0) for (const one of drawn.bar(bar[2])) one.classList.add("now");
    for (const one of $$(`[data-heard="${tune.state.heard.indexOf(bar)}"]`, strip)) one.classList.add("now");
  }
  function aroundRecording() {
    const mine = tune.state.heard.filter((bar) => bar[2] === chosen.bar);
    const bar = mine[passes % Math.max(mine.length, 1)];
    if (!bar) { say("This bar was not found in the recording."); return; }
    passes++;
    hearTape(bar[0] - 0.4, bar[1] + 0.4);
    drawStrip(tune.state.heard.indexOf(bar));
  }
  let passes = 0;

  // ---- the recording's picture, the row of the chosen bar
  function drawStrip(at) {
    if (!rows) return;
    strip.hidden = false;
    const heard = at ?? tune.state.heard.findIndex((bar) => bar[2] === chosen.bar);
    const row = rows.find((one) => one.bars.includes(heard)) || rows[0];
    if (!row) { strip.hidden = true; return; }
    if (strip.dataset.row !== String(row.bars[0])) {
      strip.dataset.row = String(row.bars[0]);
      strip.innerHTML = row.svg;
      for (const bar of $$("[data-heard]", strip)) bar.setAttribute("tabindex", "0");
    }
    for (const bar of $$("[data-heard]", strip)) bar.classList.toggle("now", Number(bar.dataset.heard) === heard);
  }
  function drawRows() {
    delete strip.dataset.row;
    return get(tune.address("/picture")).then((found) => { rows = found.rows; drawStrip(); }).catch(() => { strip.hidden = true; });
  }
  const heardBar = (event) => {
    const bar = event.target.closest("[data-heard]");
    if (!bar) return;
    const [from, to, written] = tune.state.heard[Number(bar.dataset.heard)];
    if (written >= 0) choose({ bar: written, note: 0 }, true);
    hearTape(from, to);
  };
  strip.addEventListener("click", heardBar);
  strip.addEventListener("keydown", (event) => { if (event.key === "Enter" || event.key === " ") { event.preventDefault(); event.stopPropagation(); heardBar(event); } });
  if (tune.state.heard.length) {
    strip.hidden = false;
    strip.replaceChildren(h("p.wait", {}, "Drawing what was heard …"));
    drawRows();
  }

  music.addEventListener("click", (event) => {
    const place = nearest(event);
    if (place) choose(place);
  });
  const help = h("dialog", { "aria-label": "Keys" }, h("h2", {}, "Keys"), h("dl.keys", {}, KEYS.flatMap(([key, words]) => [h("dt", {}, key.split("  ").map((one) => h("kbd", {}, one))), h("dd", {}, words)])),
    h("button", { onclick: () => help.close() }, "Close"));
  const refit = () => { const now = matchMedia("(max-width: 44rem)").matches; if (now !== fitted) { fitted = now; tune.load().then(draw, () => {}); } };
  let fitted = matchMedia("(max-width: 44rem)").matches;
  addEventListener("resize", refit);

  main.replaceChildren(h("div.bench", {}, h("div.sheet", {}, h("section.card", { "aria-label": "The music" }, h("p.print-only.facts-line", {}), music), strip), h("div.side", {}, history, dock, doubts, facts)), help, anew.dialog);
  draw();
  choose(chosen, true);
  say("");

  function keys(event) {
    const { key, shiftKey: shift, ctrlKey, metaKey } = event;
    if (ctrlKey || metaKey) {
      if (key.toLowerCase() === "z") { if (shift) tune.redo(); else tune.undo(); return true; }
      return false;
    }
    const acts = {
      ArrowRight: () => step(1), ArrowLeft: () => step(-1),
      ArrowUp: () => edit("pitch", shift ? { semitones: 1 } : { steps: 1 }), ArrowDown: () => edit("pitch", shift ? { semitones: -1 } : { steps: -1 }),
      PageUp: () => edit("pitch", { semitones: 12 }), PageDown: () => edit("pitch", { semitones: -12 }),
      ",": () => longer(-1), ".": () => longer(1), s: () => edit("split"), 3: () => edit("split", { into: 3 }), j: () => edit("join"), t: () => edit("tie"),
      i: () => edit("insert", tune.note(chosen) ? {} : { note: -1 }, tune.note(chosen) ? 1 : 0), x: () => edit("delete"), Delete: () => edit("delete"), r: () => edit("delete", { rest: true }),
      b: () => edit("bar-here", { all: true }), " ": () => (voice.playing ? silence() : player.toggle()), h: () => around(), l: () => aroundRecording(),
      n: () => goDoubt(doubt + 1), o: () => right(Math.max(doubt, 0)), u: () => tune.undo(), y: () => tune.redo(), "?": () => help.showModal(),
    };
    const act = acts[key] || acts[key.toLowerCase()];
    if (!act) return false;
    stopTape();
    act();
    return true;
  }
  const unwatch = tune.watch();
  return { keys, left: () => { removeEventListener("resize", refit); unwatch(); } };
}
