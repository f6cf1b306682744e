"use strict";
// One scan of a compiled scheme, node by node, and an installation that is run with it. Whole numbers only: readings in
// millionths, true and false as 1 and 0. Its twin is the readable engine; tests hold them equal, scan by scan.

const Machine = (() => {
  // Each operator: (the node's own value, its arguments) to what works it out from the values of earlier nodes. Inputs
  // and slots are put in by `scan` before the rest.
  const MEANING = {
    const: (value) => () => value,
    input: () => null,
    state: () => null,
    not: (_, [a]) => (v) => 1 - v[a],
    and: (_, args) => (v) => { for (const n of args) if (!v[n]) return 0; return 1; },
    or: (_, args) => (v) => { for (const n of args) if (v[n]) return 1; return 0; },
    add: (_, [a, b]) => (v) => v[a] + v[b],
    scale: (value, [a]) => (v) => v[a] * value,
    at_most: (_, [a, b]) => (v) => (v[a] <= v[b] ? 1 : 0),
    equal: (_, [a, b]) => (v) => (v[a] === v[b] ? 1 : 0),
    select: (_, [c, a, b]) => (v) => (v[c] ? v[a] : v[b]),
    min: (_, [a, b]) => (v) => Math.min(v[a], v[b]),
    max: (_, [a, b]) => (v) => Math.max(v[a], v[b]),
  };

  return class {
    // `table`: as the project's `program_table` writes it.
    constructor(table) {
      for (const op of table.ops) if (!(op in MEANING)) throw new Error(`no meaning for the operator ${op}`);
      this.table = table;
      this.values = new Float64Array(table.nodes.length);
      this.steps = [];
      this.fromInputs = []; // [node, input, low, high]
      this.fromSlots = []; // [node, slot]
      table.nodes.forEach(([op, value, ...args], n) => {
        const kind = table.ops[op];
        const step = MEANING[kind](value, args);
        if (kind === "const") this.values[n] = value;
        else if (kind === "input") this.fromInputs.push([n, value, table.inputs[value][2], table.inputs[value][3]]);
        else if (kind === "state") this.fromSlots.push([n, value]);
        else this.steps.push([n, step]);
      });
      this.told = new Float64Array(table.told.length);
      this.at = new Map(table.told.map(([kind, name], i) => [`${kind} ${name}`, i]));
      this.powerUp();
    }

    // The slots as a first power-up finds them, or as they are given.
    powerUp(slots = null) {
      this.slots = Float64Array.from(slots || this.table.slots.map((slot) => slot[2]));
    }

    // One scan; `inputs` in the table's order: beyond an input's range all values are invalid alike, so they count as
    // its nearest end. What the scan tells stands in `told` until the next.
    scan(inputs) {
      const { values, slots, table } = this;
      for (const [n, i, low, high] of this.fromInputs) values[n] = Math.min(Math.max(Number(inputs[i]), low), high);
      for (const [n, i] of this.fromSlots) values[n] = slots[i];
      for (const [n, step] of this.steps) values[n] = step(values);
      this.slots = Float64Array.from(table.slots, (slot) => values[slot[3]]);
      for (let i = 0; i < table.told.length; i += 1) this.told[i] = values[table.told[i][2]];
      return this.told;
    }

    // One thing told of the last scan; undefined where the table does not tell it.
    get(kind, name) {
      return this.told[this.at.get(`${kind} ${name}`)];
    }

    // A rule's state and timer, in scans; null where the table has no such rule.
    state(rule) {
      const level = this.get("level", rule);
      if (level === undefined) return null;
      const [trip, clear] = this.table.levels[rule];
      const top = trip + clear + 2;
      if (level === 0) return ["clear", 0];
      if (level <= trip) return ["picking_up", level - 1];
      if (level === top) return ["tripped", 0];
      if (level === trip + 1) return ["awaiting_reset", 0];
      return ["dropping_off", top - 1 - level];
    }
  };
})();

