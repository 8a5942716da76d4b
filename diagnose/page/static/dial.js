// A clock face: drag from where a mark begins to where it ends, clockwise; or the arrow keys on its two hands.
import { button, h } from "./dom.js";

const STEP = 15;
const R = 92;
const C = 120;
const at = (degrees, r = R) => [C + r * Math.sin((degrees * Math.PI) / 180), C - r * Math.cos((degrees * Math.PI) / 180)];
const snap = (degrees) => ((Math.round(degrees / STEP) * STEP) % 360 + 360) % 360;

export function clock(degrees) {
  const hours = Math.floor(degrees / 30) || 12;
  const minutes = (degrees % 30) * 2;
  return minutes ? `${hours}:${String(minutes).padStart(2, "0")}` : `${hours}`;
}

// The extent as it is recorded: "at 3", "10 to 2", or "" where nothing is chosen.
export const written = (arc) => (arc ? (arc[0] === arc[1] ? `at ${clock(arc[0])}` : `${clock(arc[0])} to ${clock(arc[1])}`) : "");

export function dial(act) {
  let arc = null;
  const sweep = h("path", { class: "sweep" });
  const dot = h("circle", { class: "place", r: 9, cx: -20, cy: -20 });
  const hours = [...Array(12).keys()].map((n) => {
    const [x, y] = at(n * 30, R + 18);
    const [x1, y1] = at(n * 30, R - 14);
    const [x2, y2] = at(n * 30, R);
    return [h("line", { x1, y1, x2, y2, class: "tick" }), h("text", { x, y: y + 6, "text-anchor": "middle" }, String(n || 12))];
  });
  const svg = h("svg", { viewBox: "0 0 240 240", class: "dial", "aria-hidden": "true" },
    h("circle", { cx: C, cy: C, r: R, class: "rim" }), h("circle", { cx: C, cy: C, r: 46, class: "rim" }), hours, sweep, dot);
  const hands = ["from", "to"].map((name, i) => h("input", { type: "range", min: 0, max: 345, step: STEP, value: 0, "aria-label": `Clock position ${name}`,
    oninput: (e) => set(i ? [arc ? arc[0] : 0, +e.target.value] : [+e.target.value, arc ? arc[1] : +e.target.value]) }));
  const reads = h("output", { class: "reads" }, "Drag round the dial");

  function set(next, quiet) {
    arc = next;
    const span = arc ? (arc[1] - arc[0] + 360) % 360 : 0;
    if (!arc || !span) sweep.removeAttribute("d");
    else {
      const [x1, y1] = at(arc[0], 69);
      const [x2, y2] = at(arc[1], 69);
      sweep.setAttribute("d", `M${x1} ${y1}A69 69 0 ${span > 180 ? 1 : 0} 1 ${x2} ${y2}`);
    }
    const [x, y] = arc ? at(arc[1], 69) : [-20, -20];
    dot.setAttribute("cx", x);
    dot.setAttribute("cy", y);
    hands.forEach((hand, i) => { hand.value = arc ? arc[i] : 0; hand.setAttribute("aria-valuetext", arc ? clock(arc[i]) : "not said"); });
    reads.textContent = written(arc) || "Drag round the dial";
    if (!quiet) act(arc);
  }

  const angle = (e) => {
    const box = svg.getBoundingClientRect();
    return (Math.atan2(e.clientX - box.x - box.width / 2, box.y + box.height / 2 - e.clientY) * 180) / Math.PI;
  };
  let dragging = false;
  let turned = 0;
  let last = 0;
  svg.addEventListener("pointerdown", (e) => {
    dragging = true;
    svg.setPointerCapture(e.pointerId);
    turned = 0;
    last = angle(e);
    set([snap(last), snap(last)]);
  });
  svg.addEventListener("pointermove", (e) => {
    if (!dragging) return;
    const now = angle(e);
    turned += ((now - last + 540) % 360) - 180;
    last = now;
    // whichever way the finger went, the arc it covered runs clockwise
    const start = dragStart(now, turned);
    set(turned >= 0 ? [snap(start), snap(now)] : [snap(now), snap(start)]);
  });
  for (const end of ["pointerup", "pointercancel"]) svg.addEventListener(end, () => { dragging = false; });
  const dragStart = (now, by) => now - by;

  const element = h("div", { class: "dial-box" }, svg, reads,
    h("div", { class: "hands" }, h("label", {}, "from", hands[0]), h("label", {}, "to", hands[1])), button("Clear the dial", () => set(null), { class: "quiet" }));
  return { element, clear: () => set(null, true) };
}
