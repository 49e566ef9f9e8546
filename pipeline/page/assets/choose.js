// Choose: where the tune sits. Table and picture in one; sliders move the ranking while they are dragged.
import { get } from "./api.js";
import { $, calm, careful, choice, h, say } from "./ui.js";
import { Tune } from "./tune.js";

const SHOWN = 12;

export async function show(main, id) {
  const tune = await new Tune(id).load();
  let ranking = await get(tune.address("/ranking"));
  const factors = { ...tune.state.wishes.matters };
  let most = SHOWN;
  let picked = [];
  const list = h("ol.ranking", { "aria-label": "Tunings, best first" });
  const told = h("p.soft", { role: "status" });
  const compared = h("section.card.compared", { hidden: true, "aria-label": "Two tunings compared" });
  const detail = h("section.card.detail", { "aria-label": "The chosen tuning" });
  const chosenId = () => tune.state.wishes.setup || ranking.setups[0].id;

  // The score is the mean of the parts, weighed, and what the arrangement adds; as in the program's ranking.
  function scored() {
    const weights = ranking.parts.map((part) => part.weight * (factors[part.name] ?? 1));
    const whole = weights.reduce((a, b) => a + b, 0) || 1;
    return ranking.setups
      .map((setup) => ({ setup, score: (100 * setup.partial.reduce((sum, value, at) => sum + value * weights[at], 0)) / whole + setup.extra * (factors[ranking.arranged.name] ?? 1) }))
      .sort((a, b) => b.score - a.score || a.setup.rank - b.setup.rank);
  }
  let kept = { ...factors };
  const items = new Map();
  function draw() {
    const order = scored().slice(0, most);
    const before = new Map([...items].filter(([, one]) => one.isConnected).map(([key, one]) => [key, one.getBoundingClientRect().top]));
    const best = order[0]?.score || 1;
    const least = (order.at(-1)?.score || 0) - 3;
    list.replaceChildren(...order.map(({ setup, score }, at) => {
      const row = items.get(setup.id) || make(setup);
      items.set(setup.id, row);
      row.update(at + 1, score, best, least);
      return row;
    }));
    if (!calm()) for (const row of list.children) {
      const was = before.get(row.dataset.setup);
      const now = row.getBoundingClientRect().top;
      if (was !== undefined && Math.abs(was - now) > 2) row.animate([{ transform: `translateY(${was - now}px)` }, { transform: "none" }], { duration: 220, easing: "ease-out" });
    }
    const dragged = JSON.stringify(kept) !== JSON.stringify(Object.fromEntries(Object.entries(factors).filter(([, value]) => value !== 1)));
    told.textContent = dragged ? "Let go, and the best are arranged anew and weighed." : `${order.length} of ${ranking.setups.length} that hold the whole tune; ${ranking.searched} were tried.`;
  }
  function make(setup) {
    const place = h("span.place");
    const meter = h("span.meter", { "aria-hidden": "true" }, h("i"));
    const score = h("span.score");
    const row = h("li", { "data-setup": setup.id }, place, h("div.what", {}, h("b", {}, setup.tuning), h("span", {}, `${setup.capo_words}, sounds in ${setup.sounds}`), setup.capo ? h("span.soft", {}, `${setup.shapes} shapes`) : null,
      setup.cautions.length ? h("span.caution", {}, "⚠ ", setup.cautions[0]) : null),
    discs(setup), h("div.mark", {}, score, meter),
    h("div.row", {}, h("button.pick", { onclick: () => pick(setup) }, "Play it here"), h("label.check", {}, h("input", { type: "checkbox", onchange: (event) => compareWith(setup, event.target) }), "compare")));
    row.update = (at, value, best, least) => {
      place.textContent = `${at}.`;
      score.textContent = value.toFixed(1);
      meter.firstChild.style.width = `${Math.max(0, Math.min(100, (100 * (value - least)) / Math.max(best - least, 0.1)))}%`;
      const mine = setup.id === chosenId();
      row.classList.toggle("mine", mine);
      $(".pick", row).textContent = mine ? "Chosen" : "Play it here";
      $(".pick", row).setAttribute("aria-pressed", String(mine));
    };
    return row;
  }
  function discs(setup) { // a full disc is the best there is
    const box = h("div.discs", { role: "img", "aria-label": ranking.parts.map((part, at) => `${part.name} ${setup.partial[at].toFixed(2)}`).join(", ") });
    ranking.parts.forEach((part, at) => {
      const disc = h("i", { title: `${part.name}: ${part.says} (${setup.partial[at].toFixed(2)})` });
      disc.style.setProperty("--full", String(Math.sqrt(Math.max(0, Math.min(1, setup.partial[at])))));
      box.append(disc);
    });
    return box;
  }
  const pick = careful(async (setup) => {
    await tune.edit({ op: "setup", to: setup.id });
    say(`${setup.tuning}, ${setup.capo_words} is chosen.`);
  });
  tune.changed = () => { draw(); drawDetail(); };

  // ---- sliders
  const sliders = h("div.sliders");
  const keepMatters = careful(async () => {
    const to = Object.fromEntries(Object.entries(factors).filter(([, value]) => value !== 1));
    await tune.edit({ op: "matters", to });
    ranking = await get(tune.address("/ranking"));
    kept = { ...tune.state.wishes.matters };
    items.clear();
    draw();
    drawDetail();
  });
  function drawSliders() {
    sliders.replaceChildren(...[...ranking.parts, ranking.arranged].map((part) => {
      const out = h("output", {}, `× ${(factors[part.name] ?? 1).toFixed(1)}`);
      const slider = h("input", { type: "range", min: 0, max: 4, step: 0.1, value: factors[part.name] ?? 1, name: `matters-${part.name}`, "aria-label": `${part.name}: ${part.says}`,
        oninput: () => { factors[part.name] = Number(slider.value); out.textContent = `× ${Number(slider.value).toFixed(1)}`; draw(); }, onchange: () => keepMatters() });
      return h("label.slider", { title: part.says }, h("span", {}, part.name), slider, out, h("small.soft", {}, part.says));
    }));
  }
  const evenly = h("button.small", { onclick: () => { for (const name of Object.keys(factors)) factors[name] = 1; drawSliders(); draw(); keepMatters(); } }, "As usual");

  // ---- the chosen one
  const drawDetail = careful(async () => {
    const id_ = chosenId();
    const found = await get(tune.address("/strings", `&setup=${encodeURIComponent(id_)}`));
    const ranked = ranking.setups.find((one) => one.id === id_);
    detail.replaceChildren(h("h2", {}, `${found.setup.tuning}, ${found.setup.capo_words}`),
      ranked?.reasons ? h("ul", {}, ranked.reasons.map((text) => h("li", {}, text))) : "",
      h("img.neck", { src: tune.address("/chart", `&setup=${encodeURIComponent(id_)}&v=${tune.state.version}`), alt: "Where the melody lies on the neck" }),
      h("table.strings", {}, h("caption", {}, "The strings as they are tuned"), h("thead", {}, h("tr", {}, ["String", "Note", "From usual", "Tension"].map((one) => h("th", { scope: "col" }, one)))),
        h("tbody", {}, found.strings.map((one) => h("tr", { class: one.danger ? "danger" : null }, h("th", { scope: "row" }, String(one.string)), h("td", {}, one.name), h("td", {}, one.semitones ? `${one.semitones > 0 ? "up" : "down"} ${Math.abs(one.semitones)}` : "as usual"), h("td", {}, `${one.newton} N${one.percent ? `, ${one.percent > 0 ? "+" : ""}${one.percent} %` : ""}`))))),
      ...found.cautions.map((text) => h("p.caution", {}, "⚠ ", text)),
      h("p.row", {}, h("a.button.strong", { href: `#/t/${id}/layers` }, "To the layers"), tune.state.wishes.setup ? h("button", { onclick: () => tune.edit({ op: "setup", to: "" }) }, "Back to the best") : null));
  });

  // ---- two bar by bar
  let layer = "plain-bass";
  const compareWith = careful(async (setup, box) => {
    picked = box.checked ? [...picked, setup].slice(-2) : picked.filter((one) => one.id !== setup.id);
    for (const row of list.children) $("input", row).checked = picked.some((one) => one.id === row.dataset.setup);
    compared.hidden = picked.length < 2;
    if (picked.length === 2) await drawCompared();
  });
  async function drawCompared() {
    compared.replaceChildren(h("p.wait", {}, "Arranging both …"));
    const [one, two] = picked;
    const found = await get(tune.address("/compare", `&one=${encodeURIComponent(one.id)}&two=${encodeURIComponent(two.id)}&layer=${layer}`));
    const words = (setup) => `${setup.short}, ${setup.capo_words}`;
    compared.replaceChildren(h("h2", {}, "Bar by bar"), choice([["melody", "Melody"], ["drone", "Drone"], ["plain-bass", "Plain bass"], ["moving-bass", "Moving bass"]], layer, careful(async (to) => { layer = to; await drawCompared(); }), "Layer to compare"),
      h("ul", {}, found.summary.map((text) => h("li", {}, text))),
      h("div.scroll", { tabindex: "0", role: "region", "aria-label": "Both tunings bar by bar" }, h("table.bars", {}, h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "Bar"), h("th", { scope: "col" }, words(found.one)), h("th", { scope: "col" }, words(found.two)), h("th", { scope: "col" }, "Easier"))),
        h("tbody", {}, found.bars.map((bar) => h("tr", {}, h("th", { scope: "row" }, bar.label), h("td.tab", {}, bar.tab_one), h("td.tab", {}, bar.tab_two), h("td", {}, bar.easier === "first" ? `◀ ${words(found.one)}` : bar.easier === "second" ? `${words(found.two)} ▶` : "alike")))))));
  }

  drawSliders();
  draw();
  drawDetail();
  main.replaceChildren(h("div.bench", {}, h("div.sheet", {}, h("section.card", {}, h("h2", {}, "Where it sits"), told, h("details.legend", {}, h("summary", {}, "What the discs say"), h("p.soft", {}, `A full disc is the best there is. In order: ${ranking.parts.map((part) => part.name).join(", ")}.`)), list, h("button", { onclick: () => { most += 20; draw(); } }, "Show more"),
    ranking.lower.length ? h("details", {}, h("summary", {}, "Why others came lower"), h("ul", {}, ranking.lower.map((text) => h("li", {}, text)))) : ""), compared),
  h("div.side", {}, detail, h("section.card", { "aria-label": "What matters" }, h("div.row", {}, h("h2", {}, "What matters to you"), evenly), sliders, h("a", { href: "#/player" }, "You and your guitar")))));
  return { keys: (event) => undoKeys(event, tune) };
}

export function undoKeys(event, tune) {
  const key = event.key.toLowerCase();
  if (key === "u" || (key === "z" && (event.ctrlKey || event.metaKey) && !event.shiftKey)) { tune.undo(); return true; }
  if (key === "y" || (key === "z" && (event.ctrlKey || event.metaKey))) { tune.redo(); return true; }
  return false;
}
