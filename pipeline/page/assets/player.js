// The bar at the foot of the page: play, loop, speed, count-in, from anywhere in the tune.
import { $, careful, h, remember, remembered, say } from "./ui.js";
import { silence, voice } from "./sound.js";

const seen = new ResizeObserver(([{ target }]) => document.body.style.setProperty("--foot", `${target.offsetHeight}px`));

// `what` gives {bank, score, ranges: [[words, from, to]]…, bar(bar), at(bar, ms), level(part)}; may be async.
export function transport(what, { layers = false } = {}) {
  const box = $("#bar");
  const play = h("button.strong.play", { "aria-keyshortcuts": "Space", onclick: () => (voice.playing ? silence() : go()) }, "Play");
  const range = h("select", { "aria-label": "What to play" });
  const where = h("span.where", { "aria-hidden": "true" });
  const speed = h("input", { type: "range", min: 40, max: 130, step: 5, value: remembered("speed", 100), "aria-label": "Speed in per cent" });
  const told = h("output", {}, `${speed.value} %`);
  speed.addEventListener("input", () => { told.textContent = `${speed.value} %`; remember("speed", speed.value); });
  const box_ = (name, words) => {
    const tick = h("input", { type: "checkbox", checked: remembered(name, "") === "1", onchange: () => remember(name, tick.checked ? "1" : "") });
    return [tick, h("label.check", {}, tick, words)];
  };
  const [loop, loopLabel] = box_("loop", "Loop");
  const [count, countLabel] = box_("count", "Count in");
  const [pulse, pulseLabel] = box_("pulse", "Pulse");
  const levels = {};
  const mixer = layers ? h("details.mixer", {}, h("summary", {}, "Voices"), ["m:Melody", "b:Bass", "i:Inner"].map((text) => {
    const [part, words] = text.split(":");
    levels[part] = h("input", { type: "range", min: 0, max: 100, step: 5, value: 100, "aria-label": `${words}, loudness` });
    return h("label.field", {}, h("span", {}, words), levels[part]);
  })) : null;
  let ready = null;
  async function prepared() {
    ready = await what();
    const before = range.value;
    range.replaceChildren(...ready.ranges.map(([words, from, to]) => h("option", { value: `${from}:${to}` }, words)));
    if ([...range.options].some((one) => one.value === before)) range.value = before;
    return ready;
  }
  const go = careful(async (from, to) => {
    silence();
    play.textContent = "Stop";
    const it = await prepared();
    const [begin, end] = range.value.split(":").map(Number);
    await voice.play(it.bank, it.score, from ?? begin, to ?? end, {
      speed: () => Number(speed.value) / 100, loop: () => loop.checked, count: count.checked, pulse: () => pulse.checked,
      level: (part) => (levels[part] ? Number(levels[part].value) / 100 : 1),
      bar: (bar) => { where.textContent = bar[3] ? `bar ${bar[3]}` : "pick-up"; it.bar(bar); }, at: it.at,
      ended: () => { play.textContent = "Play"; where.textContent = ""; it.bar(null); },
    });
  });
  box.replaceChildren(play, h("label.quiet", {}, range), h("label.field.speed", {}, h("span", {}, "Speed"), speed, told),
    loopLabel, countLabel, pulseLabel, ...(mixer ? [mixer] : []), where);
  box.hidden = false;
  seen.observe(box);
  careful(prepared)();
  return {
    go, refresh: careful(prepared), toggle: () => play.click(), speed: () => Number(speed.value) / 100, loop: () => loop.checked,
    select(from, to) { const text = `${from}:${to}`; if ([...range.options].some((one) => one.value === text)) range.value = text; },
    from(ms) { go(ms, ready ? ready.score.bars.at(-1)[2] : undefined); say(""); },
  };
}

// What can be played of a score: all, each part, and so on.
export function ranges(score, parts) {
  const bars = score.bars;
  if (!bars.length) return [["Nothing", 0, 0]];
  const found = [["Whole tune", bars[0][1], bars.at(-1)[2]]];
  parts.forEach((part, index) => {
    const mine = bars.filter((bar) => bar[4] === index && bar[5] === bars[0][5]);
    const once = mine.slice(0, Math.max(1, Math.floor(mine.length / Math.max(part.repeats, 1))));
    if (!once.length) return;
    found.push([`Part ${part.name}`, once[0][1], once.at(-1)[2]]);
    const full = once.filter((bar) => bar[3]);
    for (let at = 0; at + 4 <= full.length && full.length > 4; at += 4) {
      found.push([`Part ${part.name}, bars ${full[at][3]}–${full[at + 3][3]}`, full[at][1], full[at + 3][2]]);
    }
  });
  return found;
}
