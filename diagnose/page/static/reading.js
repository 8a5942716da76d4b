// Reading: the answer with its chain, the plan, why, what if a record were otherwise, and the report.
import { ask } from "./api.js";
import { button, draw, h } from "./dom.js";
import { standing } from "./next.js";
import { store } from "./store.js";

const VIEWS = { "": "Answer", plan: "Plan", why: "Why", "what-if": "What if", report: "Report, sheet" };
const percent = (x) => (x > 0.995 ? "over 99 %" : x < 0.005 ? "under 1 %" : `${Math.round(x * 100)} %`);
let asked = 0;

export async function reading(main, [name = "", ...more]) {
  const place = h("div", { class: "read", "aria-live": "polite" }, h("p", {}, "It is being worked out …"));
  draw(main, h("h1", { tabindex: "-1" }, store.bench.name),
    h("nav", { class: "tabs", "aria-label": "Reading" }, Object.entries(VIEWS).map(([key, text]) => h("a", { href: `#/reading${key && `/${key}`}`, "aria-current": key === name ? "page" : null }, text))), place);
  const mine = ++asked;
  const keep = (...children) => { if (mine === asked) draw(place, ...children); };
  try {
    await ({ "": whole, plan, why, "what-if": whatIf, report }[name] ?? whole)(keep, ...more);
  } catch (error) {
    keep(h("p", { class: "warning" }, error.message.startsWith("TypeError") ? "The machine does not answer; try again once it does." : error.message));
  }
}

const path = (what) => `/api/cases/${encodeURIComponent(store.case)}/${what}`;
const whyLink = (name, position) => h("a", { href: `#/reading/why/${encodeURIComponent(name)}/${encodeURIComponent(position)}` }, name);

async function whole(keep) {
  const found = await ask(path("explanation"), { long: true });
  keep(found.positions.map((p) => answer(p, found)), cautions(found), actions(found));
}

function answer(p, found) {
  const several = found.positions.length > 1;
  const causes = found.causes.filter((c) => c.position === p.position);
  return h("section", {}, several && h("h2", {}, `${p.position[0].toUpperCase()}${p.position.slice(1)} seal`), p.why_is_open && h("p", { class: "warning" }, p.why_is_open),
    p.chains.map((c) => h("div", {}, h("h3", {}, "What led to what"), h("ol", { class: "chain" }, c.main.map((name) => link(c, name, p.position))))),
    h("h3", {}, "Why it failed, by likelihood"),
    h("ol", { class: "ranking" }, causes.map((c) => h("li", {}, h("b", {}, whyLink(c.name, c.position)), h("span", {}, `${percent(c.probability)}, ${c.standing}`), h("meter", { min: 0, max: 1, value: c.probability, "aria-label": `${c.name}, ${percent(c.probability)}` }),
      h("details", {}, h("summary", {}, "What speaks for and against"), evidence(c))))),
    p.unexplained.length > 0 && h("p", {}, `Not explained by it: ${p.unexplained.join(", ")}.`));
}

function link(chain, name, position) {
  const one = chain.links.find((l) => l.name === name);
  const marks = (title, some) => some?.length > 0 && h("p", {}, `${title}: ${some.map((m) => m.finding).join("; ")}`);
  return h("li", {}, h("b", {}, whyLink(name, position)), one && [h("small", {}, one.kind), marks("shown by", one.shown_by), marks("expected and not there", one.expected_and_absent)]);
}

function evidence(c) {
  return h("table", {}, h("thead", {}, h("tr", {}, ["Finding", "State", "Weight"].map((x) => h("th", { scope: "col" }, x)))),
    h("tbody", {}, c.evidence.filter((e) => e.state !== "unrecorded").map((e) => h("tr", {}, h("td", {}, whyLink(e.finding, c.position), e.because.length > 0 && h("p", { class: "soft" }, e.because.join("; "))), h("td", {}, e.state), h("td", {}, e.weight.toFixed(1))))));
}

const cautions = (found) => found.cautions.length > 0 && h("section", { class: "care" }, h("h2", {}, "Take care"), h("p", {}, "Local codes, the site's safety rules and licensed practice come first."), h("ul", {}, found.cautions.map((c) => h("li", {}, h("b", {}, c.caution), `: ${c.says} ${c.defer}`))));
const actions = (found) => found.actions.length > 0 && h("section", {}, h("h2", {}, "What to change"), h("ul", {}, found.actions.map((a) => h("li", {}, a.do, h("p", { class: "soft" }, a.for.map((f) => f.name).join(", "))))));

