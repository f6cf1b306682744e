"use strict";
// The drawings lit: what acts now is heavy, and each box carries a word for its state.

const Lit = (() => class {
  constructor(root, why) {
    this.why = why;
    this.run = why.run;
    this.figures = new Map([...root.querySelectorAll("[data-drawing]")].map((f) => [f.dataset.drawing, f]));
  }

  show(figure) {
    for (const group of figure.querySelectorAll("[data-box]")) this.box(group, this.state(group.dataset.box));
    for (const group of figure.querySelectorAll("[data-tail]")) {
      this.look(group, this.arrow(group.dataset.tail, group.dataset.head));
    }
  }

  look(group, look) {
    if (group.getAttribute("class") !== look) group.setAttribute("class", look);
  }

  // What a box is in: [words, class], or null where it has no state of its own.
  state(ident) {
    const { run } = this;
    const { words, states } = run.facts;
    const [kind, name] = ident.includes(":") ? ident.split(":") : ["p", ident];
    if (kind === "p" && run.paths.has(name)) {
      const state = run.path(name);
      return [words[state], { running: "bench-runs", stopped: "bench-stops", either: "bench-either" }[state]];
    }
    if (kind === "o") return run.tells("on", name) ? [words.on, "bench-runs"] : [words.off, "bench-stops"];
    if (kind === "r") {
      const state = run.state(name);
      if (state === null) return ["", "bench-stops"];
      return [states[state[0]], run.tells("in_force", name) ? "bench-acts" : run.active(name) ? "bench-idle" : ""];
    }
    if (kind === "s") return [this.why.value(name), run.reading(name) === null ? "bench-acts" : ""];
    if (kind === "l") return [words[run.tells("line", name) ? "on" : "off"], ""];
    if (kind === "c") {
      const unit = run.outputs.get(run.paths.get(name).outputs[0]).unit;
      return [words[run.commands(unit, name) ? "running" : "stopped"], ""];
    }
    return null;
  }

  arrow(tail, head) {
    const from = this.state(tail);
    if (tail.startsWith("r:")) return from[1] === "bench-acts" ? "bench-acts" : "";
    if (tail.startsWith("o:")) return from[1] === "bench-runs" ? "bench-runs" : "bench-stops";
    const path = this.run.paths.has(tail) ? tail : this.run.paths.has(head) ? head : "";
    if (!tail.includes(":") && path) return this.run.path(path) === "stopped" ? "bench-stops" : "bench-runs";
    return head.startsWith("r:") && this.state(head)[1] === "bench-acts" ? "bench-acts" : "";
  }

  box(group, state) {
    if (!state) return;
    const [words, look] = state;
    this.look(group, look);
    let badge = group.querySelector(".bench-badge");
    if (!badge) {
      badge = svg("g", { class: "bench-badge" }, svg("rect", {}), svg("text", {}));
      group.append(badge);
    }
    const [plate, text] = badge.children;
    if (text.textContent === words) return;
    const frame = group.querySelector("rect");
    const at = (name) => Number(frame.getAttribute(name));
    const width = words.length * 4.6 + 6;
    const x = at("x") + at("width") / 2;
    for (const [name, value] of Object.entries({ x: x - width / 2, y: at("y") - 6, width, height: 11, rx: 2 })) plate.setAttribute(name, value);
    for (const [name, value] of Object.entries({ x, y: at("y") + 2.5, "text-anchor": "middle", "font-size": 8, "font-weight": "bold" })) {
      text.setAttribute(name, value);
    }
    plate.style.display = words ? "" : "none";
    text.textContent = words;
  }
})();
