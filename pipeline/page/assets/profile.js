// The player's profile as a form: the same that `liltwright player` asks for.
import { get, post } from "./api.js";
import { $, careful, choice, field, h, say } from "./ui.js";

const SIZES = [["scale_mm", "Scale length", "mm"], ["body_fret", "Frets to the body", ""], ["past_body", "Frets beyond it you reach", ""], ["highest_capo", "Highest capo", "fret"], ["comfort_mm", "Comfortable stretch", "mm"], ["widest_mm", "Widest stretch", "mm"]];

export async function show(main) {
  $("#title").textContent = "You and your guitar";
  const { player, limits, string_sets: sets, tunings } = await get("/api/player");
  const changed = {};
  const set = (name, text) => { changed[name] = text; };
  const sizes = SIZES.map(([name, words, unit]) => {
    const [low, high, what] = limits[name];
    const input = h("input", { type: "number", min: low, max: high, step: Number.isInteger(low) && !name.endsWith("_mm") ? 1 : 0.5, value: player[name], title: what, onchange: () => set(name, input.value) });
    return field(words, input, unit ? h("small", {}, unit) : null);
  });
  const names = h("datalist", { id: "tunings" }, tunings.map((name) => h("option", { value: name })));
  const list = (name, words, hint) => {
    const input = h("input", { type: "text", value: player[name].join(", "), placeholder: hint, onchange: () => set(name, input.value || "none") });
    return field(words, input);
  };
  const now = h("input", { type: "text", list: "tunings", value: player.present_tuning, onchange: () => set("present_tuning", now.value) });
  const save = careful(async () => {
    await post("/api/player", changed);
    for (const name of Object.keys(changed)) delete changed[name];
    say("Kept. Rankings fit you from now on.");
    done.textContent = "Kept. Rankings fit you from now on.";
  });
  const done = h("p", { role: "status" });
  main.replaceChildren(h("form.card.profile", { onsubmit: (event) => { event.preventDefault(); save(); } }, h("h2", {}, "Your hand and your guitar"),
    h("div.grid", {}, sizes, field("Strings", choice(sets.map((one) => [one, one]), player.string_set, (to) => set("string_set", to), "String set")),
      field("Open strings", choice(["like", "neutral", "avoid"].map((one) => [one, one]), player.open_strings, (to) => set("open_strings", to), "Open strings")),
      field("Left-handed charts", h("input", { type: "checkbox", checked: player.left_handed, onchange: (event) => set("left_handed", event.target.checked ? "yes" : "no") }))),
    h("h2", {}, "Tunings"), names, field("The guitar is now in", now), list("tunings_used", "You use", "DADGAD, drop D"), list("tunings_avoided", "You would rather not", "open C"), list("tunings_never", "Never", "CGDGAD"),
    h("div.row", {}, h("button.strong", { onclick: save }, "Keep it"), h("a.button", { href: "#/" }, "Back to the tunes")), done,
    h("p.soft", {}, "Kept on this machine, in the same place as by ", h("code", {}, "liltwright player"), ".")));
  return {};
}
