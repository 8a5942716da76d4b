// One part or kind: what to look for now, readings, photos, own words, and what is on record.
import { button, dialog, draw, h } from "./dom.js";
import { keypad } from "./keypad.js";
import { mark } from "./mark.js";
import { photoKey } from "./photo.js";
import { sketch } from "./sketch.js";
import { spoken } from "./spoken.js";
import { answer, answered, openOnes, perishing, stageIndex, store, topicsOf, unsent } from "./store.js";

export function part(item, kind) {
  const it = store.bench.parts.find((p) => p.item === item);
  if (item && !it) return [h("h1", { tabindex: "-1" }, `Part ${item} is not on the list`)];
  const about = item ? { part: item } : { on: kind };
  const topics = topicsOf(item, kind);
  const now = stageIndex(store.bench.stage);
  const when = (test) => topics.filter((t) => test(stageIndex(t.stage) - now));
  const name = it ? `${it.item} ${it.name}` : kind[0].toUpperCase() + kind.slice(1);
  return [
    h("h1", { tabindex: "-1" }, name),
    h("p", { class: "soft" }, [store.words.kinds[it?.kind ?? kind]?.means, it?.lost && `Lost: ${it.lost}`, it?.index && `12 o'clock is at ${it.index}.`].filter(Boolean).join(" ")),
    looks("Look for", when((d) => d === 0), about),
    looks("Still open from steps before", when((d) => d < 0), about),
    readings("Measure", when((d) => d <= 0), about, it?.kind ?? kind),
    h("section", {}, h("h2", {}, "More"), h("div", { class: "row" },
      button("Own words", () => spoken(about, it?.kind ?? kind)), button("Another mark", () => another(about, it?.kind ?? kind, topics)),
      item && button("About this part", () => change(it))),
      photoKey((data) => answer({ about: item ? { part: item } : {} }, data)).element),
    onRecord(about),
    later(when((d) => d > 0), about, it?.kind ?? kind),
  ];
}

// What is open; of a step that is past only what can still be seen.
function looks(title, topics, about) {
  const now = topics.filter((t) => t.stage === store.bench.stage);
  const gone = new Set(now.flatMap(perishing));
  const features = [...new Set(topics.flatMap((t) => openOnes(t).filter((f) => now.includes(t) || store.words.features[f]?.lost !== t.stage)))];
  if (!features.length) return null;
  const damage = features.filter((f) => !store.words.features[f]?.sound);
  const sound = features.filter((f) => store.words.features[f]?.sound);
  const how = [...new Set(topics.map((t) => t.how).filter(Boolean))];
  return h("section", {}, h("h2", {}, title), how.map((x) => h("p", { class: "soft" }, x)), gone.size > 0 && h("p", { class: "warning" }, warning(topics[0].stage, gone.size)),
    h("div", { class: "tiles" }, damage.map((f) => tile(f, about, gone.has(f)))),
    damage.length > 1 && h("p", { class: "row" }, nothing(title, topics, damage, about), button(`None of these ${damage.length} is there`, () => record(damage, "absent", about), { class: "main", "data-key": `${title} none` })),
    sound.length > 0 && [h("h3", {}, "Or as a sound one shows it"), h("div", { class: "tiles" }, sound.map((f) => tile(f, about, gone.has(f))))]);
}

// What is answered alike on parts that are alike: one key for all of them, with what is open on each.
function nothing(title, topics, damage, about) {
  const items = [...new Set(topics.flatMap((t) => t.alike))].filter((item) => topicsOf(item).some((t) => openOnes(t).some((f) => damage.includes(f))));
  const open = (item) => damage.filter((f) => topicsOf(item).some((t) => openOnes(t).includes(f)));
  const all = () => [about.part, ...items].flatMap((item) => open(item).map((f) => ({ add: "observations", entry: { part: item, absent: f } })));
  return items.length > 0 && button(`None, and none on ${items.join(", ")} which are alike`, () => answer({ whats: all() }), { "data-key": `${title} none alike` });
}

export function warning(stage, count) {
  const step = store.words.steps[stageIndex(stage)];
  return `${count === 1 ? "One of these" : `${count} of these`} can only be seen now. ${step?.ends ?? ""}`;
}

const record = (features, state, about) => answer({ whats: features.map((f) => ({ add: "observations", entry: { ...about, [state]: f } })) });

const kindOf = (about) => store.bench.parts.find((p) => p.item === about.part)?.kind ?? about.on;

function tile(feature, about, gone) {
  return h("div", { class: gone ? "tile perishes" : "tile" },
    button([sketch(feature, kindOf(about)), h("span", {}, feature), gone && h("strong", { class: "gone" }, "only now")], () => mark(feature, about), { class: "there", "data-key": `there ${feature}`, "aria-label": `${feature}${gone ? ", only now" : ""}: there` }),
    button("Not there", () => record([feature], "absent", about), { "data-key": `absent ${feature}`, "aria-label": `${feature}: not there` }));
}

function later(topics, about, kind) {
  const features = [...new Set(topics.flatMap(openOnes))];
  const measures = readings("Measure in later steps", topics, about, kind);
  return (features.length > 0 || measures) && h("details", { class: "later" }, h("summary", {}, `Later steps: ${features.length} to look for`), h("div", { class: "tiles" }, features.map((f) => tile(f, about, false))), measures);
}

function readings(title, topics, about, kind) {
  const usual = [...new Set(topics.flatMap((t) => t.readings))];
  if (!usual.length) return null;
  const clock = about.part && store.words.kinds[kind]?.lineage.includes("face");
  return h("section", {}, h("h2", {}, title), h("div", { class: "row" }, usual.map((name) => button(name, () => keypad(name, store.words.readings[name], (values, at) =>
    answer({ whats: [{ add: "measurements", entry: { ...about, measured: name, readings: values, ...(at.length ? { at } : {}) } }] }), clock), { "data-key": `measure ${name}` }))));
}

