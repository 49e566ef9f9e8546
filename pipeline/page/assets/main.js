// The page: which view is shown, the keys that work everywhere.
import { $, $$, careful, h, say } from "./ui.js";
import { silence } from "./sound.js";

const STEPS = [["tune", "Tune"], ["tuning", "Tuning"], ["layers", "Layers"], ["practice", "Practice"]];
let left = () => {};
let keys = () => false;

const open = careful(async () => {
  const [, kind = "", id = "", step = "tune"] = location.hash.split("/");
  silence();
  left();
  left = () => {};
  keys = () => false;
  $("#bar").hidden = true;
  $("#bar").replaceChildren();
  const steps = $("#steps");
  steps.hidden = kind !== "t";
  document.body.dataset.view = kind === "t" ? step : kind || "shelf";
  const main = $("#main");
  main.replaceChildren(h("p.wait", {}, "One moment …"));
  let view;
  if (kind === "t") {
    steps.replaceChildren(...STEPS.map(([name, words]) => h("a", { href: `#/t/${id}/${name}`, "aria-current": name === step ? "page" : null }, words)));
    const module = { tune: "./mend.js", tuning: "./choose.js", layers: "./arrange.js", stages: "./stages.js", practice: "./practise.js" }[step] || "./mend.js";
    view = await (await import(module)).show(main, id);
  } else if (kind === "player") view = await (await import("./profile.js")).show(main);
  else view = await (await import("./shelf.js")).show(main);
  left = view?.left || left;
  keys = view?.keys || keys;
  document.title = `${$("#title").textContent} · liltwright`;
  if (location.hash) main.focus({ preventScroll: true });
  document.body.dataset.ready = location.hash || "#/";
});

addEventListener("hashchange", () => { delete document.body.dataset.ready; scrollTo(0, 0); open(); });
addEventListener("keydown", (event) => {
  if (event.key === "Escape") { silence(); for (const box of $$("dialog[open]")) box.close(); return; }
  const inside = event.target.closest("input, select, textarea, summary, [contenteditable], dialog, [role=tab]");
  const button = event.target.closest("button, a, [role=button]");
  if (inside || (button && (event.key === "Enter" || event.key === " "))) return;
  if (keys(event)) { event.preventDefault(); say(""); }
});
addEventListener("unhandledrejection", (event) => { $("#fault").textContent = event.reason?.message || "Something went wrong."; });
open();
