// Takes the key out of the link, hands it in once, and opens the page.
import { waiting } from "./queue.js";

const says = document.getElementById("says");

async function enter(key) {
  says.textContent = "";
  let response;
  try {
    response = await fetch("/enter", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ key }) });
  } catch {
    says.textContent = "The machine does not answer. Is the page still running there?";
    return;
  }
  const told = await response.json().catch(() => ({}));
  if (!response.ok) {
    says.textContent = told.says || "This key does not open the page.";
    return;
  }
  localStorage.setItem("token", told.token);
  location.replace("/");
}

document.getElementById("form").addEventListener("submit", (event) => {
  event.preventDefault();
  enter(document.getElementById("key").value.trim());
});

const key = location.hash.slice(1);
if (key) {
  history.replaceState(null, "", "/enter");
  enter(key);
}
waiting().then((kept) => {
  if (kept.length) {
    const answers = kept.length === 1 ? "1 answer is" : `${kept.length} answers are`;
    document.getElementById("kept").textContent = `${answers} kept on this tablet and will be sent once it is let in.`;
  }
});