// Any mark that this kind of part can have, found by its name.
function another(about, kind, topics) {
  const above = store.words.kinds[kind]?.lineage ?? [kind];
  const below = (on) => store.words.kinds[on]?.lineage.includes(kind);
  const fitting = Object.entries(store.words.features).filter(([, f]) => !f.on.length || f.on.some((on) => above.includes(on) || below(on)));
  const list = h("div", { class: "tiles" });
  const made = dialog("Another mark", h("label", {}, "Begins with", h("input", { id: "search", oninput: (e) => show(e.target.value) })), list);
  function show(word) {
    const asked = word.trim().toLowerCase();
    const found = fitting.filter(([name, f]) => [name, ...f.also].some((x) => x.toLowerCase().split(" ").some((w) => w.startsWith(asked)) || x.toLowerCase().startsWith(asked)));
    draw(list, found.slice(0, 60).map(([name]) => button([sketch(name, kind), h("span", {}, name)], () => { made.close(); mark(name, about); }, { class: "there" })), found.length > 60 && h("p", {}, `and ${found.length - 60} more: write a beginning`));
  }
  show("");
}

function change(it) {
  const old = store.bench.records.find((r) => r.place === "parts" && r.entry.item === it.item);
  const fields = { tag: "Tag tied to it", index: "12 o'clock is at which mark", name: "Name" };
  const told = {};
  const made = dialog(`${it.item} ${it.name}`, Object.entries(fields).map(([key, text]) => h("label", {}, text, h("input", { value: old.entry[key] ?? "", oninput: (e) => { told[key] = e.target.value.trim(); } }))),
    h("p", { class: "row" }, button("Record", () => amend(told, "told at the bench"), { class: "main" })),
    h("label", {}, "How it was lost", h("input", { id: "lost", oninput: (e) => { told.how = e.target.value.trim(); } })),
    h("p", { class: "row" }, button("This part is lost", () => told.how ? amend({ lost: told.how }, "lost") : made.element.querySelector("#lost").focus()),
      button("This seal has no such part", () => { made.close(); answer({ whats: [{ withdraw: old.id, why: "this seal has none" }] }); location.hash = "#/"; })));
  function amend({ how, ...more }, why) {
    const entry = Object.fromEntries(Object.entries({ ...old.entry, ...more }).filter(([, v]) => v !== ""));
    made.close();
    answer({ whats: [{ add: "parts", entry, "instead of": old.id, why }] });
  }
}

// ---- on record ------------------------------------------------------------------------------------------------

function onRecord(about) {
  const mine = store.bench.records.filter((r) => r.place !== "parts" && (about.part ? r.entry.part === about.part : !r.entry.part && r.entry.on === about.on));
  const coming = unsent().filter((x) => x.case === store.case).flatMap((x) => x.answer.whats ?? []).filter((w) => w.entry && w.add !== "parts" && (about.part ? w.entry.part === about.part : w.entry.on === about.on));
  if (!mine.length && !coming.length) return null;
  const absent = mine.filter((r) => "absent" in r.entry);
  const rest = mine.filter((r) => !("absent" in r.entry));
  return h("section", {}, h("h2", {}, "On record"), coming.length > 0 && h("p", {}, `${coming.length} kept on this tablet, on the way`),
    h("ul", { class: "records" }, rest.map(row)), absent.length > 0 && h("details", {}, h("summary", {}, `Looked for and not there (${absent.length})`), h("ul", { class: "records" }, absent.map(row))));
}

function row(r) {
  const photo = r.entry.photo;
  const text = r.says.replace(/^part [^:]*: /, "").replace(/, photo [^,]*$/, "");
  return h("li", {}, photo && h("img", { src: `/photos/${encodeURIComponent(store.case)}/${encodeURIComponent(photo)}`, alt: `Photo of ${text}`, loading: "lazy" }),
    h("span", {}, h("small", {}, r.id), " ", text), button("Correct", () => correct(r), { class: "quiet", "aria-label": `Correct ${text}`, "data-key": `correct ${r.id}` }));
}

const WHY = ["tapped by mistake", "looked at again", "read wrongly"];

// A record is taken back or told anew, and why; what it said stays in the journal.
export function correct(r) {
  let why = WHY[0];
  const lower = h("div", {});
  const state = ["saw", "absent", "lost", "not looked at"].find((s) => s in r.entry);
  const about = r.entry.part ? { part: r.entry.part } : { on: r.entry.on };
  const made = dialog("Correct", h("p", {}, r.says), lower);
  function show() {
    draw(lower, h("fieldset", { class: "choices" }, h("legend", {}, "Why"), WHY.map((w) => button(w, () => { why = w; show(); }, { "aria-pressed": String(why === w), "data-key": w }))),
      h("label", {}, "or in your words", h("input", { oninput: (e) => { if (e.target.value.trim()) why = e.target.value.trim(); } })),
      h("p", { class: "row" }, button("Take it back", () => { made.close(); answer({ whats: [{ withdraw: r.id, why }] }); }, { class: "main" }),
        state && button("Tell it anew", () => { made.close(); mark(r.entry[state], about, { "instead of": r.id, why }); }),
        r.entry.measured && button("Read it anew", () => { made.close(); keypad(r.entry.measured, store.words.readings[r.entry.measured], (values) => answer({ whats: [{ add: "measurements", entry: { ...about, measured: r.entry.measured, readings: values }, "instead of": r.id, why }] })); })));
  }
  show();
}
