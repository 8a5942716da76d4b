// The look that tells most next, what perishes first; and the way from one step of dismantling to the next.
import { button, dialog, draw, h } from "./dom.js";
import { warning } from "./part.js";
import { answer, answered, openOnes, perishing, stageIndex, store, topicsOf } from "./store.js";

// The looks of the plan that nobody has answered on this tablet yet.
function left() {
  return (store.standing?.next ?? []).filter((s) => {
    if (!s.features.length) return true;
    const topics = place(s).flatMap(([item, kind]) => topicsOf(item, kind));
    return !topics.length || topics.some((t) => s.features.some((f) => t.features.includes(f) && !(f in answered(t))));
  });
}

const place = (s) => (s.items.length ? s.items.map((i) => [i, ""]) : [["", s.part]]);

function href(s) {
  const open = s.items.find((i) => topicsOf(i).some((t) => s.features.some((f) => t.features.includes(f) && !(f in answered(t))))) ?? s.items[0];
  return open ? `#/part/${encodeURIComponent(open)}` : store.words.kinds[s.part] ? `#/kind/${encodeURIComponent(s.part)}` : "#/figures";
}

export function next() {
  const [first, ...others] = left();
  const step = store.words.steps[stageIndex(store.bench.stage)];
  const at = step ? `Step ${stageIndex(step.stage) + 1} of ${store.words.steps.length}: ${step.name}` : "The step is not said";
  const parts = (s) => s.items.map((i) => store.bench.parts.find((p) => p.item === i)).filter(Boolean).map((p) => `${p.item} ${p.name}`).join(", ");
  return h("section", { class: `next ${first?.perishes ? "perishes" : ""}`, "aria-label": "Next look" },
    h("p", { class: "step" }, h("span", {}, at), button("Other step", steps, { class: "quiet", "data-key": "steps" })),
    first ? h("a", { class: "look", href: href(first), "data-key": "next" }, h("small", {}, "Next"), h("b", {}, first.name), h("span", {}, parts(first) || first.part),
      first.perishes && h("strong", { class: "gone" }, "Now: gone after this step")) : h("p", {}, store.standing ? "Nothing that is left would tell more." : "Working out what tells most …"),
    h("p", { class: "row" }, first && button("How, and what else", () => plan([first, ...others], parts), { class: "quiet", "data-key": "else" }), step && button("Done with this step", onward, { class: "quiet", "data-key": "onward" })));
}

function plan(all, parts) {
  const made = dialog("What tells most next", h("ol", { class: "looks" }, all.map((s) => h("li", {}, h("a", { href: href(s), onclick: () => made.close() }, s.name), h("p", {}, [parts(s) || s.part, s.minutes, s.why].filter(Boolean).join("; ")), h("p", { class: "soft" }, s.how)))));
}

const to = (stage) => answer({ whats: [{ set: ["stage"], to: stage }] });

// Before a step is left: what it takes with it and nobody has answered for.
function onward() {
  const number = stageIndex(store.bench.stage);
  const step = store.words.steps[number];
  const after = store.words.steps[number + 1];
  const made = dialog("Done with this step");
  const list = () => store.bench.topics.filter((t) => t.stage === step.stage).map((t) => [t, perishing(t)]).filter(([, gone]) => gone.length);
  const whats = (state, some) => some.flatMap(([t, gone]) => gone.map((f) => ({ add: "observations", entry: { ...(t.part ? { part: t.part } : { on: t.kind }), [state]: f } })));
  const name = (t) => store.bench.parts.find((p) => p.item === t.part)?.name ?? t.kind;
  show();
  function show() {
    const open = list();
    const count = open.reduce((sum, [, gone]) => sum + gone.length, 0);
    draw(made.inside, count ? h("p", { class: "warning" }, warning(step.stage, count)) : h("p", {}, `${step.ends} Nothing of it is open.`),
      h("ul", { class: "records" }, open.map(([t, gone]) => h("li", {}, h("a", { href: t.part ? `#/part/${encodeURIComponent(t.part)}` : `#/kind/${encodeURIComponent(t.kind)}`, onclick: () => made.close() }, `${t.part ? `${t.part} ` : ""}${name(t)}`), h("span", { class: "soft" }, gone.join(", ")),
        button("None is there", () => { answer({ whats: whats("absent", [[t, gone]]) }); show(); }, { "aria-label": `None of them is there on ${name(t)}`, "data-key": `none ${t.id}` })))),
      h("p", { class: "row" }, count > 0 && button("None of all these is there", () => { answer({ whats: whats("absent", open) }); show(); }, { "data-key": "none of all" }),
        count > 0 && button("Nobody looked", () => { answer({ whats: whats("not looked at", open) }); show(); }, { "data-key": "nobody" }),
        after && button(`Go on: ${after.name}`, () => { made.close(); to(after.stage); }, { class: "main", "data-key": "go on" })));
  }
}

function steps() {
  const made = dialog("Steps", h("ol", { class: "looks" }, store.words.steps.map((s) => h("li", {}, button(s.name, () => { made.close(); to(s.stage); }, { "aria-pressed": String(s.stage === store.bench.stage) }), h("p", { class: "soft" }, s.do)))),
    !store.bench.alone && h("p", {}, button("The seal came alone, without its machine", () => { made.close(); answer({ whats: [{ set: ["at hand"], to: store.words.alone }] }); })));
}

export function soFar() {
  dialog("So far", standing());
}

export function standing() {
  const found = store.standing;
  if (!found) return h("p", {}, "It is being worked out.");
  return found.positions.map((p) => h("section", {}, found.positions.length > 1 && h("h3", {}, `${p.position} seal`), h("p", {}, `What happened: ${p.happened.join(", ") || "open"}.`),
    h("ol", { class: "ranking" }, p.causes.map((c) => h("li", {}, h("b", {}, c.name), h("span", {}, `${c.share}, ${c.standing}`), h("meter", { min: 0, max: 1, value: c.probability, "aria-label": `${c.name}, ${c.share}` }))))));
}
