// A finished tab taken apart: what it is made of, and the stages to learn it by, shown and played like layers.
import { get } from "./api.js";
import { $$, h, narrow, say } from "./ui.js";
import { bankOf, silence, voice } from "./sound.js";
import { ranges, transport } from "./player.js";
import { Tune, drawMusic } from "./tune.js";
import { gradesOf, layerChoice, light } from "./panes.js";

const OF = "&of=stages";

export async function show(main, id) {
  const tune = await new Tune(id).load();
  const made = await get(tune.address("/layers", OF));
  const names = made.layers.map((one) => [one.name, one.title]);
  let drawn = null;
  let turn = 0;
  const music = h("div.music.stage-music", { tabindex: "0", role: "group", "aria-label": "The stage" });
  const strip = h("div.grades", { role: "group", "aria-label": "How hard each bar is" });
  const panel = h("section.card", { role: "tabpanel", id: "panel", "aria-label": "The stage" }, strip, music);
  const note = h("div.note");
  const order = h("ol.stages");

  async function load() {
    const mine = ++turn;
    panel.setAttribute("aria-busy", "true");
    try {
      const found = await get(tune.address("/layer", `${list.query()}${OF}`));
      if (mine !== turn) return;
      drawn = drawMusic(music, found.music);
      const now = made.layers.find((one) => one.name === list.layer);
      note.replaceChildren(...now.remarks.map((text) => h("p", {}, text)));
      strip.replaceChildren(...gradesOf(made.layers, list.layer, made.bars, made.parts, (at) => drawn.bar(at)[0]?.scrollIntoView({ block: "center" })));
      order.replaceChildren(...made.layers.map((one) => h("li", { class: one.name === list.layer ? "current" : null }, h("b", {}, one.title), h("span", {}, ` ${one.remarks[0] || ""}`))));
      player.refresh();
    } finally {
      if (mine === turn) panel.removeAttribute("aria-busy");
    }
  }
  const list = layerChoice("Stages", names, names[0][0], () => { say(list.words()); load(); }, "under-stage");
  let data = null;
  const player = transport(async () => {
    data = data || await get(tune.address("/sound", OF));
    const score = data.scores[list.layer];
    return { bank: bankOf(`${id}:stages`, async () => data), score, ranges: ranges(score, made.parts), bar: (bar) => light(panel, bar) };
  }, { layers: true });

  main.replaceChildren(h("div.bench", {},
    h("div.sheet", {}, h("p.lead", {}, `The finished tab: ${made.setup.tuning}, ${made.setup.capo_words}; sounds in ${made.setup.sounds}`), list.element, note, panel),
    h("div.side", {},
      h("section.card", { "aria-label": "Stages to learn it by" }, h("h2", {}, "Learn it by these"), order),
      made.words.length ? h("section.card", { "aria-label": "What the tab is made of" }, h("h2", {}, "What it is made of"), h("ul.plain.made-of", {}, made.words.slice(0, -1).map((text) => h("li", { class: text.startsWith("  ") ? "deeper" : null }, text.trim())))) : "",
      h("section.card", { "aria-label": "The tune without the tab" }, h("h2", {}, "The tune in it"), h("p", {}, "The melody stands on the page “Tune” and can be mended there; “Layers” has arrangements of our own. The stages stay as the tab has them."),
        h("div.row", {}, h("button", { onclick: () => print() }, "Print this stage"), h("a.button", { href: `#/t/${id}/layers` }, "Arrange the tune anew"))),
      h("section.cautions", {}, made.cautions.map((text) => h("p", {}, text))))));
  await load();
  let fitted = narrow();
  const refit = () => { if (narrow() !== fitted) { fitted = narrow(); load(); } };
  addEventListener("resize", refit);
  function keys(event) {
    if (event.key !== " ") return false;
    if (voice.playing) silence(); else player.toggle();
    return true;
  }
  const unwatch = tune.watch();
  return { keys, left: () => { unwatch(); removeEventListener("resize", refit); list.left(); for (const old of $$(".now", panel)) old.classList.remove("now"); } };
}
