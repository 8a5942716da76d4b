"use strict";
// Lights the proof of a conclusion in the reasoning graph. Without this script the graph is a plain picture.
(() => {
  const svg = document.querySelector(".canvas svg.reasoning");
  if (!svg) return;
  const told = document.querySelector(".lit-now");
  const nodes = new Map([...svg.querySelectorAll("g.node")].map((g) => [g.dataset.node, g]));
  const lines = [...svg.querySelectorAll("path.line")];
  const under = new Map();
  const over = new Map();
  for (const line of lines) {
    const { from, to } = line.dataset;
    under.set(to, [...(under.get(to) || []), from]);
    over.set(from, [...(over.get(from) || []), to]);
  }
  let chosen = "";

  const name = (node) => nodes.get(node).querySelector("title").textContent;

  function proof(node) {
    const found = new Set([node]);
    const todo = [node];
    while (todo.length) {
      for (const below of under.get(todo.pop()) || []) {
        if (!found.has(below)) {
          found.add(below);
          todo.push(below);
        }
      }
    }
    return found;
  }

  function light(node) {
    chosen = node === chosen ? "" : node;
    const lit = chosen ? proof(chosen) : new Set();
    svg.classList.toggle("asked", Boolean(chosen));
    for (const [id, g] of nodes) {
      g.classList.toggle("lit", lit.has(id));
      g.setAttribute("aria-pressed", String(id === chosen));
    }
    for (const line of lines) {
      line.classList.toggle("lit", lit.has(line.dataset.from) && lit.has(line.dataset.to));
    }
    if (!told) return;
    if (!chosen) {
      told.textContent = "Nothing is lit.";
      return;
    }
    const records = [...lit].filter((id) => nodes.get(id).matches(".recorded, .setting") && id !== chosen);
    told.textContent = name(chosen) + (records.length ? " Rests on: " + records.map(name).join("; ") + "." : "");
  }

  for (const [id, g] of nodes) {
    g.setAttribute("tabindex", "0");
    g.setAttribute("role", "button");
    g.setAttribute("aria-pressed", "false");
    g.setAttribute("aria-label", name(id));
    g.addEventListener("click", () => light(id));
    g.addEventListener("keydown", (event) => {
      const next = { ArrowLeft: under, ArrowRight: over }[event.key];
      if (event.key === "Enter" || event.key === " ") light(id);
      else if (event.key === "Escape") light(chosen);
      else if (next && next.has(id)) nodes.get(next.get(id)[0]).focus();
      else return;
      event.preventDefault();
    });
  }

  for (const link of document.querySelectorAll("a[data-proof]")) {
    const node = link.dataset.proof;
    if (!nodes.has(node)) continue;
    link.classList.add("lights");
    link.addEventListener("click", (event) => {
      event.preventDefault();
      if (chosen !== node) light(node);
      nodes.get(node).scrollIntoView({ block: "center", inline: "center" });
      nodes.get(node).focus({ preventScroll: true });
    });
  }
})();
