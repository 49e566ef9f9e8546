// The plan of rounds: a layer and a loudness for each, and where a part does something else.
import { choice, field, h } from "./ui.js";
import { LAYERS } from "./panes.js";

const DYNAMICS = ["p", "mp", "mf", "f"].map((one) => [one, one]);
const planned = (one) => [`${one.layer}:${one.dynamic}`, ...one.parts.map((part) => `${part.part}=${part.layer}:${part.dynamic}`)].join("/");

// `opened` remembers which rounds show their parts.
export function roundsCard(tune, made, opened, play) {
  const plan = made.rounds.map((one) => ({ ...one, parts: one.parts.map((part) => ({ ...part })) }));
  const keep = () => tune.edit({ op: "rounds", to: plan.map(planned).join(" ") });
  const layers = [...LAYERS, ...made.lines.map((name) => [name, `${name[0].toUpperCase()}${name.slice(1)} bass`])];
  const names = [...new Set(tune.state.parts.map((part) => part.name))];
  const words = Object.fromEntries(layers);

  function byPart(one, at) {
    const other = one.parts.map((part) => `${part.part}: ${words[part.layer] || part.layer}, ${part.dynamic}`).join("; ");
    return h("details", { open: opened.has(at) ? true : null, ontoggle: (event) => { if (event.target.open) opened.add(at); else opened.delete(at); } },
      h("summary", { "aria-label": `Round ${at + 1} by part${other ? `: ${other}` : ""}` }, other || "By part"),
      names.map((name) => {
        const mine = one.parts.find((part) => part.part === name);
        const put = (more) => { one.parts = [...one.parts.filter((part) => part !== mine), ...(more ? [{ part: name, layer: mine?.layer || one.layer, dynamic: mine?.dynamic || one.dynamic, ...more }] : [])].sort((a, b) => names.indexOf(a.part) - names.indexOf(b.part)); keep(); };
        return h("div.row", {}, field(`Part ${name}`, choice([["", "as the round"], ...layers], mine?.layer || "", (to) => put(to && { layer: to }), `Layer of part ${name} in round ${at + 1}`)),
          mine ? choice(DYNAMICS, mine.dynamic, (to) => put({ dynamic: to }), `Loudness of part ${name} in round ${at + 1}`) : null);
      }));
  }
  return h("section.card", { "aria-label": "Rounds" }, h("h2", {}, "Rounds"),
    h("ol.rounds", {}, plan.map((one, at) => h("li", {}, choice(layers, one.layer, (to) => { one.layer = to; keep(); }, `Layer of round ${at + 1}`), choice(DYNAMICS, one.dynamic, (to) => { one.dynamic = to; keep(); }, `Loudness of round ${at + 1}`),
      h("button.small", { "aria-label": `Round ${at + 1} away`, disabled: plan.length === 1, onclick: () => { plan.splice(at, 1); opened.clear(); keep(); } }, "×"),
      names.length > 1 ? byPart(one, at) : null))),
    h("div.row", {}, h("button", { disabled: plan.length >= 12, onclick: () => { plan.push({ layer: "moving-bass", dynamic: "f", parts: [] }); keep(); } }, "One more round"), h("button", { onclick: () => play() }, "Play them all")));
}
