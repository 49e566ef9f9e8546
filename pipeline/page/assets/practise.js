// Practise: the recording slowed, the tune in one ear, bars in a loop, what was marked last time.
import { post } from "./api.js";
import { $$, barWords, careful, choice, h, narrow, say } from "./ui.js";
import { melodyBank, playTape, silence, stopTape, voice } from "./sound.js";
import { ranges, transport } from "./player.js";
import { Tune, drawMusic } from "./tune.js";

export async function show(main, id) {
  const tune = await new Tune(id).load();
  const state = tune.state;
  let marks = state.marks;
  let from = null;
  let to = null;
  let way = state.recording ? "recording" : "tune";
  const music = h("div.music.practice-music", { role: "group", tabindex: "0", "aria-label": "Choose the first and the last bar to loop." });
  const drawn = drawMusic(music, state.music);
  const told = h("p.lead", { role: "status" });
  const marked = h("ul.plain.marks");
  const stepUp = h("input", { type: "checkbox" });

  const player = transport(async () => {
    const { tune: score } = await tune.score();
    return { bank: melodyBank(), score, ranges: ranges(score, state.parts), bar: light };
  });

  function light(bar) {
    for (const old of $$(".now", music)) old.classList.remove("now");
    if (bar) for (const one of drawn.bar(bar[0])) one.classList.add("now");
  }
  const chosenBars = () => (from === null ? [] : Array.from({ length: Math.abs(to - from) + 1 }, (_, at) => Math.min(from, to) + at));
  function show_() {
    for (const old of $$(".looped", music)) old.classList.remove("looped");
    for (const bar of chosenBars()) for (const one of drawn.bar(bar)) one.classList.add("looped");
    const names = chosenBars().map((bar) => barWords(state.bars[bar], state.parts));
    told.textContent = names.length ? `Looping ${names.length === 1 ? names[0] : `${names[0]} to ${names.at(-1)}`}` : "Choose a bar, or two to mark a stretch; without one everything is played.";
    drawMarks();
  }
  function pick(bar, more) {
    if (from === null || !more) [from, to] = [bar, bar]; else to = bar;
    show_();
    go();
  }
  music.addEventListener("click", (event) => {
    const measure = event.target.closest("[data-written]");
    if (!measure) return;
    const bar = Number(measure.dataset.written);
    pick(bar, event.shiftKey || (from !== null && from === to && bar !== from && narrow()));
  });
  const heardSpan = (bars) => {
    const mine = state.heard.filter((bar) => bars.includes(bar[2]));
    if (!mine.length) return null;
    let last = 0; // one time through: as long as the bars follow one another
    while (last + 1 < mine.length && mine[last + 1][0] - mine[last][1] < 0.3 && mine[last + 1][2] > mine[last][2]) last++;
    return [mine[0][0], mine[last][1]];
  };
  const go = careful(async () => {
    silence();
    const bars = chosenBars();
    const { tune: score, heard } = await tune.score();
    const looping = () => bars.length > 0 || player.loop();
    if (way !== "tune" && state.recording) {
      const span = bars.length ? heardSpan(bars) : [state.heard[0]?.[0] ?? 0, state.heard.at(-1)?.[1] ?? 1e6];
      if (!span) { say("These bars were not found in the recording."); return; }
      if (way === "ears" && heard) {
        voice.play(melodyBank(), heard, 1000 * span[0], 1000 * span[1], { speed: player.speed, loop: looping, side: 1, cents: state.cents });
      }
      await playTape(span[0], span[1], { speed: player.speed, loop: looping, side: way === "ears" ? -1 : 0, at: (seconds) => {
        const bar = state.heard.find(([a, b]) => a <= seconds && seconds < b);
        light(bar && bar[2] >= 0 ? [bar[2]] : null);
      }, ended: () => light(null) });
      return;
    }
    const mine = score.bars.filter((bar) => !bars.length || bars.includes(bar[0]));
    let end = 0;
    while (end + 1 < mine.length && mine[end + 1][1] - mine[end][2] < 5 && (!bars.length || mine[end + 1][0] > mine[end][0])) end++;
    await voice.play(melodyBank(), score, mine[0][1], mine[end][2], { speed: player.speed, loop: looping, count: true, bar: light, ended: () => light(null),
      round: () => { if (stepUp.checked) faster(5); } });
  });
  function faster(by) {
    const speed = document.querySelector("#bar input[type=range]");
    speed.value = Number(speed.value) + by;
    speed.dispatchEvent(new Event("input"));
  }
  const mark = careful(async (bar, word) => { marks = (await post(`/api/tune/${id}/mark`, { bar, word })).marks; show_(); say(word ? "Marked for next time." : "No longer marked."); });
  function drawMarks() {
    for (const old of $$(".marked", music)) old.classList.remove("marked");
    for (const bar of Object.keys(marks)) for (const one of drawn.bar(Number(bar))) one.classList.add("marked");
    marked.replaceChildren(...Object.entries(marks).filter(([bar]) => state.bars[Number(bar)]).map(([bar, word]) => h("li.row", {}, h("button.link", { onclick: () => pick(Number(bar)) }, barWords(state.bars[Number(bar)], state.parts)), h("span.soft", {}, word),
      h("button.small", { onclick: () => mark(Number(bar), ""), "aria-label": `${barWords(state.bars[Number(bar)], state.parts)} is learnt` }, "learnt"))));
    if (!marked.firstChild) marked.append(h("li.soft", {}, "Nothing is marked. Choose a bar and press M."));
  }
  const today = () => `marked ${new Date().toLocaleDateString(undefined, { weekday: "long", day: "numeric", month: "long" })}`;
  const ways = state.recording ? [["recording", "The recording"], ["ears", "Recording left, tune right"], ["tune", "The tune on the guitar"]] : [["tune", "The tune on the guitar"]];
  const doubt = state.doubts.length ? h("p.note", {}, `${state.doubts.length} ${state.doubts.length === 1 ? "place" : "places"} of this tune ${state.doubts.length === 1 ? "is" : "are"} still to be checked by ear. `, h("a", { href: `#/t/${id}/tune` }, "Check them")) : "";
  main.replaceChildren(h("div.bench", {}, h("div.sheet", {}, told, h("section.card", { "aria-label": "The music" }, music)),
    h("div.side", {}, h("section.card", { "aria-label": "How to practise" }, h("h2", {}, "Practise"), choice(ways, way, (now) => { way = now; go(); }, "What to hear"),
      h("div.row", {}, h("button.strong", { onclick: () => (voice.playing ? silence() : go()) }, "Play the loop"), h("button", { onclick: () => silence() }, "Stop"), h("button", { onclick: () => { from = to = null; show_(); } }, "Whole tune")),
      h("div.row", {}, [60, 75, 90, 100].map((per) => h("button.small", { onclick: () => faster(per - 100 * player.speed()) }, `${per} %`))),
      h("label.check", {}, stepUp, "A little faster each time round"),
      state.recording ? "" : h("p.soft", {}, "No recording lies beside this tune."), doubt),
    h("section.card", { "aria-label": "Marked bars" }, h("h2", {}, "What you marked"), marked, h("button", { onclick: () => chosenBars().forEach((bar) => mark(bar, today())) }, "Mark the chosen bars")),
    h("section.card", { "aria-label": "The sheet" }, h("h2", {}, "On paper"), h("button", { onclick: () => print() }, "Print the tune"), h("p.soft", {}, "Stop when a hand, wrist or arm hurts; warm up, take breaks, build tempo slowly. A lasting pain is for a doctor.")))));
  show_();
  function keys(event) {
    const last = state.bars.length - 1;
    const acts = { " ": () => (voice.playing ? silence() : go()), m: () => chosenBars().forEach((bar) => mark(bar, today())),
      ArrowRight: () => pick(Math.min(last, (to ?? -1) + 1), event.shiftKey), ArrowLeft: () => pick(Math.max(0, (to ?? 1) - 1), event.shiftKey),
      "+": () => faster(5), "-": () => faster(-5) };
    const act = acts[event.key] || acts[event.key.toLowerCase()];
    if (!act) return false;
    act();
    return true;
  }
  return { keys, left: () => stopTape() };
}
