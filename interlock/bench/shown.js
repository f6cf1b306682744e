"use strict";
// What the bench shows: what runs, why, the drawing lit, the strip chart. Worked out anew from the installation each time.

const Shown = (() => {
  const CHART_MS = 250;

  return class {
    constructor(root, facts) {
      this.root = root;
      this.facts = facts;
      this.words = facts.words;
      this.run = new Installation(facts);
      this.why = new Why(this.run);
      this.causes = new Causes(this.why);
      this.strips = new Strips(this.why);
      this.lit = new Lit(root, this.why);
      this.last = ""; // the path that changed last
      this.drawn = 0;
      this.drawing = false;
      this.signatures = new Map();
      this.elements = new Map();
    }

    by(name) {
      return this.root.querySelector(`#bench-${name}`);
    }

    all(selector) {
      return [...this.root.querySelectorAll(selector)];
    }

    // What is looked at in every picture; the page's own elements stay the same all the time.
    kept(selector) {
      if (!this.elements.has(selector)) this.elements.set(selector, this.all(selector));
      return this.elements.get(selector);
    }

    render() {
      const { run, facts, words } = this;
      this.text(this.by("clock"), this.why.say("clock", { time: duration(run.now * facts.scan_us) }));
      for (const e of this.kept("[data-reading]")) this.showReading(e);
      for (const e of this.kept("[data-now]")) this.text(e, this.nowReads(e.dataset.now));
      for (const e of this.kept("[data-line]")) {
        e.checked = Boolean(run.world.lines[e.dataset.line]);
      }
      for (const e of this.kept("[data-line-state]")) this.text(e, words[run.world.lines[e.dataset.lineState] ? "on" : "off"]);
      const counts = { running: 0, stopped: 0, either: 0 };
      for (const e of this.kept("[data-state]")) {
        const state = run.path(e.dataset.state);
        counts[state] += 1;
        this.text(e, words[state]);
        const row = e.closest("[data-path]");
        if (row.dataset.is !== state) row.dataset.is = state;
      }
      const alarms = facts.rules.filter((r) => r.alarm && run.tells("alarm", r.name));
      this.text(this.by("alarms"), alarms.length
        ? alarms.map((r) => this.why.say("alarms", { words: r.alarm })).join(" · ") : words.alarms_none);
      this.by("alarms").classList.toggle("bench-warning", alarms.length > 0);
      this.showPlanted();
      for (const e of this.kept(".bench-why")) if (!e.hidden) this.showWhy(e);
      if (this.root.querySelector(".bench-rules").open) {
        for (const e of this.all("[data-rule-state]")) {
          const name = e.dataset.ruleState;
          this.text(e, this.why.rule(name).slice(name.length + 1));
          e.closest("li").className = run.tells("in_force", name) ? "bench-acting" : "";
        }
      }
      const shown = this.kept("[data-drawing]").find((figure) => !figure.hidden);
      if (shown) this.lit.show(shown);
      if (this.news.size) this.announce();
      this.draw(!this.live);
    }

    text(element, words) {
      if (element.textContent !== words) element.textContent = words;
    }

    showReading(e) {
      const names = e.dataset.reading.split("+");
      const value = String(this.run.world.readings[names[0]] / 1e6);
      if (e !== document.activeElement || e.type === "range") { if (e.value !== value) e.value = value; }
      if (e.type === "range") {
        const { unit } = this.facts.sensors.find((s) => s.name === names[0]);
        e.setAttribute("aria-valuetext", `${value} ${unit}`);
      }
    }

    nowReads(key) {
      if (key.includes("+")) return "";
      const value = this.why.value(key);
      const set = this.why.valueText(key, this.run.world.readings[key]);
      return value === set ? "" : this.why.say("reads_wrong", { value });
    }

    showPlanted() {
      const planted = [...this.run.world.faults.keys()];
      if (!this.changed("planted", planted)) return;
      this.by("planted").replaceChildren(...(planted.length ? planted : [""]).map((name) => {
        const row = document.createElement("li");
        if (!name) { row.textContent = this.words.planted_none; return row; }
        const words = document.createElement("span");
        words.textContent = `${name}: ${this.run.faults.get(name).words} `;
        const mend = document.createElement("button");
        mend.type = "button";
        mend.textContent = this.words.mend;
        mend.setAttribute("aria-label", `${this.words.mend} ${name}`);
        mend.addEventListener("click", () => { this.act(["m", name, 0]); this.by("plant").focus(); });
        row.append(words, mend);
        return row;
      }));
    }

    changed(key, data) {
      const signature = JSON.stringify(data);
      if (this.signatures.get(key) === signature) return false;
      this.signatures.set(key, signature);
      return true;
    }

    openWhy(path, open, go = true) {
      const button = this.root.querySelector(`[data-why="${path}"]`);
      if (!button) return;
      const panel = this.root.querySelector(`#bench-why-${path}`);
      button.setAttribute("aria-expanded", String(open));
      panel.hidden = !open;
      if (open) {
        this.signatures.delete(`why ${path}`);
        this.showDrawing(path);
      }
      this.render();
      if (open && go) { // the reason is what people want to see: into the picture with it, the button above it
        button.focus();
        panel.scrollIntoView({ block: "nearest" });
        button.scrollIntoView({ block: "nearest" });
      }
      this.remember();
    }

    showWhy(panel) {
      const path = panel.id.slice("bench-why-".length);
      const told = this.causes.path(path);
      if (this.changed(`why ${path}`, told)) panel.replaceChildren(...told.map((one) => this.block(one)));
    }

    block(one) {
      const made = document.createElement("div");
      const line = document.createElement("p");
      line.textContent = one.text;
      if (one.head) line.className = "bench-headline";
      if (one.strong) line.className = "bench-cause";
      made.append(line);
      if (one.progress) {
        const bar = document.createElement("progress");
        bar.max = one.progress.of;
        bar.value = one.progress.done;
        bar.setAttribute("aria-label", one.text);
        made.append(bar);
      }
      if (one.links) {
        line.className = "bench-links";
        line.replaceChildren(...one.text.split(", ").flatMap((words, i) => {
          const span = document.createElement("span");
          span.textContent = (i ? "→ " : "") + words;
          return [span, " "];
        }));
      }
      if (one.sub && one.sub.length) {
        const list = document.createElement(one.list ? "ol" : "ul");
        list.append(...one.sub.map((sub) => {
          const row = document.createElement("li");
          row.append(this.block(sub));
          return row;
        }));
        made.append(list);
      }
      return made;
    }

    showDrawing(path) {
      const select = this.by("drawing");
      select.value = path;
      for (const figure of this.all("[data-drawing]")) figure.hidden = figure.dataset.drawing !== path;
      const shown = this.root.querySelector("[data-drawing]:not([hidden])");
      if (shown) this.lit.show(shown);
    }

    // The chart follows with the next picture: what runs and why comes first.
    draw(at_once) {
      const now = performance.now();
      if (this.drawing || (!at_once && now - this.drawn < CHART_MS)) return;
      this.drawn = now;
      this.drawing = true;
      requestAnimationFrame(() => { this.drawing = false; this.drawChart(); });
    }

    drawChart() {
      const span = Number(this.by("span").value);
      this.by("chart").replaceChildren(this.strips.draw(this.run.now, span));
      const log = this.by("log");
      if (log.parentElement.open) {
        log.replaceChildren(...[...this.lines].reverse().map(([scan, words]) => {
          const row = document.createElement("li");
          row.textContent = `${duration(scan * this.facts.scan_us)}: ${words}`;
          return row;
        }));
      }
    }

    // Changes are told politely and together: a list at a time, not each by itself.
    announce() {
      const paths = [...this.news].map(([name, words]) => (name.startsWith("alarm ") ? words : `${name} ${words}`));
      this.news = new Map();
      this.tell(this.why.say("changed", { changes: paths.join(`${this.words.comma} `) }));
      const button = this.by("why-last");
      button.hidden = !this.last;
      button.textContent = this.why.say("why_last", { path: this.last });
    }

    tell(words) {
      this.text(this.by("said"), words);
    }
  };
})();
