// One tune as every view of it shares it: its state, edits in their order, undo, and what is stale.
import { get, post } from "./api.js";
import { $, fault, h, narrow, say } from "./ui.js";
import { loadTape } from "./sound.js";

export class Tune {
  constructor(id) { this.id = id; this.state = null; this.queue = Promise.resolve(); this.changed = () => {}; this.scores = null; }
  // Another tab or program may have changed it while this one was out of sight.
  watch() {
    const look = () => {
      if (document.hidden) return;
      this.queue = this.queue.then(async () => {
        const now = await get(this.address());
        if (now.version !== this.state.version) { this.took(now); this.changed(); say("The tune was changed elsewhere; this is how it is now."); }
      }).catch(() => {});
    };
    addEventListener("focus", look);
    return () => removeEventListener("focus", look);
  }
  address(path = "", more = "") { return `/api/tune/${this.id}${path}?narrow=${narrow() ? 1 : 0}${more}`; }
  async load() {
    this.took(await get(this.address()));
    if (this.state.recording) loadTape(`/api/tune/${this.id}/recording`);
    return this;
  }
  took(state) {
    this.state = state;
    this.scores = null;
    $("#title").textContent = state.title;
    const here = location.hash.endsWith("/stages");
    if (state.stages && !$("#steps [href$=stages]")) $("#steps").append(h("a", { href: `#/t/${this.id}/stages`, "aria-current": here ? "page" : null }, "Stages"));
  }
  async score() {
    if (!this.scores || this.scores.version !== this.state.version) this.scores = await get(this.address("/score"));
    return this.scores;
  }
  note(place) { return this.state.bars[place.bar]?.notes[place.note]; }

  // Edits go one after another, each on the version that the one before it made.
  edit(edit, place) {
    const meant = place ? JSON.stringify(this.note(place)) : null;
    return this.after(() => ({ edit }), () => !place || JSON.stringify(this.note(place)) === meant);
  }
  undo() { const words = this.state.undo; return this.after(() => ({ undo: true }), () => false, words ? `Undone: ${words}` : ""); }
  redo() { const words = this.state.redo; return this.after(() => ({ redo: true }), () => false, words ? `Done again: ${words}` : ""); }
  // Read the recording again as a type or metre; the program answers as to an edit.
  anew(kind, metre) { return this.after(() => ({ type: kind, metre }), () => false, "The recording is read anew.", "/anew"); }
  after(body, stillMeant, words = "", path = "/edit") {
    const work = async () => {
      const began = performance.now();
      try {
        this.took(await post(this.address(path), { version: this.state.version, ...body() }));
      } catch (error) {
        if (!error.stale) { fault(error); return false; }
        this.took(await get(this.address())); // somebody else changed it: see, and make the change again where it is still meant
        this.changed();
        if (!stillMeant()) { fault(error); return false; }
        try { this.took(await post(this.address("/edit"), { version: this.state.version, ...body() })); } catch (again) { fault(again); return false; }
      }
      this.changed();
      document.body.dataset.editMs = String(Math.round(performance.now() - began));
      if (words) say(words);
      return true;
    };
    this.queue = this.queue.then(work, work);
    return this.queue;
  }
}

// Draw engraved music into a box; give back where its notes and bars are.
export function drawMusic(box, html) {
  box.innerHTML = html;
  return {
    bar: (index) => [...box.querySelectorAll(`[data-written="${index}"]`)],
    notes: (place) => [...box.querySelectorAll(`[data-written="${place.bar}"] [data-note="${place.note}"]`)],
  };
}

// The note nearest to a click in a measure, by where it stands on the line.
export function nearest(event) {
  const measure = event.target.closest("[data-written]");
  if (!measure) return null;
  let best = null;
  for (const note of measure.querySelectorAll("[data-note]")) {
    const box = note.getBoundingClientRect();
    const off = Math.abs(event.clientX - (box.left + box.right) / 2);
    if (!best || off < best.off) best = { off, note: Number(note.dataset.note) };
  }
  return { bar: Number(measure.dataset.written), note: best ? Math.max(best.note, 0) : -1 };
}
