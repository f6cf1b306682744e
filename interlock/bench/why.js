"use strict";
// Why a rule is in its state and a path runs or not: sentences, and the same as data for the page. The words are those
// of cases and traces, from the one catalogue; tests hold them equal to the readable engine's.

const fill = (template, fields) => template.replace(/\{(\w+)\}/g, (_, name) => String(fields[name]));

// Whole millionths as a plain decimal; parts of a millionth are rounded half to even.
function decimal(numerator, denominator = 1) {
  let whole = Math.floor(numerator / denominator);
  const rest = numerator - whole * denominator;
  if (2 * rest > denominator || (2 * rest === denominator && whole % 2 !== 0)) whole += 1;
  const [units, parts] = [Math.floor(Math.abs(whole) / 1e6), Math.abs(whole) % 1e6];
  const sign = whole < 0 ? "-" : "";
  return `${sign}${units}${parts ? `.${String(parts).padStart(6, "0").replace(/0+$/, "")}` : ""}`;
}

// A duration in microseconds, in the largest unit that leaves it short.
function duration(us) {
  if (us < 1e6) return `${decimal(us * 1000)} ms`;
  for (const [symbol, least] of [["h", 3600e6], ["min", 60e6]]) {
    if (us >= least && (us * 10) % least === 0) return `${decimal((us / least) * 1e6)} ${symbol}`;
  }
  return `${decimal(us)} s`;
}

const Why = (() => class {
  constructor(installation) {
    this.run = installation;
    this.facts = installation.facts;
    this.words = this.facts.words;
    this.measured = new Map([...this.facts.sensors, ...this.facts.readings].map((one) => [one.name, one]));
  }

  say(key, fields = {}) {
    return fill(this.words[key], fields);
  }

  listing(items, last = "and") {
    if (items.length < 2) return items.join("");
    return `${items.slice(0, -1).join(`${this.words.comma} `)} ${this.words[last]} ${items[items.length - 1]}`;
  }

  // A reading with its unit, or the word for an invalid one.
  value(name) {
    const value = this.run.reading(name);
    if (value === null) return this.words.invalid;
    return this.valueText(name, ...value);
  }

  valueText(name, numerator, denominator = 1) {
    const { unit, millis } = this.measured.get(name);
    if (millis && numerator && Math.abs(numerator) < 1e6 * denominator) {
      return `${decimal(numerator * 1000, denominator)} mV`;
    }
    return `${decimal(numerator, denominator)} ${unit}`;
  }

  // What a rule sees of what it watches.
  sees(rule) {
    const name = rule.watched;
    if (rule.watches === "sensor" || rule.watches === "reading") {
      return this.say("reads", { name, value: this.value(name) });
    }
    const on = this.run.sees(rule.unit, rule.watches, name);
    if (rule.watches === "line") return this.say("reads", { name, value: this.words[on ? "on" : "off"] });
    if (rule.watches === "path") return this.say(on ? "to_run" : "to_stop", { name });
    return this.say(on ? "rule_active" : "rule_clear", { name });
  }

  // How long a rule's delay has run and how long it is, in microseconds; null where none runs.
  delay(rule) {
    const state = this.run.state(rule.name);
    if (state === null) return null;
    const us = { picking_up: rule.trip_us, dropping_off: rule.clear_us }[state[0]] || 0;
    return us ? { done: state[1] * this.facts.scan_us, us } : null;
  }

  // `cold_stop is tripped (1.2 s of 60 s): probe reads -4 degC`.
  rule(name) {
    const rule = this.run.rules.get(name);
    const state = this.run.state(name);
    if (state === null) return this.say("left_out", { rule: name });
    const delay = this.delay(rule);
    return this.say("rule", {
      rule: name,
      state: this.facts.states[state[0]],
      running_of: delay ? " " + this.say("running_of", { done: duration(delay.done), delay: duration(delay.us) }) : "",
      idle: this.run.active(name) && !this.run.tells("in_force", name) ? this.words.idle : "",
      sees: this.sees(rule),
    });
  }

  // Whether a block that counts only in certain modes counts now, as the unit reads their lines.
  modesHold(unit, when) {
    return !when.length || when.some((joint) => joint.every(([s, name, on]) => this.run.sees(unit, s, name) === on));
  }

  // The rules that stop an output now, with the path each names; and the paths that no rule starts.
  stoppers(output) {
    const { run } = this;
    const blockers = this.facts.rules
      .filter((rule) => rule.unit === output.unit && run.tells("in_force", rule.name))
      .flatMap((rule) => rule.blocks
        .filter(([path, when]) => output.drives.includes(path) && this.modesHold(output.unit, when))
        .map(([path]) => ({ rule: rule.name, path })));
    const unwanted = output.drives.filter((path) => run.paths.get(path).started_by === output.unit
      && !this.facts.rules.some((r) => r.unit === output.unit && r.starts.includes(path) && run.tells("in_force", r.name)));
    return { blockers, unwanted };
  }

  // `K1 is off: cold_stop blocks bench_charger; it is released, its contact is open`.
  output(name) {
    const { run } = this;
    const output = run.outputs.get(name);
    const { blockers, unwanted } = this.stoppers(output);
    const blocks = blockers.map((one) => this.say("blocks", one));
    const starts = unwanted.map((path) => this.say("no_starter", { path }));
    let causes = blocks.length ? blocks : starts.length ? starts : [this.words.unwanted];
    if (run.has("dead", output.unit)) causes = [this.say("unit_dead", output)];
    else if (run.has("frozen", output.unit)) causes = [this.say("unit_frozen", output)];
    else if (run.tells("on", name)) causes = [this.words.nothing_blocks];
    return this.say("output", {
      output: name,
      state: this.words[run.tells("on", name) ? "on" : "off"],
      cause: causes.join(` ${this.words.and} `),
      coil: this.words[run.tells("energised", name) ? "energised" : "released"],
      contact: this.words[run.tells("closed", name) ? "closed" : "open"],
    });
  }

  // Why a path runs, is stopped, or may be either: one sentence for each link that decides it, cause first.
  path(name) {
    const path = this.run.paths.get(name);
    if (this.run.has("bypassed", name)) return [this.say("round", { path: name })];
    const reasons = path.outputs.map((output) => this.output(output));
    if (path.behind) {
      const state = this.words[`behind_${this.run.path(path.behind)}`];
      reasons.push(this.say("behind", { behind: path.behind, state }));
    }
    if (path.unswitched) reasons.push(this.say("unswitched", { reason: path.unswitched }));
    return reasons;
  }
})();
