// The recording read again as another type or metre; what that takes away is named before.
import { careful, choice, field, h, say } from "./ui.js";

export const TYPES = ["reel", "jig", "slip jig", "hop jig", "slide", "hornpipe", "polka", "waltz", "mazurka", "strathspey", "barn dance", "march", "air"];
export const METRES = ["4/4", "2/2", "2/4", "3/4", "6/8", "9/8", "12/8", "3/8", "6/4", "3/2"];

// `box` is busy meanwhile; `read` draws what was heard again.
export function rereading(tune, box, read) {
  const as = { type: "", metre: "" };
  let open = false;
  const dialog = h("dialog", { "aria-labelledby": "sure-words" });
  const element = () => h("details.again", { open: open ? true : null, ontoggle: (event) => { open = event.target.open; } }, h("summary", {}, "Read the recording anew"),
    h("p.soft", {}, "The type and the metre above keep the bars that stand here. This finds the bars again, from what was heard."),
    h("div.row", {}, field("Type", choice([["", "as it is heard"], ...TYPES.map((t) => [t, t])], as.type, (to) => { as.type = to; }, "Type to read the recording as")),
      field("Metre", choice([["", "as the type has it"], ...METRES.map((m) => [m, m])], as.metre, (to) => { as.metre = to; }, "Metre to read the recording in"))),
    h("button", { onclick: () => (tune.state.anew.lost.length ? ask() : go()) }, "Read it anew"));
  function ask() {
    dialog.replaceChildren(h("h2", { id: "sure-words" }, "This takes your changes away"),
      h("p", {}, "The bars are found again from the recording, so what you changed since has no place any more:"),
      h("ul", {}, tune.state.anew.lost.map((words) => h("li", {}, words))),
      h("p", {}, "Key, octave and title stay. Undo brings everything back."),
      h("div.row", {}, h("button", { onclick: () => dialog.close() }, "Leave it as it is"), h("button.strong", { onclick: () => { dialog.close(); go(); } }, "Read it anew all the same")));
    dialog.showModal();
  }
  const go = careful(async () => {
    box.setAttribute("aria-busy", "true");
    say("Reading the recording anew.");
    try {
      if (await tune.anew(as.type, as.metre)) await read();
    } finally {
      box.removeAttribute("aria-busy");
    }
  });
  return { element, dialog };
}
