// What the views of layers share: which layer is looked at, which one stands under it, and the strip of grades.
import { $$, barWords, choice, field, h, remember, remembered, tabs } from "./ui.js";

export const LAYERS = [["melody", "Melody"], ["drone", "Drone"], ["plain-bass", "Plain bass"], ["moving-bass", "Moving bass"], ["fuller", "Fuller"]];
const WIDE = matchMedia("(min-width: 62rem)");

// Tabs for the layer; on a wide screen a second choice that is remembered: a layer under it, bar under bar.
export function layerChoice(label, names, start, change, key) {
  let layer = start;
  let wanted = remembered(key, "");
  const under = () => (WIDE.matches && wanted !== layer && names.some(([name]) => name === wanted) ? wanted : "");
  const list = tabs(label, names, layer, (to) => take(to, wanted));
  const second = h("span.row.under");
  const element = h("div.row.layer-choice", {}, list, second);
  function draw() {
    list.pick(layer);
    const others = names.filter(([name]) => name !== layer);
    const select = choice([["", "nothing"], ...others], under(), (to) => { take(layer, to); $$("select", second)[0].focus(); }, "Layer that stands under it, to compare");
    second.replaceChildren(field("Under it", select), under() ? h("button.small", { onclick: () => { take(under(), layer); $$("button", second)[0]?.focus(); }, title: "The lower layer up, the upper one down" }, "Swap") : "");
    second.hidden = !WIDE.matches || names.length < 2;
  }
  function take(to, below) {
    layer = to;
    if (below !== wanted) remember(key, below);
    wanted = below;
    draw();
    change();
  }
  draw();
  const fit = () => { draw(); if (wanted) change(); };
  WIDE.addEventListener("change", fit);
  return {
    element, get layer() { return layer; }, get under() { return under(); },
    query: () => `&name=${layer}${under() ? `&under=${under()}` : ""}`,
    words: () => { const title = Object.fromEntries(names); return under() ? `${title[layer]}, and ${title[under()]} under it` : title[layer]; },
    left: () => WIDE.removeEventListener("change", fit),
  };
}

// How hard each bar is; a bar chooses itself.
export function gradesOf(layers, name, bars, parts, chosen) {
  const most = Math.max(...layers.flatMap((one) => one.grades), 1);
  const now = layers.find((one) => one.name === name) || layers[0];
  return now.grades.map((grade, at) => {
    const words = barWords(bars[at], parts);
    const bar = h("button", { title: `${words}: ${grade.toFixed(1)} moves of both hands a second`, "aria-label": `${words}, ${grade.toFixed(1)} moves a second`, onclick: () => chosen(at) }, h("i"));
    bar.firstChild.style.height = `${(100 * grade) / most}%`;
    bar.classList.toggle("hard", grade > 0.8 * most);
    bar.dataset.bar = at;
    return bar;
  });
}

// Light the bar that sounds, and keep it on the screen.
export function light(panel, bar) {
  for (const old of $$(".now", panel)) old.classList.remove("now");
  if (!bar) return;
  for (const one of $$(`[data-written="${bar[0]}"], [data-bar="${bar[0]}"]`, panel)) {
    one.classList.add("now");
    const at = one.getBoundingClientRect();
    if (one.dataset.written && (at.top < 80 || at.bottom > innerHeight - 110)) one.scrollIntoView({ block: "center" });
  }
}
