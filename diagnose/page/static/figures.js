// Figures and settings of the case, one after the other: choices as keys, numbers on the keypad, the rest as text.
import { button, choices, dialog, draw, h } from "./dom.js";
import { keypad } from "./keypad.js";
import { answer, store, valueOf } from "./store.js";

const title = (a) => a.title[0].toUpperCase() + a.title.slice(1);
const shown = (value) => (Array.isArray(value) ? value.join(", ") : value ?? "");

export function figures() {
  const asked = store.bench.asked;
  const open = asked.filter((a) => valueOf(a) === null);
  return [h("h1", { tabindex: "-1" }, "Figures and settings"),
    open.length > 0 && h("p", { class: "row" }, button(`Ask me the ${open.length} that are open`, () => next(0), { class: "main", "data-key": "ask" })),
    h("ul", { class: "figures" }, asked.map((a) => h("li", {}, button([h("span", {}, title(a)), h("b", {}, shown(valueOf(a)) || "not said")], () => edit(a), { "data-key": a.key }))))];
}

function next(number) {
  const open = store.bench.asked.map((a, i) => [a, i]).find(([a, i]) => i >= number && valueOf(a) === null);
  if (open) edit(open[0], () => next(open[1] + 1));
}

function edit(a, then) {
  const { readings, settings, choices: few } = store.words;
  const set = async (to, why) => {
    await answer({ whats: [{ set: a.path, to, ...(why ? { why } : {}) }] });
    then?.();
  };
  const old = valueOf(a);
  const why = old === null ? "" : "corrected at the bench";
  if (readings[a.key]) {
    keypad(title(a), { ...readings[a.key], several: false }, ([value]) => set(value, why));
    if (then) document.querySelector("dialog .inside").append(h("p", { class: "row" }, button("Not known: go on", () => { document.querySelector("dialog").close(); then(); })));
    return;
  }
  const terms = settings[a.key]?.terms ?? few[a.key];
  const single = !settings[a.key] || settings[a.key].single;
  const made = dialog(title(a));
  function skip() {
    return button("Not known: go on", () => { made.close(); then(); });
  }
  if (terms) chosen();
  else {
    const field = h("input", { id: "text", value: shown(old) });
    draw(made.inside, h("form", { onsubmit: (e) => { e.preventDefault(); made.close(); if (field.value.trim()) set(field.value.trim(), why); } }, h("label", { for: "text" }, title(a)), field, h("p", { class: "row" }, h("button", { class: "main" }, "Record"))), then && h("p", { class: "row" }, skip()));
    field.focus();
  }
  function chosen(some = Array.isArray(old) ? [...old] : old ? [old] : []) {
    const act = (term) => {
      if (single) { made.close(); set(term, why); return; }
      chosen(some.includes(term) ? some.filter((t) => t !== term) : [...some, term]);
    };
    draw(made.inside, choices(single ? "One of" : "Any of", terms.map((t) => [t, t]), some, act, true),
      !single && h("p", { class: "row" }, button("Record", () => { made.close(); set(some, why); }, { class: "main" })), then && h("p", { class: "row" }, skip()));
  }
}
