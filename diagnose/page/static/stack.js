// The seal as a stack along the shaft: what turns on the left, what stands still on the right, a face pair side by side.
import { h } from "./dom.js";
import { answered, openOnes, perishing, store, topicsOf } from "./store.js";

const SHAPES = [
  ["face", "M4 26V12h9V6h10v20z"], ["wedge", "M4 26 16 8l12 18z"], ["elastomer bellows", "M6 6h20v5H12l10 5-10 5h14v5H6z"], ["elastomer", "M16 6a10 10 0 1 0 .01 0zM16 12a4 4 0 1 1-.01 0z"], ["secondary seal", "M4 12h24v8H4z"],
  ["flexible element", "M4 22l4-14 4 14 4-14 4 14 4-14 4 14"], ["drive part", "M12 4h8v24h-8z"], ["set screw", "M9 4h14v7h-4v17h-6V11H9z"], ["gland bolt", "M9 4h14v7h-4v17h-6V11H9z"], ["gland", "M4 4h8v8h16v8H12v8H4z"],
  ["sleeve", "M3 18h26v7H3zM3 14h6v4H3z"], ["collar", "M6 8h20v16H6zM14 8v16M18 8v16"], ["seal chamber", "M3 5h26v6H11v15H3z"], ["pot", "M9 4h14v4H9zM7 8h18v20H7zM7 16h18"],
];
const OPEN = new Set(["flexible element", "collar", "pot"]);

export function shape(kind) {
  const above = store.words.kinds[kind]?.lineage ?? [];
  const [name, path] = SHAPES.find(([k]) => above.includes(k)) ?? ["", "M5 8h22v16H5z"];
  return h("svg", { viewBox: "0 0 32 32", class: OPEN.has(name) ? "shape open" : "shape", "aria-hidden": "true" }, h("path", { d: path }));
}

function counts(topics) {
  const now = topics.filter((t) => t.stage === store.bench.stage);
  const seen = topics.flatMap((t) => Object.values(answered(t))).filter((s) => s === "present").length;
  return { seen, open: now.flatMap(openOnes).length, gone: now.flatMap(perishing).length };
}

function block(label, kind, topics, href, lost, extra = "") {
  const { seen, open, gone } = counts(topics);
  const told = [seen && `${seen} seen`, open > gone && `${open} to look for`].filter(Boolean).join(", ");
  return h("a", { class: `block ${extra} ${lost ? "lost" : ""} ${gone ? "perishes" : ""}`, href, "data-key": href },
    shape(kind), h("span", {}, h("b", {}, label), lost ? h("small", {}, `lost: ${lost}`) : told && h("small", {}, told), gone > 0 && h("strong", { class: "gone" }, `${gone} only now`)));
}

const partBlock = (p, extra) => block(`${p.item} ${p.name}`, p.kind, topicsOf(p.item), `#/part/${encodeURIComponent(p.item)}`, p.lost, extra);

function rows(parts) {
  const turns = parts.filter((p) => p.group === "rotating");
  const stands = parts.filter((p) => p.group !== "rotating");
  const face = (p) => store.words.kinds[p.kind]?.lineage.includes("face");
  const pairs = turns.filter(face).map((t) => [t, stands.find((s) => face(s) && (s.touches.includes(t.item) || t.touches.includes(s.item)))]).filter(([, s]) => s);
  const used = new Set(pairs.flat());
  const left = [turns.filter((p) => !used.has(p)), stands.filter((p) => !used.has(p))];
  const rest = [...Array(Math.max(left[0].length, left[1].length)).keys()].map((i) => [left[0][i], left[1][i]]);
  return [...pairs, ...rest].map(([a, b], i) => h("div", { class: `pair ${i < pairs.length ? "faces" : ""}` }, a ? partBlock(a, "turns") : h("span"), b ? partBlock(b, "stands") : h("span")));
}

export function stack() {
  const { bench, words } = store;
  const ofSeal = (p) => (words.kinds[p.kind]?.place === "seal" || p.group) && p.position !== "machine" || p.group;
  const seals = bench.positions.map((position) => {
    const parts = bench.parts.filter((p) => ofSeal(p) && (p.position === position));
    return parts.length && [h("h2", {}, bench.positions.length > 1 ? `${position[0].toUpperCase()}${position.slice(1)} seal` : "Seal"), h("div", { class: "stack" }, rows(parts))];
  });
  const around = bench.parts.filter((p) => !(ofSeal(p) && bench.positions.includes(p.position)));
  const asked = bench.topics.filter((t) => t.kind && !t.part);
  const now = new Set(asked.filter((t) => t.stage === bench.stage).map((t) => t.kind));
  const later = [...new Set(asked.map((t) => t.kind))].filter((k) => !now.has(k));
  const kind = (k) => block(k[0].toUpperCase() + k.slice(1), k, topicsOf("", k), `#/kind/${encodeURIComponent(k)}`, "");
  return h("div", {}, h("p", { class: "sides" }, h("span", {}, "Turns with the shaft"), h("span", {}, "Stands still")), seals,
    around.length > 0 && [h("h2", {}, "Around the seal"), h("div", { class: "grid" }, around.map((p) => partBlock(p)))],
    h("h2", {}, "Leak, machine and history"),
    h("div", { class: "grid" }, figures(), [...now].map(kind)),
    later.length > 0 && h("details", {}, h("summary", {}, "Asked about in other steps"), h("div", { class: "grid" }, later.map(kind))));
}

function figures() {
  const known = store.bench.asked.filter((a) => a.value !== null).length;
  return h("a", { class: "block", href: "#/figures", "data-key": "#/figures" }, shape(""), h("span", {}, h("b", {}, "Figures and settings"), h("small", {}, `${known} of ${store.bench.asked.length} on record`)));
}
