// Numbers with a unit, by keys that a glove can hit; a keyboard works as well.
import { button, choices, dialog, draw, h } from "./dom.js";

const ROWS = ["789", "456", "123", ".0±"];

// Asks for one value, or several; `act` gets them as written, with the unit.
export function keypad(title, reading, act, clock) {
  let unit = localStorage.getItem(`unit ${reading.unit}`) ?? reading.unit;
  if (!reading.units.includes(unit)) unit = reading.unit;
  const values = [];
  const places = [];
  const field = h("input", { id: "value", inputmode: "none", autocomplete: "off", "aria-describedby": "wrong", onkeydown: (e) => { if (e.key === "Enter") { e.preventDefault(); finish(); } } });
  const wrong = h("p", { id: "wrong", role: "alert", class: "wrong" });
  const list = h("p", { class: "values", "aria-live": "polite" });
  const lower = h("div", {});
  const made = dialog(title, h("p", {}, reading.means),
    h("label", { for: "value" }, "Value"), h("div", { class: "value" }, field, h("span", { class: "unit" })), wrong, list,
    h("div", { class: "pad" }, ROWS.flatMap((row) => [...row]).map((sign) => button(sign, () => type(sign), { "aria-label": sign === "±" ? "plus or minus" : sign === "." ? "point" : sign })),
      button("⌫", () => { field.value = field.value.slice(0, -1); }, { "aria-label": "take the last sign away" }), button("−", () => type("-"), { "aria-label": "minus" })),
    lower,
    h("div", { class: "row" }, reading.several && button("Another value", () => { if (take()) field.focus(); }), button("Record", finish, { class: "main" })));

  function type(sign) {
    field.value += sign === "±" ? " ± " : sign;
  }
  function take() {
    const text = field.value.trim().replace(",", ".");
    if (!/^[-+]?\d*\.?\d+(\s*±\s*\d*\.?\d+)?$/.test(text)) {
      wrong.textContent = text ? `${text} is no number` : "Tap a number first";
      return false;
    }
    wrong.textContent = "";
    values.push(`${text} ${unit}`.trim());
    field.value = "";
    show();
    return true;
  }
  function finish() {
    if ((field.value.trim() || !values.length) && !take()) return;
    localStorage.setItem(`unit ${reading.unit}`, unit);
    made.close();
    act(values, clock && places.length === values.length ? places : []);
  }
  function show() {
    made.element.querySelector(".unit").textContent = unit;
    list.textContent = values.length ? `So far: ${values.join(", ")}` : "";
    draw(lower, reading.units.length > 1 && choices("Unit", reading.units.map((u) => [u, u]), unit, (u) => { unit = u; show(); }),
      clock && reading.several && choices("At clock positions, one for each value, in order", ["12", "3", "6", "9"].map((p) => [p, `${p} o'clock`]), places, (p) => {
        places.includes(p) ? places.splice(places.indexOf(p), 1) : places.push(p);
        show();
      }, true));
  }
  show();
  field.focus();
}
