// Arrange: the layers on tabs, pins, chords and bass by part, the plan of rounds, grades, playing with a cursor.
import { finished, get, post } from "./api.js";
import { $, $$, barWords, careful, choice, fault, field, h, keepingFocus, lengthWords, say } from "./ui.js";
import { bankOf, silence, voice } from "./sound.js";
import { ranges, transport } from "./player.js";
import { Tune, drawMusic, nearest } from "./tune.js";
import { undoKeys } from "./choose.js";
import { LAYERS, gradesOf, layerChoice, light } from "./panes.js";
import { roundsCard } from "./rounds.js";

const kept = { layer: "plain-bass" };

export async function show(main, id) {
  const tune = await new Tune(id).load();
  let made = null;
  let chosen = null;
  let drawn = null;
  let turn = 0;
  const music = h("div.music.layer-music", { tabindex: "0", role: "group", "aria-label": "The layer. Choose a note, then press 1 to 6 to pin it to a string." });
  const head = h("div");
  const strip = h("div.grades", { role: "group", "aria-label": "How hard each bar is" });
  const pin = h("section.card.dock", { "aria-label": "The chosen note" });
  const side = h("div.side-cards");
  const panel = h("section.card", { role: "tabpanel", id: "panel", "aria-label": "The layer" }, strip, music);
  const trouble = h("div.trouble", { hidden: true, role: "alert" });

  const load = async () => {
    const mine = ++turn;
    const began = performance.now();
    panel.setAttribute("aria-busy", "true");
    try {
      const [found, engraved] = await Promise.all([get(tune.address("/layers")), get(tune.address("/layer", list.query()))]);
      if (mine !== turn) return;
      made = found;
      trouble.hidden = true;
      draw(engraved.music);
      document.body.dataset.arrangedMs = String(Math.round(performance.now() - began));
    } catch (error) {
      if (mine !== turn) return;
      trouble.hidden = false;
      trouble.replaceChildren(h("p", {}, error.message), h("div.row", {}, tune.state.undo ? h("button", { onclick: () => tune.undo() }, `Undo: ${tune.state.undo}`) : "",
        tune.state.wishes.pins.length ? h("button", { onclick: () => tune.edit({ op: "pin", all: true }) }, "Let all pins go") : "", tune.state.wishes.setup ? h("button", { onclick: () => tune.edit({ op: "setup", to: "" }) }, "Take the best tuning") : ""));
    } finally {
      if (mine === turn) panel.removeAttribute("aria-busy");
    }
  };
  tune.changed = () => { load(); };

  function draw(html) {
    const now = shown();
    head.replaceChildren(h("p.lead", {}, `${made.setup.tuning}, ${made.setup.capo_words}; sounds in ${made.setup.sounds} `, h("a", { href: `#/t/${id}/tuning` }, "change")),
      h("div.note", {}, now.remarks.map((text) => h("p", {}, text))));
    drawn = drawMusic(music, html);
    for (const one of tune.state.wishes.pins) for (const note of drawn.notes(one)) note.classList.add("pinned");
    drawGrades();
    drawPin();
    drawSide();
    player.refresh();
  }
  const shown = () => made.layers.find((one) => one.name === list.layer) || made.layers[0];
  const list = layerChoice("Layers", LAYERS, kept.layer, () => { kept.layer = list.layer; say(list.words()); load(); }, "under");
  const drawGrades = () => strip.replaceChildren(...gradesOf(made.layers, list.layer, tune.state.bars, tune.state.parts, (at) => choose({ bar: at, note: 0 })));

  // ---- a note and its string
  function choose(place) {
    chosen = place;
    for (const old of $$(".chosen", music)) old.classList.remove("chosen");
    for (const note of drawn.notes(place)) note.classList.add("chosen");
    drawPin();
    const held = heldOn(place);
    const note = tune.note(place);
    if (note) say(`${note.name}, ${barWords(tune.state.bars[place.bar], tune.state.parts)}${held ? `, string ${held[0]}, fret ${held[1]}` : ""}`);
  }
  function heldOn(place) {
    const note = tune.note(place);
    const now = made && shown();
    return note && now ? now.strings[place.bar].find((one) => one[2] === note.start) : null;
  }
  function drawPin() {
    const place = chosen;
    const note = place && tune.note(place);
    if (!note) { pin.replaceChildren(h("p.soft", {}, "Choose a note to pin it to another string: press 1 to 6, or drag it up or down.")); return; }
    const held = heldOn(place);
    const mine = tune.state.wishes.pins.find((one) => one.bar === place.bar && one.note === place.note);
    const symbol = h("input", { type: "text", size: 6, maxlength: 12, value: (tune.state.chords.find(([bar]) => bar === place.bar) || [0, "", ""])[2], placeholder: "as found", "aria-label": "Chord from the beginning of the bar",
      onchange: () => tune.edit({ op: "chord", bar: place.bar, start: tune.state.bars[place.bar].low, to: symbol.value }) });
    pin.replaceChildren(h("div.dock-head", {}, h("b.name", {}, note.name), h("span", {}, lengthWords(note.length)), h("span.soft", {}, barWords(tune.state.bars[place.bar], tune.state.parts)), held ? h("span.soft", {}, `string ${held[0]}, ${held[1] ? `fret ${held[1]}` : "open"}`) : ""),
      h("div.row.strings-row", { role: "group", "aria-label": "String" }, [6, 5, 4, 3, 2, 1].map((string) => stringButton(string, held, mine)), mine ? h("button", { onclick: () => setPin(0), "aria-keyshortcuts": "0" }, "Let go") : null),
      h("div.row", {}, field("Chord", symbol), h("button", { onclick: () => playFrom(), "aria-keyshortcuts": "H" }, "Play from here")));
  }
  function stringButton(string, held, mine) {
    const fret = tune.note(chosen).midi + made.setup.transpose - made.setup.capo - made.setup.strings[6 - string];
    return h("button", { "data-string": string, "aria-pressed": String(held?.[0] === string), class: mine?.string === string ? "pinned" : null, disabled: fret < 0 || fret > 17, "aria-keyshortcuts": String(string), title: fret < 0 ? "too low for this string" : `fret ${fret}`, onclick: () => setPin(string) }, `${string}`, h("small", {}, fret < 0 || fret > 17 ? "–" : String(fret)));
  }
  async function setPin(string) {
    if (!chosen) { say("Choose a note first."); return; }
    const done = await tune.edit({ op: "pin", ...chosen, string }, chosen);
    if (done) say(string ? `Pinned to string ${string}.` : "Let go.");
  }
  music.addEventListener("click", (event) => { const place = nearest(event); if (place && place.note >= 0) choose(place); });
  let drag = null;
  music.addEventListener("pointerdown", (event) => {
    const tab = event.target.closest("[data-note]");
    if (!tab || event.pointerType === "touch") return;
    drag = { y: event.clientY, place: nearest(event) };
  });
  addEventListener("pointerup", dropped);
  function dropped(event) {
    if (!drag) return;
    const { y, place } = drag;
    drag = null;
    const held = heldOn(place);
    const off = Math.round((event.clientY - y) / 13);
    if (!held || !off) return;
    chosen = place;
    const string = Math.max(1, Math.min(6, held[0] + off));
    if (string !== held[0]) setPin(string);
  }

  // ---- beside the music
  function drawSide() {
    const wishes = tune.state.wishes;
    const parts = tune.state.parts;
    const lines = Object.fromEntries(wishes.lines.split(" ").filter(Boolean).map((one) => one.split("=")));
    const effort = shown().difficulty;
    keepingFocus(side, () => side.replaceChildren(
      h("section.card", { "aria-label": "How it is arranged" }, h("h2", {}, "How it is arranged"),
        h("div.row", {}, field("Effort", choice([["easier", "easier"], ["as is", "as is"], ["harder", "harder"]], wishes.effort, (to) => tune.edit({ op: "effort", to }), "How hard it may be")),
          h("label.check", {}, h("input", { type: "checkbox", checked: wishes.ornaments, onchange: (event) => tune.edit({ op: "ornaments", to: event.target.checked }) }), "Ornaments")),
        made.lines.length ? h("div.row", {}, parts.map((part) => field(`Bass of part ${part.name}`, choice([["", "as usual"], ...made.lines.map((one) => [one, one])], lines[part.name] || "", (to) => tune.edit({ op: "line", part: part.name, to }), `Bass line of part ${part.name}`)))) : "",
        wishes.pins.length ? h("p", {}, `${wishes.pins.length} pinned: ${wishes.pins.map((one) => one.words).join(", ")} `, h("button.small", { onclick: () => tune.edit({ op: "pin", all: true }) }, "Let all go")) : "",
        h("p.soft", {}, `${(effort.moves_per_second || 0).toFixed(1)} moves of both hands a second; widest stretch ${Math.round(effort.largest_stretch_mm || 0)} mm; the hand shifts in ${Math.round(100 * (effort.share_of_bars_with_shift || 0))} % of the bars.`)),
      roundsCard(tune, made, opened, playRounds),
      h("section.card", { "aria-label": "Paper and files" }, h("h2", {}, "Paper and files"), h("div.row", {}, h("button", { onclick: () => print() }, "Print this layer"), h("button", { onclick: () => writeAll() }, "Write every file")), files),
      h("section.cautions", {}, made.cautions.map((text) => h("p", {}, text)))));
  }
  const opened = new Set();
  const files = h("div");
  const listFiles = careful(async () => {
    const found = await get(tune.address("/files"));
    files.replaceChildren(h("details", {}, h("summary", {}, `${found.files.length} files in the tune's folder`), h("ul.plain.files", {}, found.files.map((one) => h("li", {}, h("a", { href: `/api/tune/${id}/file?name=${encodeURIComponent(one.name)}`, download: one.name }, one.name))))));
  });
  const writeAll = careful(async () => {
    const bar = h("progress", { max: 1, "aria-label": "Writing" });
    files.replaceChildren(bar);
    try { await finished(await post(`/api/tune/${id}/write`), (now) => { say(now.stage); }); say("Every file is written."); } catch (error) { fault(error); }
    await listFiles();
  });

  // ---- playing
  const sound = () => get(tune.address("/sound"));
  let data = null;
  const player = transport(async () => {
    const version = tune.state.version;
    const key = `${id}:${version}`;
    if (!data || data.key !== key) data = { key, ...(await sound()) };
    const scores = data.scores;
    const score = scores[list.layer];
    const all = ranges(score, tune.state.parts);
    return { bank: bankOf(key, async () => data), score, ranges: all, bar: (bar) => light(panel, bar) };
  }, { layers: true });
  const playFrom = careful(async () => {
    const bar = data?.scores[list.layer].bars.find((one) => one[0] === chosen?.bar);
    if (bar) player.from(bar[1]);
  });
  const playRounds = careful(async () => {
    silence();
    const score = data.scores.performance;
    await voice.play(bankOf(data.key, async () => data), score, 0, score.bars.at(-1)[2], { speed: player.speed, bar: (bar) => light(panel, bar), ended: () => light(panel, null) });
  });

  main.replaceChildren(h("div.bench", {}, h("div.sheet", {}, head, list.element, trouble, panel), h("div.side", {}, pin, side)));
  panel.prepend(h("p.wait", { id: "arranging" }, "Arranging …"));
  await load();
  $("#arranging")?.remove();
  listFiles();
  let fitted = matchMedia("(max-width: 44rem)").matches;
  const refit = () => { const now = matchMedia("(max-width: 44rem)").matches; if (now !== fitted) { fitted = now; load(); } };
  addEventListener("resize", refit);

  function step(by) {
    let { bar, note } = chosen || { bar: 0, note: -1 };
    note += by;
    const bars = tune.state.bars;
    while (note < 0 || note >= bars[bar].notes.length) {
      bar += by;
      if (bar < 0 || bar >= bars.length) return;
      note = by > 0 ? 0 : bars[bar].notes.length - 1;
      if (!bars[bar].notes.length) note = by > 0 ? 1e6 : -1;
    }
    choose({ bar, note });
  }
  function keys(event) {
    if (undoKeys(event, tune)) return true;
    const { key } = event;
    if (/^[0-6]$/.test(key) && chosen) { setPin(Number(key)); return true; }
    const held = chosen && heldOn(chosen);
    const acts = { ArrowRight: () => step(1), ArrowLeft: () => step(-1), " ": () => player.toggle(), h: () => playFrom(),
      ArrowUp: () => held && setPin(Math.max(1, held[0] - 1)), ArrowDown: () => held && setPin(Math.min(6, held[0] + 1)) };
    const act = acts[key] || acts[key.toLowerCase()];
    if (!act) return false;
    act();
    return true;
  }
  const unwatch = tune.watch();
  return { keys, left: () => { unwatch(); removeEventListener("resize", refit); removeEventListener("pointerup", dropped); list.left(); } };
}
