"use strict";
// The bench on the page: what people do there, time, beginnings and cases, and the link that holds all of it.

const Bench = (() => {
  const TICK_MS = 50;
  const MOST_AT_ONCE = 3000; // scans in one tick, so that the page stays quick
  const LONGEST = 36000; // scans looked ahead for the next change
  const REMEMBER_MS = 300;
  const LOG = 300; // lines kept in words

  return class extends Shown {
    constructor(root, facts) {
      super(root, facts);
      this.live = false;
      this.speed = 1;
      this.owed = 0;
      this.playing = null;
      this.bind();
      const linked = Link.read(location.hash, facts.mark, this.run);
      if (linked && !linked.other) this.replay(linked);
      else this.begin("rest");
      if (linked && linked.other) this.by("link-said").textContent = this.words.link_other;
      this.setLive(!linked);
      setInterval(() => this.tick(), TICK_MS);
      this.inView = true; // time stands still for a reader who is elsewhere on the page
      new IntersectionObserver((seen) => { this.inView = seen[seen.length - 1].isIntersecting; }).observe(root);
      window.addEventListener("hashchange", () => {
        const other = Link.read(location.hash, facts.mark, this.run);
        if (!other || other.other || location.hash.slice(1) === this.link().fragment) return;
        this.setLive(false);
        this.replay(other);
      });
      root.classList.add("live");
    }

    bind() {
      const on = (name, kind, act) => { const e = this.by(name); if (e) e.addEventListener(kind, act); };
      on("run", "click", () => this.setLive(!this.live));
      on("speed", "change", () => { this.speed = Number(this.by("speed").value); });
      on("scan", "click", () => this.skip(1));
      on("next", "click", () => this.toNext());
      on("settle", "click", () => this.settle());
      on("rest", "click", () => { this.begin("rest"); this.render(); });
      on("power", "click", () => { this.begin("power"); this.render(); });
      on("part", "change", () => this.listFaults());
      on("fault", "change", () => this.meansFault());
      on("plant", "click", () => this.plantChosen());
      on("play", "click", () => this.startCase(Number(this.by("case").value)));
      on("step", "click", () => this.stepCase());
      on("drawing", "change", () => this.showDrawing(this.by("drawing").value));
      on("span", "change", () => this.draw(true));
      on("copy", "click", () => this.copy());
      on("why-last", "click", () => this.openWhy(this.last, true));
      for (const e of this.all("[data-reading]")) {
        e.addEventListener(e.type === "range" ? "input" : "change", () => this.setReading(e.dataset.reading, e.value));
      }
      for (const e of this.all("[data-line]")) {
        e.addEventListener("change", () => this.act(["l", e.dataset.line, Number(e.checked)]));
      }
      for (const e of this.all("[data-press]")) e.addEventListener("click", () => this.act(["p", e.dataset.press, 1]));
      for (const e of this.all("[data-cycle]")) e.addEventListener("click", () => this.act(["c", e.dataset.cycle, 1]));
      for (const e of this.all("[data-why]")) {
        e.addEventListener("click", () => this.openWhy(e.dataset.why, e.getAttribute("aria-expanded") !== "true"));
      }
      this.listFaults();
    }

    // --- time

    setLive(live) {
      this.live = live;
      this.owed = 0;
      this.since = performance.now();
      this.by("run").textContent = this.words[live ? "pause" : "run"];
      this.render();
    }

    tick() {
      const now = performance.now();
      if (!this.live || document.hidden || !this.inView) { this.since = now; return; }
      this.owed = Math.min(this.owed + ((now - this.since) * 1000 * this.speed) / this.facts.scan_us, MOST_AT_ONCE);
      this.since = now;
      const scans = Math.floor(this.owed);
      this.owed -= scans;
      if (scans) { this.scans(scans); this.render(); }
    }

    // Run scans, noting all that changes. `stop`: end with the first that changes something told. How many were run.
    scans(count, stop = false) {
      for (let done = 1; done <= count; done += 1) {
        this.run.scan();
        if (!this.moved()) continue;
        this.strips.keep(this.run);
        if (this.compare() && stop) return done;
      }
      return count;
    }

    // Whether a scan told anything otherwise than the one before it, timers aside.
    moved() {
      const { told, table } = this.run.machine;
      const before = this.told;
      this.told = told.slice();
      if (!before || !this.before) return true;
      for (let i = 0; i < told.length; i += 1) {
        if (told[i] === before[i]) continue;
        const [kind, name] = table.told[i];
        if (kind !== "level" || (this.run.state(name) || ["left out"])[0] !== this.before.get(`rule ${name}`)) return true;
      }
      return this.run.changed;
    }

    // What is so now, as one list; and what of it differs from the scan before, told and written down.
    compare() {
      const { run, facts } = this;
      const now = new Map();
      for (const rule of facts.rules) now.set(`rule ${rule.name}`, (run.state(rule.name) || ["left out"])[0]);
      for (const line of facts.lines) now.set(`line ${line.name}`, run.tells("line", line.name) ? "on" : "off");
      for (const path of facts.paths) now.set(`path ${path.name}`, run.path(path.name));
      for (const rule of facts.rules) if (rule.alarm) now.set(`alarm ${rule.name}`, run.tells("alarm", rule.name));
      const before = this.before;
      this.before = now;
      if (!before) return false;
      let changed = false;
      for (const [key, what] of now) {
        if (before.get(key) === what) continue;
        changed = true;
        this.wrote(key, what);
      }
      return changed;
    }

    wrote(key, what) {
      const [kind, name] = key.split(" ");
      if (kind === "path") {
        if (!this.news.size || (what === "stopped" && this.run.path(this.last) !== "stopped")) this.last = name;
        this.news.set(name, this.words[what]);
        this.log("log_path", { path: name, state: this.words[what] });
      } else if (kind === "rule") {
        const rule = this.run.rules.get(name);
        this.log("log_rule", { rule: name, state: this.facts.states[what] || what, sees: this.why.sees(rule) });
      } else if (kind === "line") {
        this.log("log_line", { line: name, state: this.words[what] });
      } else {
        const words = this.run.rules.get(name).alarm;
        this.news.set(`alarm ${name}`, this.why.say(what ? "log_alarm" : "log_alarm_over", { words }));
        this.log(what ? "log_alarm" : "log_alarm_over", { words });
      }
    }

    log(key, fields) {
      this.lines.push([this.run.now, this.why.say(key, fields)]);
      if (this.lines.length > LOG) this.lines.shift();
    }

    skip(scans) {
      this.setLive(false);
      this.scans(scans);
      this.render();
    }

    toNext() {
      this.setLive(false);
      let found = false;
      let left = LONGEST;
      while (left > 0 && !found) {
        const slots = this.run.machine.slots;
        const before = this.lines.length ? this.lines[this.lines.length - 1] : null;
        left -= this.scans(1, true);
        found = this.lines[this.lines.length - 1] !== before;
        if (!found && same(slots, this.run.machine.slots)) break;
      }
      this.render();
      if (!found) this.tell(left > 0 ? this.words.nothing_more : this.why.say("no_change_found", { time: duration(LONGEST * this.facts.scan_us) }));
    }

    settle() {
      this.setLive(false);
      for (let left = LONGEST; left > 0; left -= 1) {
        const slots = this.run.machine.slots;
        this.scans(1);
        if (same(slots, this.run.machine.slots)) break;
      }
      this.render();
    }

    // --- beginnings

    begin(start, case_ = -1) {
      const { run, facts } = this;
      const world = run.world;
      this.start = start;
      this.acts = [];
      this.lines = [];
      this.news = new Map();
      this.before = null;
      this.last = "";
      this.playing = case_ >= 0 ? { at: case_, next: 0 } : null;
      this.strips.clear();
      run.take(facts.rest.slots, { readings: facts.rest.readings, lines: facts.rest.lines, faults: [] });
      if (start === "power") {
        for (const [name, value] of Object.entries(case_ >= 0 ? {} : world.readings)) {
          if (value !== facts.rest.readings[name]) this.put(["r", name, value]);
        }
        for (const [name, on] of Object.entries(case_ >= 0 ? {} : world.lines)) {
          if (Boolean(on) !== Boolean(facts.rest.lines[name])) this.put(["l", name, Number(on)]);
        }
        for (const [name, shift] of case_ >= 0 ? [] : world.faults) this.put(["f", name, shift]);
        run.powerUp();
        this.log("log_power");
      } else {
        this.log("log_rest");
      }
      this.scans(1);
    }

    replay(linked) {
      this.begin("rest");
      this.start = linked.start;
      this.strips.clear();
      this.before = null;
      this.lines = [];
      const { run, facts } = this;
      run.take(facts.rest.slots, { readings: facts.rest.readings, lines: facts.rest.lines, faults: [] });
      const acts = [...linked.acts].sort((a, b) => a[0] - b[0]);
      const due = () => { while (acts.length && acts[0][0] <= run.now) this.put(acts.shift().slice(1)); };
      if (linked.start === "power") { due(); run.powerUp(); this.log("log_power"); } else this.log("log_rest");
      while (run.now < Math.max(1, linked.now)) { due(); this.scans(1); }
      due();
      this.news.clear();
      for (const path of linked.open) this.openWhy(path, true, false);
      this.render();
      const row = linked.open.length ? this.root.querySelector(`[data-why="${linked.open[0]}"]`) : null;
      (row || this.root).scrollIntoView();
      this.tell(this.words.stands);
    }

    // --- what people do

    // One act put into the world, written down for the link and the log; what it leads to shows at the next scan.
    put([kind, name, value]) {
      const { run } = this;
      if (kind === "r") {
        run.world.readings[name] = value;
        this.log("log_reading", { name, value: this.why.valueText(name, value) });
      } else if (kind === "l") {
        run.world.lines[name] = Boolean(value);
        this.log("log_switch", { name, state: this.words[value ? "on" : "off"] });
      } else if (kind === "p") {
        run.presses.add(name);
        this.log("log_press", { name });
      } else if (kind === "c") {
        run.cycles.add(name);
        this.log("log_cycle", { unit: name });
      } else if (kind === "f") {
        const fault = run.faults.get(name);
        if (!fault.once) run.world.faults.set(name, value);
        fault.units.forEach((unit) => run.cycles.add(unit));
        this.log("log_plant", { fault: name, words: fault.words });
      } else {
        run.world.faults.delete(name);
        this.log("log_mend", { fault: name });
      }
      const earlier = this.acts.length ? this.acts[this.acts.length - 1] : [];
      if (kind === "r" && earlier[0] === run.now && earlier[1] === "r" && earlier[2] === name) this.acts.pop();
      this.acts.push([run.now, kind, name, value]);
    }

    // Acts, and the scan that sees them.
    act(...acts) {
      acts.forEach((one) => this.put(one));
      this.scans(1);
      this.render();
      this.rememberSoon();
    }

    // A slider moves many times a second, and a browser asks its other processes each time an address changes.
    rememberSoon() {
      clearTimeout(this.remembering);
      this.remembering = setTimeout(() => this.remember(), REMEMBER_MS);
    }

    setReading(key, text) {
      const value = Math.round(Number(text) * 1e6);
      const names = key.split("+");
      const { low, high } = this.facts.sensors.find((s) => s.name === names[0]);
      if (text.trim() === "" || !Number.isFinite(value)) { this.render(); return; }
      const inside = Math.min(Math.max(value, low), high);
      this.act(...names.filter((n) => this.run.world.readings[n] !== inside).map((n) => ["r", n, inside]));
    }

    // --- faults

    listFaults() {
      const part = this.by("part").value;
      const options = [];
      for (const fault of this.facts.faults) {
        if (!fault.parts.includes(part)) continue;
        for (const [shift, words] of fault.shifts.length ? fault.shifts : [[0, ""]]) {
          const option = document.createElement("option");
          option.value = `${fault.name},${shift}`;
          option.textContent = words ? `${fault.words}: ${words}` : fault.words;
          options.push(option);
        }
      }
      this.by("fault").replaceChildren(...options);
      this.meansFault();
    }

    chosen() {
      const [name, shift] = this.by("fault").value.split(",");
      return { fault: this.run.faults.get(name), shift: Number(shift) };
    }

    meansFault() {
      const { fault } = this.chosen();
      this.by("means").textContent = `${fault.name}. ${fault.means}`;
    }

    plantChosen() {
      const { fault, shift } = this.chosen();
      const exchanged = (one) => one.singles.filter((s) => s.mode === "swapped").flatMap((s) => s.parts);
      for (const name of this.run.world.faults.keys()) {
        const part = exchanged(this.run.faults.get(name)).find((p) => exchanged(fault).includes(p));
        if (name === fault.name) { this.tell(this.why.say("already", { fault: name })); return; }
        if (part) { this.tell(this.why.say("share_part", { one: name, other: fault.name, part })); return; }
      }
      this.act(["f", fault.name, shift]);
    }

    // --- cases

    startCase(index) {
      this.setLive(false);
      this.begin("power", index);
      this.acts = [];
      this.strips.clear();
      this.before = null;
      this.lines = [];
      this.log("log_case", { case: this.facts.cases[index].name });
      this.stepCase();
    }

    stepCase() {
      const { at, next } = this.playing;
      const script = this.facts.cases[at];
      const step = script.steps[next];
      this.log("log_step", { number: next + 1, count: script.steps.length });
      for (const [n, part] of step.parts.entries()) {
        if (next === 0 && n === 0) this.run.now = 0;
        this.toWorld(part);
        if (next === 0 && n === 0) this.run.powerUp();
        this.scans(part.scans);
      }
      this.playing.next += 1;
      this.by("case-said").textContent = `${this.why.say("log_step", { number: next + 1, count: script.steps.length })}. ${step.note}`;
      this.by("step").disabled = this.playing.next >= script.steps.length;
      this.render();
      this.remember();
    }

    // The acts that make the world as a step of a case has it.
    toWorld(part) {
      const { world } = this.run;
      for (const [name, value] of Object.entries(part.readings)) if (world.readings[name] !== value) this.put(["r", name, value]);
      for (const [name, on] of Object.entries(part.lines)) {
        if (part.pressed.includes(name)) this.put(["p", name, 1]);
        else if (Boolean(world.lines[name]) !== on) this.put(["l", name, Number(on)]);
      }
      for (const name of Object.keys(world.lines)) if (world.lines[name] && !(name in part.lines)) this.put(["l", name, 0]);
      for (const name of [...world.faults.keys()]) if (!part.faults.includes(name)) this.put(["m", name, 0]);
      for (const name of part.faults) if (!world.faults.has(name)) this.put(["f", name, 0]);
      for (const unit of part.cycles) if (!this.run.cycles.has(unit)) this.put(["c", unit, 1]);
    }

    // --- the link

    link() {
      const open = this.all('[data-why][aria-expanded="true"]').map((e) => e.dataset.why);
      return Link.write(this.facts.mark, this.start, this.run.now, this.acts, open, this.run.world);
    }

    remember() {
      clearTimeout(this.remembering);
      const { fragment, whole } = this.link();
      try {
        history.replaceState(null, "", `#${fragment}`);
      } catch {
        // a browser that lets no page change its address: the link below still holds it
      }
      this.by("link").value = `${location.href.split("#")[0]}#${fragment}`;
      this.text(this.by("link-said"), this.words[whole ? "link_whole" : "link_setting"]);
    }

    async copy() {
      this.remember();
      this.by("link").select();
      try {
        await navigator.clipboard.writeText(this.by("link").value);
        this.by("link-said").textContent = this.words.link_copied;
      } catch {
        this.by("link-said").textContent = this.words.link_not;
      }
    }
  };

  function same(one, other) {
    for (let i = 0; i < one.length; i += 1) if (one[i] !== other[i]) return false;
    return true;
  }
})();

const bench = document.getElementById("bench");
if (bench) {
  const facts = JSON.parse(document.getElementById("bench-data").textContent);
  globalThis.interlockBench.bench = new Bench(bench, facts);
}
