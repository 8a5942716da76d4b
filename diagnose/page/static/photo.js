// A photo from the camera or a file, made small and upright here; where it was taken is not passed on.
import { button, dialog, h } from "./dom.js";

const LONGEST = 2400;

async function redrawn(source) {
  const picture = await createImageBitmap(source, { imageOrientation: "from-image" });
  const scale = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
  const canvas = h("canvas", { width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.88));
  return blob.arrayBuffer();
}

// What the camera sees, and a key that takes it. `take` is given the picture, `choose` opens files where there is no camera.
async function camera(take, choose) {
  const video = h("video", { class: "finder", autoplay: true, playsinline: true, "aria-label": "What the camera sees" });
  const told = h("p", { role: "status" }, "The camera starts …");
  const key = button("Take the photo", async () => {
    const data = await redrawn(video);
    made.close();
    take(data);
  }, { class: "main", disabled: true });
  const made = dialog("Photo", video, told, h("p", { class: "row" }, button("Choose a picture", () => { made.close(); choose(); })), h("p", { class: "foot" }, key));
  let stream;
  const off = () => stream?.getTracks().forEach((track) => track.stop());
  made.element.addEventListener("close", off);
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", width: { ideal: LONGEST }, height: { ideal: 1800 } } });
    if (!made.element.isConnected) return off();
    video.srcObject = stream;
    await video.play();
    told.textContent = "";
    key.disabled = false;
  } catch {
    video.remove();
    told.textContent = "No camera can be used from here.";
  }
}

// A key that opens the camera, with the photos taken so far beside it. `act` is called with each one where it is given.
export function photoKey(act) {
  const taken = [];
  const row = h("div", { class: "photos", "aria-live": "polite" });
  const input = h("input", { type: "file", accept: "image/*", multiple: true, class: "unseen", tabindex: "-1", "aria-hidden": "true", onchange: chosen });
  async function took(data) {
    if (act) await act(data);
    taken.push(data);
    const url = URL.createObjectURL(new Blob([data], { type: "image/jpeg" }));
    row.append(h("img", { src: url, alt: `Photo ${taken.length}`, onload: () => URL.revokeObjectURL(url) }));
  }
  async function chosen() {
    const odd = [];
    for (const file of input.files) {
      const data = await redrawn(file).catch(() => null);
      if (data) await took(data);
      else odd.push(file.name);
    }
    input.value = "";
    if (odd.length) dialog("Not kept", h("p", {}, `No picture: ${odd.join(", ")}`));
  }
  const element = h("div", { class: "photo" }, input, button("Photo", () => camera(took, () => input.click()), { "data-key": "photo" }), row);
  return { element, first: () => taken[0], rest: () => taken.slice(1) };
}
