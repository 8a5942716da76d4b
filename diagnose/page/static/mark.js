// One mark: how far round, how heavy, on which side, which one of several, a photo, a remark; one key puts it on record.
import { button, choices, dialog, draw, h, says } from "./dom.js";
import { dial, written } from "./dial.js";
import { photoKey } from "./photo.js";
import { sketch } from "./sketch.js";
import { answer, store } from "./store.js";

const OTHERS = [["absent", "Not there"], ["lost", "Can no longer be seen"], ["not looked at", "Nobody looked"]];

// `about` is {part} or {on}; `instead` the record that is corrected, and why.
export function mark(feature, about, instead = {}) {
  const known = store.words.features[feature] ?? { sides: [], means: "", how: "" };
  const part = store.bench.parts.find((p) => p.item === about.part);
  const said = { extent: "", arc: null, degree: "", side: "", which: [], of: 0, note: "" };
  const datum = { index: part?.index || store.bench.index[part?.group] || localStorage.getItem("index") || "", seen: part?.seen_from || store.bench.seen_from || localStorage.getItem("seen") || "" };
  const round = dial((arc) => { said.arc = arc; said.extent = ""; show(); });
  const photos = photoKey();
  const upper = h("div", {});
  const lower = h("div", {});
  const made = dialog(feature, h("div", { class: "shown" }, sketch(feature, part?.kind ?? about.on), h("div", {}, known.means && h("p", {}, known.means), known.how && h("p", { class: "soft" }, known.how))),
    upper, part && round.element, lower, photos.element,
    h("label", {}, "Remark", h("input", { id: "note", oninput: (e) => { said.note = e.target.value; } })),
    h("p", { class: "row" }, OTHERS.map(([state, text]) => button(text, () => record(state)))),
    h("p", { class: "foot" }, button("Record: it is there", () => record("saw"), { class: "main" })));

  const turn = (key) => (value) => { said[key] = said[key] === value ? "" : value; if (key === "extent" && said.extent) { said.arc = null; round.clear(); } show(); };
  function show() {
    draw(upper, choices("How heavy", store.words.degrees.map((d) => [d, d]), said.degree, turn("degree")),
      known.sides.length > 0 && choices("Where", known.sides.map((s) => [s, s]), said.side, turn("side")),
      part && choices("How far round", store.words.extents.map((e) => [e, e]), said.extent, turn("extent")));
    draw(lower, said.arc && index(), part && several());
  }
  // A clock position says nothing without the mark it is counted from and the end it is seen from.
  function index() {
    if (part.index && part.seen_from) return h("p", { class: "soft" }, `Counted from ${part.index}, seen from the ${part.seen_from}.`);
    return [h("label", {}, "12 o'clock is at which mark of this part", h("input", { value: datum.index, oninput: (e) => { datum.index = e.target.value.trim(); } })),
      choices("Seen from", store.words.ends.map((e) => [e, e]), datum.seen, (e) => { datum.seen = e; show(); })];
  }
  function several() {
    if (!isSeveral(part.kind)) return null;
    const toggle = (n) => { said.which = said.which.includes(n) ? said.which.filter((x) => x !== n) : [...said.which, n]; show(); };
    const all = [...Array(Math.max(12, said.of)).keys()].map((i) => [String(i + 1), String(i + 1)]);
    return [choices("Which ones, counted clockwise from the mark", all, said.which, toggle, true),
      choices("Of how many", all, said.of ? String(said.of) : "", (n) => { said.of = +n === said.of ? 0 : +n; show(); })];
  }
  function entry(state) {
    const more = state === "saw" ? { extent: said.extent || written(said.arc), degree: said.degree, side: said.side, which: said.which.toSorted((a, b) => a - b), of: said.of ? String(said.of) : "" } : {};
    const full = { ...about, [state]: feature, ...more, note: said.note.trim() };
    return Object.fromEntries(Object.entries(full).filter(([, v]) => v.length));
  }
  async function record(state) {
    const whats = [];
    if (state === "saw" && said.arc && !(part.index && part.seen_from)) {
      if (!datum.index || !datum.seen) {
        says("Say first from which mark and from which end the clock is counted.", "wrong");
        lower.querySelector("input, button")?.focus();
        return;
      }
      localStorage.setItem("index", datum.index);
      localStorage.setItem("seen", datum.seen);
      whats.push(indexed(part, datum));
    }
    whats.push({ add: "observations", entry: entry(state), ...instead });
    made.close();
    await answer({ whats }, photos.first());
    for (const more of photos.rest()) await answer({ about: about.part ? { part: about.part } : {} }, more);
  }
  show();
}

function indexed(part, datum) {
  const old = store.bench.records.find((r) => r.place === "parts" && r.entry.item === part.item);
  return { add: "parts", entry: { ...old.entry, index: datum.index, "seen from": datum.seen }, "instead of": old.id, why: "marked at the bench" };
}

function isSeveral(kind) {
  const above = store.words.kinds[kind]?.lineage ?? [];
  return ["spring", "drive part", "set screw", "gland bolt"].some((k) => above.includes(k));
}
