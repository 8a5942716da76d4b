import { h } from "./dom.js";
import { store } from "./store.js";

// The drawing of a mark, as it looks on this kind of part.
export function sketch(feature, kind = "") {
  return store.words.sketches.includes(feature) ? h("img", { src: `/sketch/${encodeURIComponent(feature)}?on=${encodeURIComponent(kind)}`, alt: "", class: "sketch", loading: "lazy", onerror: (e) => e.target.remove() }) : null;
}
