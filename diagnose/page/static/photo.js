// A photo from the camera or a file, made small and upright here; where it was taken is not passed on.
import { button, h } from "./dom.js";

const LONGEST = 2400;

async function redrawn(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
  const canvas = h("canvas", { width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.88));
  return blob.arrayBuffer();
}

// A key that opens the camera, with the photos taken so far beside it. `act` is called with each one where it is given.
export function photoKey(act) {
  const taken = [];
  const row = h("div", { class: "photos", "aria-live": "polite" });
  const input = h("input", { type: "file", accept: "image/*", capture: "environment", multiple: true, class: "unseen", tabindex: "-1", "aria-hidden": "true", onchange: take });
  async function take() {
    for (const file of input.files) {
      let data;
      try {
        data = await redrawn(file);
      } catch {
        row.append(h("p", { class: "wrong" }, `${file.name} is no picture`));
        continue;
      }
      if (act) await act(data);
      taken.push(data);
      const url = URL.createObjectURL(new Blob([data], { type: "image/jpeg" }));
      row.append(h("img", { src: url, alt: `Photo ${taken.length}`, onload: () => URL.revokeObjectURL(url) }));
    }
    input.value = "";
  }
  const element = h("div", { class: "photo" }, input, button("Photo", () => input.click()), row);
  return { element, first: () => taken[0], rest: () => taken.slice(1) };
}
