"use strict";
// What happened, kept as changes, and the strip chart made of it. Running is a thick bar, stopped a thin line, either is
// hatched; so a black-and-white print tells them apart.

const SVG = "http://www.w3.org/2000/svg";

function svg(name, attributes, ...children) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

const Strips = (() => {
  const [LEFT, WIDTH, ROW, TALL] = [190, 960, 22, 46];

  return class {
    constructor(why) {
      this.why = why;
      this.facts = why.facts;
      this.clear();
    }

    clear() {
      this.tracks = new Map(); // "path roof_pv" to [[scan, what], …], the last one still so
    }

    // Note what is so from this scan on.
    note(key, scan, what) {
      const track = this.tracks.get(key) || [];
      if (track.length && track[track.length - 1][1] === what) return;
      track.push([scan, what]);
      this.tracks.set(key, track);
    }

    // Everything of the last scan.
    keep(run) {
      for (const path of this.facts.paths) this.note(`path ${path.name}`, run.now, run.path(path.name));
      for (const rule of this.facts.rules) {
        const state = run.state(rule.name);
        this.note(`rule ${rule.name}`, run.now, state ? state[0] : "left out");
      }
      for (const sensor of this.facts.sensors) {
        const value = run.reading(sensor.name);
        this.note(`sensor ${sensor.name}`, run.now, value && value[0]);
      }
    }

    // The pieces of a track between two scans, as [from, to, what].
    pieces(key, from, to) {
      const track = this.tracks.get(key) || [];
      return track
        .map(([at, what], i) => [Math.max(at, from), Math.min(i + 1 < track.length ? track[i + 1][0] : to, to), what])
        .filter(([a, b]) => b > a);
    }

    // `seconds`: how far back; 0 for all of it.
    draw(now, seconds) {
      const all = (seconds * 1e6) / this.facts.scan_us;
      const from = seconds ? Math.max(0, now - all) : 0;
      const span = Math.max(1, seconds && now - from === all ? all : now - from);
      const x = (scan) => LEFT + ((scan - from) / span) * (WIDTH - LEFT - 10);
      const rows = [];
      let y = 8;
      for (const sensor of this.facts.sensors) {
        rows.push(this.curve(sensor, from, now, x, y));
        y += TALL;
      }
      for (const path of this.facts.paths) {
        rows.push(this.bar(path.name, this.pieces(`path ${path.name}`, from, now), x, y, "path"));
        y += ROW;
      }
      for (const rule of this.facts.rules) {
        const pieces = this.pieces(`rule ${rule.name}`, from, now);
        if (!pieces.some(([, , what]) => what !== "clear")) continue;
        if (pieces.length < 2 && pieces[0][2] === "tripped" && !rule.alarm && !rule.blocks.length) continue;
        rows.push(this.bar(rule.name, pieces, x, y, "rule"));
        y += ROW;
      }
      rows.push(...this.axis(span, x, from, now, y));
      const words = this.why.say("chart", { time: duration(span * this.facts.scan_us) });
      return svg("svg", { viewBox: `0 0 ${WIDTH} ${y + 24}`, role: "img", "aria-label": words },
        svg("defs", {}, svg("pattern", { id: "bench-hatch", width: 5, height: 5, patternUnits: "userSpaceOnUse",
          patternTransform: "rotate(45)" }, svg("rect", { width: 2.4, height: 5, fill: "#0b4f8a" }))), ...rows);
    }

    name(words, y) {
      const text = svg("text", { x: LEFT - 8, y, "text-anchor": "end", "font-size": 12 });
      text.textContent = words;
      return text;
    }

    bar(name, pieces, x, y, kind) {
      const group = svg("g", {}, this.name(name, y + 14));
      for (const [a, b, what] of pieces) {
        const at = { x: x(a).toFixed(1), width: Math.max(1, x(b) - x(a)).toFixed(1) };
        const thick = { ...at, y: y + 3, height: ROW - 8 };
        const thin = { ...at, y: y + ROW / 2 - 1.5, height: 1.6, fill: "#6b6b6b" };
        if (kind === "path") {
          if (what === "stopped") group.append(svg("rect", thin));
          else group.append(svg("rect", { ...thick, fill: what === "running" ? "#0b4f8a" : "url(#bench-hatch)" }));
        } else if (what !== "clear" && what !== "left out") {
          const full = what !== "picking_up";
          group.append(svg("rect", { ...(full ? thick : { ...thick, y: y + 8, height: ROW - 18 }), fill: "#9c2a00",
            ...(what === "dropping_off" ? { "fill-opacity": 0.45, stroke: "#9c2a00" } : {}) }));
        }
      }
      const last = pieces.length ? pieces[pieces.length - 1][2] : "";
      const title = svg("title", {});
      title.textContent = `${name}: ${this.facts.words[last] || this.facts.states[last] || last}`;
      group.prepend(title);
      return group;
    }

    curve(sensor, from, now, x, y) {
      const pieces = this.pieces(`sensor ${sensor.name}`, from, now);
      const values = pieces.map(([, , v]) => v).filter((v) => v !== null);
      const [low, high] = [Math.min(...values), Math.max(...values)];
      const level = (v) => y + TALL - 10 - (high > low ? (v - low) / (high - low) : 0.5) * (TALL - 20);
      const group = svg("g", {}, this.name(sensor.name, y + TALL / 2 - 2));
      const ends = high > low ? [low, high] : [high];
      const range = this.name(values.length ? ends.map((v) => this.why.valueText(sensor.name, v)).join(" … ") : "", y + TALL / 2 + 11);
      range.setAttribute("font-size", 10);
      range.setAttribute("fill", "#595959");
      group.append(range);
      let points = "";
      for (const [a, b, value] of pieces) {
        if (value === null) {
          points = "";
          group.append(svg("rect", { x: x(a).toFixed(1), width: Math.max(1, x(b) - x(a)).toFixed(1), y: y + 8, height: TALL - 16,
            fill: "none", stroke: "#9c2a00", "stroke-dasharray": "4 3" }));
          continue;
        }
        points += `${points ? "L" : "M"}${x(a).toFixed(1)} ${level(value).toFixed(1)}L${x(b).toFixed(1)} ${level(value).toFixed(1)}`;
        group.append(svg("path", { d: points, fill: "none", stroke: "#000", "stroke-width": 1.6 }));
        points = `M${x(b).toFixed(1)} ${level(value).toFixed(1)}`;
      }
      return group;
    }

    axis(span, x, from, now, y) {
      const found = [svg("line", { x1: LEFT, x2: WIDTH - 10, y1: y + 2, y2: y + 2, stroke: "#000" })];
      for (const part of [0, 0.25, 0.5, 0.75, 1]) {
        const scan = from + span * part;
        const words = part === 1 ? this.facts.words.chart_now
          : this.why.say("seconds_ago", { time: duration(Math.round(((1 - part) * span * this.facts.scan_us) / 1e5) * 1e5) });
        const text = svg("text", { x: x(scan).toFixed(1), y: y + 18, "font-size": 11,
          "text-anchor": part === 1 ? "end" : part === 0 ? "start" : "middle" });
        text.textContent = scan > now && part !== 1 ? "" : words;
        found.push(text);
      }
      return found;
    }
  };
})();
