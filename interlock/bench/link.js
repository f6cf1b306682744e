"use strict";
// A setting as the fragment of an address: where it began, how long it has run, and what was done at which scan.

const Link = (() => {
  const [MOST_ACTS, MOST_SCANS] = [200, 36000];
  const HEAD = "bench=";
  const KINDS = ["r", "l", "p", "f", "m", "c"];

  // `acts`: [scan, kind, name, value]. `whole`: all that was done; else only what is set, as if set at once.
  function write(mark, start, now, acts, open, world) {
    const whole = acts.length <= MOST_ACTS && now <= MOST_SCANS;
    const told = whole ? acts : [
      ...Object.entries(world.readings).map(([name, value]) => [0, "r", name, value]),
      ...Object.entries(world.lines).map(([name, on]) => [0, "l", name, Number(on)]),
      ...[...world.faults].map(([name, shift]) => [0, "f", name, shift]),
    ];
    const head = [mark, start, whole ? now : MOST_SCANS, open.join("+")].join(",");
    return { whole, fragment: HEAD + [head, ...told.map((act) => act.join(","))].join(";") };
  }

  // What a fragment says; null where it is none of ours or does not fit the scheme.
  function read(fragment, mark, run) {
    const text = decodeURIComponent(fragment.replace(/^#/, ""));
    if (!text.startsWith(HEAD)) return null;
    const [head, ...rest] = text.slice(HEAD.length).split(";");
    const [ofMark, start, now, open] = head.split(",");
    const acts = rest.filter((one) => one).map((one) => {
      const [scan, kind, name, value] = one.split(",");
      return [Number(scan), kind, name, Number(value || 0)];
    });
    const fits = ofMark === mark && (start === "rest" || start === "power") && Number(now) >= 0 && Number(now) <= MOST_SCANS
      && acts.length <= MOST_ACTS && acts.every(([scan, kind, name, value]) => Number.isInteger(scan) && scan >= 0
        && KINDS.includes(kind) && Number.isSafeInteger(value) && known(run, kind, name));
    return fits ? { start, now: Number(now), acts, open: (open || "").split("+").filter((p) => run.paths.has(p)) } : { other: true };
  }

  function known(run, kind, name) {
    if (kind === "r") return name in run.facts.rest.readings;
    if (kind === "l" || kind === "p") return name in run.facts.rest.lines;
    if (kind === "c") return run.facts.units.includes(name);
    return run.faults.has(name);
  }

  return { write, read };
})();