async function plan(keep) {
  const found = await ask(path("explanation"), { long: true });
  const FIRST = { first: "First, because the next step destroys it", "any time": "Then", last: "Last, because it destroys evidence itself" };
  keep(h("p", {}, found.stop.says), Object.entries(FIRST).map(([when, title]) => {
    const steps = found.next.filter((s) => s.when === when);
    return steps.length > 0 && h("section", {}, h("h2", {}, title), h("ol", { class: "looks" }, steps.map((s) => h("li", {}, h("b", {}, s.measurement ?? s.question), h("p", {}, [s.part && `on ${s.part}${s.items.length ? ` (${s.items.join(", ")})` : ""}`, `${s.minutes} min`, s.why].filter(Boolean).join("; ")), h("p", { class: "soft" }, s.how)))));
  }), found.lost.length > 0 && h("section", {}, h("h2", {}, "Can no longer be told"), h("ul", {}, found.lost.map((g) => h("li", {}, `${g.finding}: ${g.why}`)))));
}

async function why(keep, name, position = "") {
  if (!name) {
    const found = await ask(path("explanation"), { long: true });
    keep(h("p", {}, "Choose what is to be proved."), h("h2", {}, "Why it failed"), h("ul", {}, found.causes.map((c) => h("li", {}, whyLink(c.name, c.position), ` ${percent(c.probability)}`))),
      h("h2", {}, "What happened"), h("ul", {}, found.mechanisms.map((c) => h("li", {}, whyLink(c.name, c.position), ` ${percent(c.probability)}`))));
    return;
  }
  const found = await ask(path(`why?name=${encodeURIComponent(name)}&position=${encodeURIComponent(position)}`), { long: true });
  keep(h("p", { class: "written" }, found.text));
}

const turned = (before, after) => (before === after ? `It stays ${after}.` : `From ${before} it turns to ${after}.`);
const switched = new Map();

async function whatIf(keep) {
  const records = store.bench.records.filter((r) => r.place === "observations" && ("saw" in r.entry || "absent" in r.entry));
  const result = h("div", { class: "result", "aria-live": "polite" });
  const marks = records.flatMap((r) => [r.entry.saw ?? r.entry.absent].flat().map((feature) => [feature, r.entry.part ?? r.entry.on, "saw" in r.entry ? "there" : "not there"]));
  const row = ([feature, on, now]) => {
    const key = on ? `${feature}@${on}` : feature;
    const name = `${store.bench.parts.find((p) => p.item === on)?.name ?? on ?? ""}: ${feature}`;
    return h("li", {}, h("span", {}, name), h("fieldset", { class: "choices" }, h("legend", { class: "unseen" }, name), [["", `as recorded: ${now}`], [now === "there" ? "absent" : "present", now === "there" ? "not there" : "there"], ["forget", "left out"]].map(([kind, label]) =>
      button(label, () => { kind ? switched.set(key, [kind, key]) : switched.delete(key); list(); work(); }, { "aria-pressed": String((switched.get(key)?.[0] ?? "") === kind), "data-key": `${key} ${kind}` }))));
  };
  const place = h("ul", { class: "records switch" });
  const list = () => draw(place, marks.map(row));
  list();
  keep(h("p", {}, "Switch a record and see what the answer would be. Nothing is put on record by it."), result, place);
  async function work() {
    const changes = [...switched.values()];
    if (!changes.length) return draw(result, h("p", {}, "As recorded."));
    draw(result, h("p", {}, "It is being worked out …"));
    try {
      const found = await ask(path("what-if"), { body: { changes }, long: true });
      draw(result, h("h2", {}, "The answer then"), found.explanation.map((e) => h("p", {}, e.position !== "seal" && h("b", {}, `${e.position}: `), turned(e.before.causes.join(" with ") || "open", e.after.causes.join(" with ") || "open"))),
        found.causes.length > 0 && h("table", {}, h("thead", {}, h("tr", {}, ["Cause", "Now", "Then"].map((x) => h("th", { scope: "col" }, x)))), h("tbody", {}, found.causes.slice(0, 8).map((c) => h("tr", {}, h("td", {}, c.name), c.probability.map((p) => h("td", {}, percent(p))))))),
        h("p", { class: "row" }, button("As recorded again", () => { switched.clear(); list(); work(); })));
    } catch (error) {
      draw(result, h("p", { class: "warning" }, error.message));
    }
  }
  work();
}

async function report(keep) {
  const link = (what, text) => h("a", { class: "button main", href: `/${what}/${encodeURIComponent(store.case)}`, target: "_blank", rel: "noopener" }, text);
  keep(h("p", {}, "Each as one page that can be printed or saved."), h("p", { class: "row" }, link("report", "Open the report"), link("sheet", "Open a bench sheet")), h("h2", {}, "So far"), standing());
}