// A scheme being run: the world as it is set (readings, external lines, planted faults), and the machine.
const Installation = (() => {

  return class {
    // `facts`: as the project's `facts` writes them.
    constructor(facts) {
      this.facts = facts;
      this.machine = new Machine(facts.table);
      this.faults = new Map(facts.faults.map((fault) => [fault.name, fault]));
      this.outputs = new Map(facts.outputs.map((output) => [output.name, output]));
      this.lines = new Map(facts.lines.map((line) => [line.name, line]));
      this.rules = new Map(facts.rules.map((rule) => [rule.name, rule]));
      this.paths = new Map(facts.paths.map((path) => [path.name, path]));
      this.world = { readings: {}, lines: {}, faults: new Map() }; // faults: name to how far its sensor reads wrong
      this.cycles = new Set(); // units power-cycled at the next scan
      this.presses = new Set(); // lines that are on at the next scan alone
      this.now = 0; // scans done
      this.present = [];
    }

    // Begin anew: at a first power-up, whatever is planted being there already.
    powerUp() {
      this.machine.powerUp();
      this.know();
      const closed = new Map();
      for (const output of this.facts.outputs) {
        closed.set(output.name, this.has("wrong_contact", output.name) !== output.closed_when_released);
      }
      this.facts.table.slots.forEach(([kind, name], i) => {
        const output = this.outputs.get(name);
        if (kind === "closed") this.machine.slots[i] = Number(closed.get(name));
        if (kind !== "since_run" && kind !== "since_stop") return;
        const told = closed.get(this.source("output", name)) === output.when_made;
        const within = kind === "since_run" ? output.stops_scans : output.starts_scans;
        this.machine.slots[i] = told === (kind === "since_run") ? 0 : within + 1;
      });
      this.now = 0;
    }

    // Take over slots and world as they were kept.
    take(slots, world) {
      this.machine.powerUp(slots);
      this.world = { readings: { ...world.readings }, lines: { ...world.lines }, faults: new Map(world.faults || []) };
      this.now = 0;
    }

    // Work out which single faults are present. `changed`: others than at the scan before.
    know() {
      const before = this.present.map((single) => single.name).join();
      this.present = [...this.world.faults.keys()].flatMap((name) => this.faults.get(name).singles);
      this.changed = this.present.map((single) => single.name).join() !== before;
      this.names = new Set(this.present.map((single) => single.name));
    }

    has(mode, part) {
      return this.present.some((single) => single.mode === mode && single.parts.includes(part));
    }

    // The part whose place `name` really looks at: its partner in an exchange, else itself.
    source(part, name) {
      const swap = this.present.find((s) => s.mode === "swapped" && s.part === part && s.parts.includes(name));
      return swap ? swap.parts.find((other) => other !== name) : name;
    }

    // What a sensor's element gives: what is set, and how far a drifted or misplaced one is off.
    element(name) {
      let value = this.world.readings[name];
      for (const [fault, shift] of this.world.faults) {
        if (shift && this.faults.get(fault).shifted.includes(name)) value += shift;
      }
      return value;
    }

    inputs() {
      return this.facts.table.inputs.map(([kind, name, , , singles]) => {
        switch (kind) {
          case "element": return this.element(name);
          case "line": return Boolean(this.world.lines[name]) || this.presses.has(name);
          case "fault": return singles.every((single) => this.names.has(single));
          case "cycle": return this.cycles.has(name);
          default: throw new Error(`no input of the kind ${kind} is known here`);
        }
      });
    }

    // One scan.
    scan() {
      this.know();
      this.machine.scan(this.inputs());
      this.now += 1;
      this.cycles.clear();
      this.presses.clear();
    }

    // --- what was seen, looked at after a scan

    tells(kind, name) {
      return Boolean(this.machine.get(kind, name));
    }

    // "running", "stopped" or "either".
    path(name) {
      const run = this.tells("may_run", name);
      return run && this.tells("may_stop", name) ? "either" : run ? "running" : "stopped";
    }

    omitted(rule) {
      return this.has("omitted", rule);
    }

    state(rule) {
      return this.omitted(rule) ? null : this.machine.state(rule);
    }

    active(rule) {
      const state = this.state(rule);
      return state !== null && ["tripped", "dropping_off", "awaiting_reset"].includes(state[0]);
    }

    // A reading as [numerator, denominator]; null where it is invalid.
    reading(name) {
      if (!this.tells("valid", name)) return null;
      return [this.machine.get("numerator", name), this.machine.get("denominator", name)];
    }

    // What a unit reads for a line: through the wire, exchanged, broken, shorted or inverted.
    read(unit, name) {
      const swapped = this.source("line", name);
      const both = this.facts.reads[unit];
      const wire = both.includes(name) && both.includes(swapped) ? swapped : name;
      let level = this.tells("line", wire);
      if (this.has("broken", wire)) level = this.lines.get(wire).undriven;
      if (this.has("shorted", wire)) level = !this.lines.get(wire).undriven;
      return level !== this.has("inverted", name);
    }

    // Whether a unit commands a path to run.
    commands(unit, path) {
      return this.paths.get(path).outputs.every((o) => this.outputs.get(o).unit !== unit || this.tells("on", o));
    }

    // What a unit sees of a two-valued signal.
    sees(unit, signal, name) {
      if (signal === "line") return this.read(unit, name);
      if (signal === "path") return this.commands(unit, name);
      return this.active(name);
    }

    // The end of an output's chain: what its device sees, and whether that tells it to run.
    device(name) {
      const owner = this.source("output", name);
      const made = this.tells("closed", owner) && !this.has("wire_broken", owner);
      return { owner, made, told: made === this.outputs.get(name).when_made, heeds: !this.has("ignored", name) };
    }
  };
})();
