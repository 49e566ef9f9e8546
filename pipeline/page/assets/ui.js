// Small helpers: elements, words to the reader, lengths in words.
export const $ = (selector, root = document) => root.querySelector(selector);
export const $$ = (selector, root = document) => [...root.querySelectorAll(selector)];

// h("button.strong", { onclick, "aria-label": … }, "words", child …)
export function h(kind, given = {}, ...children) {
  const [tag, ...classes] = kind.split(".");
  const element = document.createElement(tag);
  if (classes.length) element.className = classes.join(" ");
  if (tag === "button") element.type = "button";
  for (const [name, value] of Object.entries(given)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "value" || name === "checked" || name === "innerHTML" || name === "disabled" || name === "hidden") element[name] = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  for (const child of children.flat()) {
    if (child !== undefined && child !== null && child !== false) element.append(child);
  }
  return element;
}

export const say = (words) => { $("#said").textContent = words; };
let hiding = 0;
export function fault(error) {
  const box = $("#fault");
  box.textContent = error.message || String(error);
  clearTimeout(hiding);
  hiding = setTimeout(() => { box.textContent = ""; }, 9000);
  if (!error.status && !(error instanceof DOMException) && error.stack && error.name !== "Error") console.error(error);
}
// Run something that may fail; the fault becomes a sentence.
export const careful = (work) => async (...given) => {
  try { return await work(...given); } catch (error) { fault(error); return undefined; }
};

export const number = (text) => { const [a, b = 1] = text.split("/").map(Number); return a / b; };
export const fraction = (value) => { // multiples of 1/192 of a whole note
  let [a, b] = [Math.round(value * 192), 192];
  for (const k of [2, 3]) while (a % k === 0 && b % k === 0) { a /= k; b /= k; }
  return b === 1 ? `${a}` : `${a}/${b}`;
};
const LENGTHS = [["1/16", "sixteenth"], ["1/12", "triplet eighth"], ["3/32", "dotted sixteenth"], ["1/8", "eighth"], ["3/16", "dotted eighth"],
  ["1/4", "quarter"], ["3/8", "dotted quarter"], ["1/2", "half"], ["3/4", "dotted half"], ["1", "whole"]];
export const lengths = LENGTHS;
export const lengthWords = (text) => (LENGTHS.find(([value]) => value === text) || [text, `${text} of a whole`])[1];
export const barWords = (bar, parts) => {
  const part = parts[bar.part] ? ` of part ${parts[bar.part].name}` : "";
  if (bar.kind === "pickup") return `pick-up${part}`;
  return bar.kind === "ending" ? `bar ${bar.number}, ending ${bar.ending + 1}` : `bar ${bar.number}`;
};
export const clock = (seconds) => `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;
export const narrow = () => matchMedia("(max-width: 44rem)").matches;
export const calm = () => matchMedia("(prefers-reduced-motion: reduce)").matches;

export function tabs(label, names, chosen, choose) {
  const list = h("div.tabs", { role: "tablist", "aria-label": label });
  const buttons = names.map(([id, words]) => h("button", {
    role: "tab", id: `tab-${id}`, "aria-selected": String(id === chosen), "aria-controls": "panel", tabindex: id === chosen ? "0" : "-1",
    onclick: () => choose(id),
    onkeydown: (event) => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!step) return;
      event.preventDefault();
      event.stopPropagation();
      const at = (names.findIndex(([one]) => one === id) + step + names.length) % names.length;
      buttons[at].focus();
      choose(names[at][0]);
    },
  }, words));
  list.append(...buttons);
  list.pick = (id) => names.forEach(([one], at) => {
    buttons[at].setAttribute("aria-selected", String(one === id));
    buttons[at].tabIndex = one === id ? 0 : -1;
  });
  return list;
}

export function field(words, control, more) {
  return h("label.field", {}, h("span", {}, words), control, more);
}
export function choice(options, value, change, label) {
  const list = h("select", { onchange: () => change(list.value), "aria-label": label },
    options.map(([id, words]) => { const one = h("option", { value: id }, words); one.selected = id === value; return one; }));
  return list;
}

// What this browser remembers between visits.
export const remembered = (name, other) => { try { return localStorage.getItem(`liltwright-${name}`) ?? other; } catch { return other; } };
export const remember = (name, value) => { try { localStorage.setItem(`liltwright-${name}`, value); } catch { /* a private window keeps nothing */ } };

// Draw a box anew with the focus on the control that had it.
export function keepingFocus(box, draw) {
  const had = box.contains(document.activeElement) ? document.activeElement : null;
  const name = (one) => `${one.tagName} ${one.getAttribute("aria-label") || one.textContent}`;
  const wanted = had && name(had);
  draw();
  if (wanted) $$("button, select, input, summary, a", box).find((one) => name(one) === wanted)?.focus({ preventScroll: true });
}
