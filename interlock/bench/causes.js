"use strict";
// What keeps a path from running, or lets it, told for people: causes first, then the chain from permit to device link
// by link. Plain data: { text, progress?, sub? }.

const Causes = (() => class {
  constructor(why) {
    this.why = why;
    this.run = why.run;
    this.facts = why.facts;
  }

  say(key, fields) {
    return this.why.say(key, fields);
  }

  scans(count) {
    return duration(count * this.facts.scan_us);
  }

  // The faults planted on a part, in words.
  planted(part) {
    return [...this.run.world.faults.keys()]
      .map((name) => this.run.faults.get(name))
      .filter((fault) => fault.singles.some((single) => single.parts.includes(part)))
      .map((fault) => this.say("planted_here", { fault: fault.words }));
  }

  // Everything about one path.
  path(name) {
    const state = this.run.path(name);
    const path = this.run.paths.get(name);
    const found = [{ text: this.headline(name, state), head: true }];
    const keeping = this.keeping(name);
    const letting = path.outputs.flatMap((output) => this.asking(this.run.outputs.get(output)));
    if (this.run.has("bypassed", name)) {
      found.push({ text: this.say("goes_round"), sub: this.planted(name).map((text) => ({ text })) });
    }
    if (keeping.length) found.push({ text: this.say("keeps"), sub: keeping, list: true });
    if (path.unswitched) found.push({ text: `${this.say("unswitched", { reason: path.unswitched })}.` });
    if (!keeping.length && letting.length) found.push({ text: this.say("keeps_running"), sub: letting, list: true });
    const coming = this.coming(path);
    if (!keeping.length && coming.length) found.push({ text: this.say("would_stop"), sub: coming, list: true });
    if (path.outputs.length) found.push({ text: this.say("chain"), sub: this.chain(name), list: true });
    return found;
  }

  headline(name, state) {
    if (state !== "either") return this.say(`is_${state}`, { path: name });
    const slow = this.run.paths.get(name).outputs.map((o) => this.pace(o)).filter((p) => p);
    if (!slow.length) {
      const behind = this.run.paths.get(name).behind;
      return behind ? this.headline(behind, this.run.path(behind)) : this.say("either", {});
    }
    return this.say("is_either", { path: name, what: this.facts.words[slow[0].told ? "told_run" : "told_stop"], time: this.scans(slow[0].left) });
  }

  // For an output whose device may not have obeyed yet: what it was told and for how many scans it may lag.
  pace(name) {
    const output = this.run.outputs.get(name);
    const device = this.run.device(name);
    if (!device.heeds) return null;
    const kind = device.told ? "since_stop" : "since_run";
    const within = device.told ? output.starts_scans : output.stops_scans;
    const slot = this.facts.table.slots.findIndex(([k, n]) => k === kind && n === name);
    if (slot < 0 || !within) return null;
    const left = within - this.run.machine.slots[slot] + 1;
    return left > 0 && this.run.machine.slots[slot] <= within ? { told: device.told, left } : null;
  }

  // What keeps a path from running now.
  keeping(name) {
    return [...this.keepingByKey(name, "").values()];
  }

  // The same with a key for each cause. `before`: the path that stands behind this one, if it is asked for that one.
  keepingByKey(name, before) {
    const { run } = this;
    const path = run.paths.get(name);
    if (run.has("bypassed", name)) return new Map();
    const found = new Map(); // one entry for each rule, however many outputs it acts through
    for (const output of path.outputs.map((o) => run.outputs.get(o))) {
      const device = run.device(output.name);
      if (device.told || !device.heeds) continue;
      const owner = run.outputs.get(device.owner);
      const gone = ["dead", "frozen"].find((mode) => run.has(mode, owner.unit));
      if (owner !== output) found.set(`w ${output.name}`, { text: this.planted(output.name).join(" ") });
      if (run.has("wire_broken", owner.name) || run.has("wrong_contact", owner.name) || run.has("welded", owner.name)) {
        found.set(`w ${output.name}`, { text: this.planted(owner.name).join(" ") });
      }
      if (gone) {
        const fault = this.planted(owner.unit).join(" ");
        found.set(`u ${owner.unit}`, { text: `${this.say(gone === "dead" ? "unit_dead" : "unit_frozen", owner)}. ${fault}` });
        continue;
      }
      if (run.tells("on", owner.name)) continue;
      const { blockers, unwanted } = this.why.stoppers(owner);
      for (const { rule } of blockers) found.set(`r ${rule}`, this.stopping(rule, name, before));
      for (const one of unwanted) {
        this.facts.rules
          .filter((r) => r.unit === owner.unit && r.starts.includes(one))
          .forEach((r) => found.set(`s ${r.name}`, this.notAsking(r)));
      }
    }
    if (path.behind && run.path(path.behind) !== "running") {
      for (const [key, one] of this.keepingByKey(path.behind, name)) if (!found.has(key)) found.set(key, one);
    }
    return found;
  }

  stopping(name, path, before) {
    const text = before ? this.say("stops_behind", { rule: name, path }) : this.say("stops_it", { rule: name });
    return { text, strong: true, sub: this.about(name), progress: this.progress(name) };
  }

  notAsking(rule) {
    const sub = [{ text: this.say("now", { sees: this.why.sees(rule) }) }, ...this.behindIt(rule, 1), ...this.idle(rule)];
    const waits = this.run.state(rule.name);
    if (waits && waits[0] === "picking_up") sub.push({ text: this.acting(rule) });
    return {
      text: this.say("not_asked", { rule: rule.name, trips: rule.trips }), strong: true, sub, progress: this.progress(rule.name),
    };
  }

  asking(output) {
    return this.facts.rules
      .filter((r) => r.unit === output.unit && r.starts.some((p) => output.drives.includes(p)) && this.run.tells("in_force", r.name))
      .map((r) => ({ text: this.say("asked", { rule: r.name }), sub: this.about(r.name), progress: this.progress(r.name) }));
  }

  // Rules that would stop a running path, those whose delay runs first.
  coming(path) {
    const stops = this.facts.rules.filter((r) => r.blocks.some(([p]) => p === path.name)
      && path.outputs.some((o) => this.run.outputs.get(o).unit === r.unit));
    const soon = (r) => (this.run.state(r.name) || [""])[0] === "picking_up";
    return [...stops.filter(soon), ...stops.filter((r) => !soon(r))].map((r) => ({
      text: `${r.name}: ${r.trips}`,
      sub: [{ text: `${this.why.rule(r.name)}.` }, ...this.idle(r), ...(soon(r) ? [{ text: this.acting(r) }] : [])],
      progress: this.progress(r.name),
    }));
  }

  // A rule's own reasons: what it sees and why, why it is there, and what ends it.
  about(name) {
    const rule = this.run.rules.get(name);
    const state = this.run.state(name);
    const found = [{ text: this.say("now", { sees: this.why.sees(rule) }) }, ...this.behindIt(rule, 1)];
    if (rule.why) found.push({ text: this.say("because", { why: rule.why }) });
    if (state === null) return found;
    if (state[0] === "awaiting_reset") {
      found.push({ text: rule.reset_by ? this.say("waits_reset", { line: rule.reset_by }) : this.say("lets_go_nobody", rule) });
    } else if (rule.manual) {
      found.push({ text: rule.reset_by
        ? this.say("lets_go_reset", { clears: rule.clears, line: rule.reset_by }) : this.say("lets_go_nobody", rule) });
    } else {
      found.push({ text: this.say("lets_go", rule) });
    }
    if (state[0] === "dropping_off") found.push({ text: this.left(rule) });
    return [...found, ...this.idle(rule), ...this.planted(rule.watched).map((text) => ({ text }))];
  }

  left(rule) {
    const delay = this.why.delay(rule);
    return this.say("left", {
      done: duration(delay.done), delay: duration(delay.us), left: duration(Math.max(0, delay.us - delay.done)),
    });
  }

  acting(rule) {
    const delay = this.why.delay(rule);
    return this.say("acts_in", { left: duration(Math.max(0, delay.us - delay.done)) });
  }

  progress(name) {
    const delay = this.why.delay(this.run.rules.get(name));
    return delay && delay.us >= 1e6 ? { done: delay.done, of: delay.us } : null;
  }

  // Why an active rule does not act.
  idle(rule) {
    const { run } = this;
    if (!run.active(rule.name) || run.tells("in_force", rule.name)) return [];
    const waits = rule.only_while.some(([s, name, on]) => run.sees(rule.unit, s, name) !== on);
    if (waits) return [{ text: this.say("only_while", { conditions: this.why.listing(rule.only_while_words) }) }];
    return [{ text: this.say("overridden", { line: rule.overridden_by }) }];
  }

  // What stands behind what a rule sees: the sensors of a reading, who sends a line, another rule.
  behindIt(rule, depth) {
    const { run, facts } = this;
    const found = [];
    if (rule.watches === "reading") {
      const reading = facts.readings.find((r) => r.name === rule.watched);
      const parts = reading.sensors.map((s) => this.say("part_reads", { name: s, value: this.why.value(s) }));
      found.push({ text: this.say("combined", { name: reading.name, how: reading.how, parts: this.why.listing(parts) }) });
      reading.sensors.forEach((s) => found.push(...this.planted(s).map((text) => ({ text }))));
    }
    if (rule.watches === "rule" && depth < 4) {
      const other = run.rules.get(rule.watched);
      found.push({ text: `${this.why.rule(other.name)}.`, sub: this.behindIt(other, depth + 1) });
    }
    if (rule.watches === "line") {
      const line = run.lines.get(rule.watched);
      if (line.form === "confirms") {
        const key = run.tells("closed", line.output) ? "contact_closed" : "contact_open";
        found.push({ text: this.say(key, { line: line.name, output: line.output }) });
      }
      if (line.form === "low_when" || line.form === "high_when") {
        const active = line.rules.filter((r) => run.active(r));
        const on = run.tells("line", line.name);
        const rules = active.length
          ? this.why.listing(active.map((r) => this.say("is_active", { rule: r })))
          : line.rules.length > 1 ? this.say("none_active", { rules: this.why.listing(line.rules, "or") })
            : this.say("is_clear", { rule: line.rules[0] });
        const sub = depth < 4 ? line.rules.flatMap((r) => [
          { text: `${this.why.rule(r)}.` },
          ...(run.active(r) ? [{ text: this.say("lets_go", run.rules.get(r)) }] : []),
          ...this.behindIt(run.rules.get(r), depth + 1)]) : [];
        found.push({ text: this.say(on ? "sent_on" : "sent_off", { unit: line.unit, line: line.name, rules }), sub });
      }
    }
    return found;
  }

  // From permit to device, link by link; `ok`: whether the link lets the path run.
  chain(name) {
    const { run } = this;
    const path = run.paths.get(name);
    const found = path.outputs.map((o) => {
      const output = run.outputs.get(o);
      const device = run.device(o);
      const owner = run.outputs.get(device.owner);
      const on = run.tells("on", owner.name);
      const links = [
        { text: this.say(on ? "permits" : "permits_not", { unit: owner.unit }), ok: on },
        { text: run.tells("energised", owner.name) ? owner.energised : owner.released, ok: on },
        { text: owner.contact[run.tells("closed", owner.name) ? 0 : 1], ok: null },
        ...(run.has("wire_broken", owner.name) ? [{ text: this.facts.words.wire_broken, ok: false }] : []),
        ...(owner !== output ? [{ text: this.say("fed_by", { owner: owner.name }), ok: null }] : []),
        { text: output.input[device.made ? 0 : 1], ok: device.told },
        ...(device.heeds ? [] : [{ text: this.facts.words.heeds_not, ok: true }]),
      ];
      const pace = this.pace(o);
      const runs = device.told || !device.heeds;
      const last = pace
        ? this.say(pace.told ? "device_starting" : "device_running_on", { path: name, time: this.scans(pace.left) })
        : this.say(runs ? "device_runs" : "device_stops", { path: name });
      return { text: `${o}: ${[...links.map((link) => link.text), last].join(", ")}.`, links, runs };
    });
    if (path.behind) {
      const state = this.facts.words[`behind_${run.path(path.behind)}`];
      found.push({ text: this.say("behind_too", { behind: path.behind, state }), runs: run.path(path.behind) === "running" });
    }
    return found;
  }
})();
