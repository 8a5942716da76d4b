// Builds elements. Every text becomes a text node, so nothing that is on record can become markup.
const SVG = "http://www.w3.org/2000/svg";
const DRAWN = new Set(["svg", "g", "path", "circle", "line", "rect", "text", "polyline"]);

export function h(name, attributes = {}, ...children) {
  const made = DRAWN.has(name) ? document.createElementNS(SVG, name) : document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false && c !== ""));
  return made;
}

export function button(text, act, attributes = {}) {
  return h("button", { type: "button", onclick: act, ...attributes }, text);
}

// One of several, or some of several, as large keys that say whether they are chosen.
export function choices(legend, options, chosen, act, several = false) {
  return h("fieldset", { class: "choices" }, h("legend", {}, legend),
    options.map(([value, text]) => button(text, () => act(value), { "aria-pressed": String(several ? chosen.includes(value) : chosen === value), "data-key": `${legend} ${value}` })));
}

const named = (summary) => summary.textContent.replace(/\d+/g, "");

// Draws into a place again and puts the focus back where it was; what was opened in the same view stays open.
export function draw(place, ...children) {
  const opened = place.dataset.at === location.hash ? [...place.querySelectorAll("details[open] > summary")].map(named) : [];
  place.dataset.at = location.hash;
  const focused = place.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  place.replaceChildren(...children.flat(Infinity).filter(Boolean));
  for (const summary of place.querySelectorAll("details > summary")) summary.parentElement.open ||= opened.includes(named(summary));
  if (focused) [...place.querySelectorAll("[data-key]")].find((e) => e.dataset.key === focused)?.focus({ preventScroll: true });
}

let dialogs = 0;

export function dialog(title, ...children) {
  const id = `title-${++dialogs}`;
  const close = () => { made.close(); made.remove(); };
  const made = h("dialog", { "aria-labelledby": id, onclose: () => made.remove() },
    h("header", {}, h("h2", { id, tabindex: "-1" }, title), button("Close", close, { class: "quiet" })),
    h("div", { class: "inside" }, children));
  document.body.append(made);
  made.showModal();
  made.querySelector("h2").focus();
  return { element: made, inside: made.querySelector(".inside"), close };
}

export function says(text, kind = "") {
  const place = document.getElementById("says");
  place.replaceChildren(...(text ? [h("p", { class: kind }, text)] : []));
}
