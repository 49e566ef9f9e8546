// The shelf: every tune, search, taking things in, sets.
import { finished, get, post, send } from "./api.js";
import { $, careful, h, say } from "./ui.js";
import { recorder } from "./record.js";

export async function show(main) {
  $("#title").textContent = "Tunes";
  let shelf = await get("/api/shelf");
  const list = h("ul.shelf", { "aria-label": "Tunes" });
  const search = h("input", { type: "search", placeholder: "Title, type, key, or first notes like FADCA", "aria-label": "Search tunes", oninput: () => draw() });
  const count = h("p.soft", { role: "status" });
  const tasks = h("div.tasks", { "aria-live": "polite" });
  const loose = h("div");
  const sets = h("section.card.sets", { "aria-label": "Sets" });
  const file = h("input", { type: "file", hidden: true, multiple: true, accept: "audio/*,.abc,.musicxml,.mxl,.xml,.mid,.midi,.json,.txt", "aria-label": "File to take in", tabindex: "-1" });
  file.addEventListener("change", () => { for (const one of file.files) take(one, one.name); file.value = ""; });
  const page = h("input", { type: "file", hidden: true, accept: ".musicxml,.mxl,.xml,.mid,.midi,.abc,.txt", "aria-label": "Tab to take apart", tabindex: "-1" });
  page.addEventListener("change", () => { for (const one of page.files) take(one, one.name, "&as=page"); page.value = ""; });
  const mic = recorder((blob, name) => { take(blob, name); });
  const drop = h("section.card.drop", { "aria-label": "Take a tune in" },
    h("h2", {}, "Hum it, or drop it here"), mic.element,
    h("div.row", {}, h("button", { onclick: () => file.click() }, "Choose a recording or a tune"), h("button", { onclick: () => page.click() }, "Take a finished tab apart"), file, page),
    h("p.soft", {}, "wav, flac, mp3, ogg, m4a, webm; ABC, MusicXML, MIDI; a finished tab (MusicXML with its strings, or text) is taken apart. Only this machine sees it. You must have the right to use it."), tasks);
  for (const kind of ["dragenter", "dragover"]) drop.addEventListener(kind, (event) => { if (!event.dataTransfer.types.includes("Files")) return; event.preventDefault(); drop.classList.add("over"); });
  for (const kind of ["dragleave", "drop"]) drop.addEventListener(kind, () => drop.classList.remove("over"));
  drop.addEventListener("drop", (event) => { event.preventDefault(); for (const one of event.dataTransfer.files) take(one, one.name); });

  function draw() {
    const words = search.value.trim().toLowerCase();
    const notes = words.replace(/[^a-g]/g, "").toUpperCase();
    const plain = /^[a-g\s\d|/]+$/.test(words) && notes.length > 2;
    const found = shelf.tunes.filter((tune) => {
      const text = `${tune.title} ${tune.tune_type} ${tune.key} ${tune.meter} ${tune.name}`.toLowerCase();
      return words.split(/\s+/).every((word) => text.includes(word)) || (plain && tune.first.replace(/ /g, "").includes(notes));
    });
    list.replaceChildren(...found.map(item));
    count.textContent = shelf.tunes.length ? `${found.length} of ${shelf.tunes.length} ${shelf.tunes.length === 1 ? "tune" : "tunes"} in the folder “${shelf.folder}”` : "No tune yet. Hum the first one.";
  }
  function item(tune) {
    return h("li", { draggable: "true", ondragstart: (event) => event.dataTransfer.setData("text/plain", tune.name) },
      h("a", { href: `#/t/${tune.id}/tune` }, h("b", {}, tune.title), h("span.soft", {}, `${tune.tune_type} in ${tune.key}, ${tune.meter}, ${tune.form}`)),
      h("span.first", { title: "First notes" }, tune.first),
      tune.doubts ? h("span.badge", {}, `${tune.doubts} to check`) : null,
      h("button.small", { onclick: () => add(tune), "aria-label": `Put ${tune.title} into the set` }, "+ set"));
  }
  const take = careful(async (blob, name, more = "") => {
    const box = h("div.task", {}, h("b", {}, name));
    const stage = h("span", {}, "sending");
    const bar = h("progress", { max: 1, value: 0, "aria-label": `Progress of ${name}` });
    const stop = h("button.small", { onclick: careful(async () => { stop.disabled = true; stage.textContent = "stopping"; await post(`/api/tasks/${task.id}/stop`); }) }, "Stop");
    const picture = h("div.first-picture");
    box.append(stage, bar, stop, picture);
    tasks.prepend(box);
    let task = null;
    try {
      task = blob.size === undefined ? await post("/api/take", blob) : await send(`/api/upload?name=${encodeURIComponent(name)}${more}`, blob, (part) => { bar.value = part; });
      await finished(task, (now) => {
        stage.textContent = now.stopping && !now.done ? "stopping" : now.stage;
        bar.value = now.fraction;
        if (now.picture && !picture.firstChild) {
          picture.append(h("img", { src: `/api/tasks/${task.id}/picture`, alt: `The sound of ${name}: time to the right, pitch upward` }));
          box.dataset.picture = "yes";
        }
      });
      const done = await get(`/api/tasks/${task.id}`);
      say(done.step === "stages" ? `${name} is taken apart.` : `${name} is written down.`);
      location.hash = `#/t/${done.tune}/${done.step}`;
    } catch (error) {
      stage.textContent = error.message;
      stage.className = "wrong";
      bar.remove();
      stop.textContent = "Away";
      stop.disabled = false;
      stop.onclick = () => box.remove();
    }
  });
  function drawLoose() {
    loose.replaceChildren();
    if (!shelf.loose.length) return;
    loose.append(h("details.card", { open: shelf.tunes.length ? null : true }, h("summary", {}, `${shelf.loose.length} ${shelf.loose.length === 1 ? "file lies" : "files lie"} in the folder and ${shelf.loose.length === 1 ? "is" : "are"} not taken in`),
      h("ul.plain", {}, shelf.loose.map((one) => h("li.row", {}, h("span", {}, one.name),
        h("button.small", { onclick: () => take({ id: one.id }, one.name), "aria-label": `Take ${one.name} in` }, one.recording ? "Write it down" : "Take it in"),
        one.recording ? null : h("button.small", { onclick: () => take({ id: one.id, apart: true }, one.name), "aria-label": `Take ${one.name} apart` }, "Take apart"))))));
  }

  // ---- sets
  let making = [];
  const byName = (name) => shelf.tunes.find((tune) => tune.name === name);
  function add(tune) {
    if (making.length < 5 && !making.includes(tune.name)) making.push(tune.name);
    drawSets();
    say(`${tune.title} is in the set.`);
  }
  const save = careful(async (all) => { shelf.sets = (await post("/api/sets", { sets: all })).sets; drawSets(); });
  function move(at, to) {
    if (to < 0 || to >= making.length) return;
    making.splice(to, 0, ...making.splice(at, 1));
    drawSets();
    $(`[data-set-at="${to}"] button`, sets)?.focus();
  }
  const plan = careful(async (box) => {
    box.replaceChildren(h("p.wait", {}, "Trying the orders …"));
    const ids = making.map((name) => byName(name)?.id).filter(Boolean).join(",");
    const found = await get(`/api/plan?ids=${ids}&order=keep`);
    box.replaceChildren(...found.plans.map((one) => h("pre", {}, one.lines.join("\n"))));
  });
  function drawSets() {
    const planned = h("div.planned");
    const order = h("ol.making", { "aria-label": "The set", ondragover: (event) => event.preventDefault(),
      ondrop: (event) => { event.preventDefault(); const tune = byName(event.dataTransfer.getData("text/plain")); if (tune && !event.dataTransfer.getData("set/at")) add(tune); } },
    making.map((name, at) => h("li", { draggable: "true", "data-set-at": at,
      ondragstart: (event) => { event.stopPropagation(); event.dataTransfer.setData("set/at", String(at)); event.dataTransfer.setData("text/plain", name); },
      ondrop: (event) => { const from = event.dataTransfer.getData("set/at"); if (from !== "") { event.preventDefault(); event.stopPropagation(); move(Number(from), at); } } },
    h("span", {}, byName(name)?.title || name),
    h("button.small", { onclick: () => move(at, at - 1), "aria-label": `${byName(name)?.title} earlier`, disabled: at === 0 }, "↑"),
    h("button.small", { onclick: () => move(at, at + 1), "aria-label": `${byName(name)?.title} later`, disabled: at === making.length - 1 }, "↓"),
    h("button.small", { onclick: () => { making.splice(at, 1); drawSets(); }, "aria-label": `Take ${byName(name)?.title} out of the set` }, "×"))));
    const name = h("input", { type: "text", maxlength: 100, placeholder: "Name of the set", "aria-label": "Name of the set" });
    sets.replaceChildren(h("h2", {}, "A set"), making.length ? order : h("ol.making.empty", order_drop(), h("li.soft", {}, "Drag two to five tunes here, or press “+ set”.")),
      making.length > 1 ? h("div.row", {}, h("button.strong", { onclick: () => plan(planned) }, "Plan it"), name,
        h("button", { onclick: () => save([...shelf.sets, { name: name.value.trim() || "Set", tunes: making }]) }, "Keep it")) : "",
      planned,
      shelf.sets.length ? h("ul.plain", {}, shelf.sets.map((one, at) => h("li.row", {},
        h("button.small", { onclick: () => { making = [...one.tunes]; drawSets(); } }, one.name), h("span.soft", {}, one.tunes.map((n) => byName(n)?.title || n).join(" · ")),
        h("button.small", { "aria-label": `Delete the set ${one.name}`, onclick: () => save(shelf.sets.filter((_, i) => i !== at)) }, "×")))) : "");
  }
  const order_drop = () => ({ ondragover: (event) => event.preventDefault(), ondrop: (event) => { event.preventDefault(); const tune = byName(event.dataTransfer.getData("text/plain")); if (tune) add(tune); } });

  draw();
  drawLoose();
  drawSets();
  main.replaceChildren(h(shelf.tunes.length ? "div.two" : "div.two.empty", {}, h("div", {}, h("section.card", { "aria-label": "The shelf" }, h("div.row", {}, search, h("a.button", { href: "#/player" }, "You and your guitar")), count, list), loose), h("div", {}, drop, sets)));
  return { left: () => mic.close(), keys: (event) => { if (event.key === "/") { search.focus(); return true; } return false; } };
}
