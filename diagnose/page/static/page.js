// Draws the page: what is on top, the view that the address names, and what is told at the foot.
import { ask, Refused } from "./api.js";
import { button, choices, dialog, draw, h, says } from "./dom.js";
import { figures } from "./figures.js";
import { next, soFar, standing } from "./next.js";
import { part } from "./part.js";
import { reading } from "./reading.js";
import { stack } from "./stack.js";
import { again, answer, begin, leave, onAcknowledged, onChange, open, store, stuck, unsent, who } from "./store.js";

const main = document.getElementById("main");
const bar = document.getElementById("bar");
const told = document.getElementById("told");
const ways = document.getElementById("ways");
const address = () => location.hash.slice(2).split("/").map(decodeURIComponent);
let shown = "";

function view() {
  const [name, item] = address();
  if (name === "part") return part(item, "");
  if (name === "kind") return part("", item);
  if (name === "figures") return figures();
  return null;
}

function show() {
  drawBar();
  drawTold();
  if (!store.bench) return;
  const [name] = address();
  const one = view();
  document.body.dataset.view = name || "stack";
  if (name === "reading") {
    if (shown !== location.hash) reading(main, address().slice(1));
  } else {
    draw(main, next(), h("div", { class: "two" }, h("div", { class: "side" }, !one && h("h1", { tabindex: "-1" }, store.bench.name), stack()),
      h("article", { class: one ? "" : "far" }, one ?? [h("h2", {}, "So far"), standing()])));
  }
  if (shown !== location.hash) {
    const moved = shown !== "";
    shown = location.hash;
    if (moved) {
      main.querySelector("article h1, h1")?.focus({ preventScroll: true });
      const article = one && main.querySelector("article");
      if (article && matchMedia("(max-width: 47.99rem)").matches) scrollTo(0, 0);
      else if (article) article.scrollTop = 0;
      else scrollTo(0, 0);
    }
  }
  document.title = `${one ? main.querySelector("article h1").textContent : store.bench.name}: bench page`;
  drawWays(name);
}

function drawWays(name) {
  const link = (href, text, here) => h("a", { href, "aria-current": here ? "page" : null }, text);
  draw(ways, link("#/", "Parts", !name || name === "part" || name === "kind"), link("#/figures", "Figures", name === "figures"), button("So far", soFar, { "data-key": "so far" }), link("#/reading", "Read", name === "reading"));
}

function drawBar() {
  const count = unsent().length;
  const state = store.connected ? (count ? `${count} on the way` : "All on record") : `No connection, ${count} kept here`;
  draw(bar, h("b", {}, store.bench?.name ?? "Bench page"), h("span", { class: store.connected && !count ? "state" : "state waits", "data-kept": count }, state), button(who() || "Who?", menu, { "aria-label": `Menu, ${who() || "name not said"}`, "data-key": "menu" }));
}

function drawTold() {
  const lines = [];
  if (store.locked === "key") lines.push(h("p", { class: "warning" }, "The machine no longer knows this tablet. What was tapped is kept here. ", h("a", { href: "/enter" }, "Enter a new key")));
  if (store.bench?.elsewhere) lines.push(h("p", { class: "warning" }, `Another session records this case: ${store.bench.elsewhere}. What is tapped here is kept and sent once it is left.`));
  else if (store.held) lines.push(h("p", { class: "warning" }, `The machine cannot record now: ${store.held}. What was tapped is kept here.`));
  if (store.bench?.others) lines.push(h("p", {}, store.bench.others === 1 ? "Another tablet has this case open as well." : `${store.bench.others} other tablets have this case open as well.`));
  for (const item of stuck()) lines.push(refused(item));
  if (JSON.stringify(lines.map((l) => l.textContent)) !== told.dataset.shown) {
    told.dataset.shown = JSON.stringify(lines.map((l) => l.textContent));
    draw(told, lines);
  }
}

function refused(item) {
  const text = (item.says ?? []).join("; ");
  const conflict = /is on record/.test(text) && item.state === "refused";
  return h("div", { class: "warning" }, h("p", {}, h("b", {}, item.state === "doubtful" ? "Is that so? " : "Not recorded: "), text),
    h("p", { class: "row" }, item.state === "doubtful" && button("It is so", () => again(item, { sure: true })), conflict && button("Mine is right", () => overrule(item)),
      button(item.state === "doubtful" ? "No, leave it" : "Leave it", () => leave(item))));
}

// What another tablet put on record is corrected, saying why.
async function overrule(item) {
  const said = /record ([0-9.]+)\)/.exec(item.says.join(" "));
  const why = "two tablets said otherwise, this one stands";
  await again(item, { whats: item.answer.whats.map((w) => ({ ...w, why, ...(said && w.add ? { "instead of": said[1] } : {}) })) });
}

