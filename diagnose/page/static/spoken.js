// Own words: shown as they are read before they go on record; kept as said where the machine cannot be asked.
import { ask } from "./api.js";
import { button, dialog, draw, h } from "./dom.js";
import { answer } from "./store.js";

export function spoken(about, kind) {
  const field = h("input", { id: "phrase", autocomplete: "off" });
  const found = h("div", { "aria-live": "polite" });
  const made = dialog("Own words", h("form", { onsubmit: read }, h("label", { for: "phrase" }, "What there is to see, in your words"), field, h("p", { class: "row" }, h("button", { class: "main" }, "Read"))), found);
  field.focus();

  async function read(event) {
    event.preventDefault();
    const text = field.value.trim();
    if (!text) return;
    let readings;
    try {
      readings = await ask("/api/phrases", { body: { text, kind } });
    } catch {
      draw(found, h("p", {}, "The machine does not answer. The words can be kept and are read once it does."), h("p", { class: "row" }, keep(text, "", "Keep the words", "main")), remark(text));
      return;
    }
    draw(found, h("p", {}, readings.length ? "Read as" : "Nothing of this is understood."),
      h("div", { class: "column" }, readings.map((r) => [keep(text, r.text, r.text, "main"), r.asks.length > 0 && h("p", { class: "soft" }, `Asked because: ${r.asks.join("; ")}`)])),
      h("p", { class: "row" }, keep(text, "none of these", readings.length ? "None of these: keep as said" : "Keep as said", "")), remark(text));
  }
  const keep = (phrase, reading, text, kind_) => button(text, () => { made.close(); answer({ phrase, reading, about: about.part ? { part: about.part } : about }); }, { class: kind_ });
  const remark = (text) => h("p", { class: "row" }, button("Keep as a remark", () => { made.close(); answer({ whats: [{ add: "remarks", entry: { note: text, ...(about.part ? { part: about.part } : {}) } }] }); }));
}