function menu() {
  const made = dialog("Menu", h("form", { onsubmit: (e) => { e.preventDefault(); localStorage.setItem("who", name.value.trim()); made.close(); show(); } },
    h("label", { for: "who" }, "Who records"), h("input", { id: "who", value: who(), maxlength: 60, autocomplete: "off" }), h("p", { class: "row" }, h("button", { class: "main" }, "Keep the name"))),
    h("div", { class: "column" }, button("Another case", () => { made.close(); cases(); }), button("Let another tablet in", () => { made.close(); let_in(); }),
      button("The whole seal is gone", () => { made.close(); gone(); })));
  const name = made.element.querySelector("#who");
}

function gone() {
  const positions = store.bench.positions;
  let position = positions.length === 1 ? positions[0] : "";
  const field = h("input", { id: "how" });
  const lower = h("div", {});
  const made = dialog("The whole seal is gone", lower, h("label", { for: "how" }, "How it was lost"), field, h("p", { class: "row" }, button("Record", () => {
    if (!field.value.trim()) return field.focus();
    made.close();
    answer({ whats: [{ set: position && positions.length > 1 ? ["seal", position, "lost"] : ["seal", "lost"], to: field.value.trim() }] });
  }, { class: "main" })));
  const draw_ = () => positions.length > 1 && draw(lower, choices("Which seal", positions.map((p) => [p, p]), position, (p) => { position = p; draw_(); }));
  draw_();
}

async function let_in() {
  const key = await ask("/api/keys", { body: {} });
  const size = key.rows.length;
  const path = key.rows.flatMap((row, y) => [...row].map((bit, x) => (bit === "1" ? `M${x + 4} ${y + 4}h1v1h-1z` : ""))).join("");
  dialog("Let another tablet in", h("p", {}, "Point its camera at this code. It is good once, for a quarter of an hour."),
    h("svg", { viewBox: `0 0 ${size + 8} ${size + 8}`, class: "code", role: "img", "aria-label": "QR code of the link below" }, h("rect", { width: size + 8, height: size + 8, fill: "#fff" }), h("path", { d: path, fill: "#000" })), h("p", { class: "link" }, key.url));
}

async function cases() {
  const found = await ask("/api/cases");
  const choose = async (name, made) => { made.close(); localStorage.setItem("case", name); location.hash = "#/"; await open(name); show(); };
  const made = dialog("Cases", h("div", { class: "column" }, found.cases.map((name) => button(name, () => choose(name, made)))),
    found.nameless.length > 0 && h("p", { class: "warning" }, `To be opened here these need another file name: ${found.nameless.join(", ")}`), found.new && fresh((name) => choose(name, made)));
}

function fresh(then) {
  const name = h("input", { id: "name", maxlength: 80, autocomplete: "off" });
  const wrong = h("p", { role: "alert", class: "wrong" });
  return h("section", {}, h("h3", {}, "A new case"), h("label", { for: "name" }, "What it is called"), name, wrong,
    h("p", {}, "Which arrangement"), h("div", { class: "column" }, store.words.arrangements.map((arrangement) => button(arrangement, async () => {
      try {
        then((await ask("/api/cases", { body: { name: name.value, arrangement, who: who() || "bench" } })).case);
      } catch (error) {
        wrong.textContent = error instanceof Refused ? error.message : "The machine does not answer.";
      }
    }))));
}

onAcknowledged((done, item) => {
  if (done.became !== "recorded") return;
  says(done.says.join("; "), "recorded");
  const marks = (item.answer.whats ?? []).filter((w) => w.add);
  if (done.lines.length && marks.length && !marks.some((w) => w["instead of"])) {
    document.getElementById("says").firstChild.append(" ", button("Undo", () => {
      says("");
      answer({ whats: done.lines.map((n) => ({ withdraw: String(n), why: "tapped by mistake" })) });
    }, { class: "quiet" }));
  }
});

// Nothing is drawn anew under a finger that is down: the key it is on must still be there when it lifts.
let down = false;
let due = false;
addEventListener("pointerdown", () => { down = true; });
for (const end of ["pointerup", "pointercancel"]) addEventListener(end, () => setTimeout(() => { down = false; if (due) show(); due = false; }, 30));

onChange(() => { down ? (due = true) : show(); });
addEventListener("hashchange", () => { says(""); show(); });

async function start() {
  await begin();
  const { cases: known } = await ask("/api/cases");
  const last = localStorage.getItem("case");
  const name = known.includes(last) ? last : known.length === 1 ? known[0] : "";
  if (name) await open(name);
  show();
  if (!name) cases();
}

start().catch((error) => {
  if (error instanceof Refused && [401, 403].includes(error.status)) location.replace("/enter");
  else draw(told, h("p", { class: "warning" }, "The machine does not answer."), button("Try again", () => location.reload()));
});
