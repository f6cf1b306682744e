"""Random valid schemes as YAML text, so that the reader is exercised with every use.

`random_scheme_text(rng, profile)` writes one; the same seed and profile give the same text. Thresholds, limits, errors
and valid bounds lie on one coarse grid per kind of quantity, so that they often meet exactly: boundaries are where two
implementations differ. A `Profile` sets sizes, delays (in scans) and how often the rarer constructs appear.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from interlock.scheme.build_logic import DEFAULT_UNIT
from tests.support.profiles import BROAD, INTERLOCKS, LONG, SMALL, TINY, Profile
from tests.support.random_values import Quantity, ValueWriter, Watchable
from tests.support.random_worlds import random_fault_set, random_world, random_worlds, split_faults

__all__ = [
    "BROAD",
    "INTERLOCKS",
    "LONG",
    "SMALL",
    "TINY",
    "Profile",
    "random_fault_set",
    "random_scheme_text",
    "random_world",
    "random_worlds",
    "split_faults",
]


@dataclass
class _Rule:
    name: str
    unit: str
    watched: str = ""
    entries: dict[str, str] = field(default_factory=dict)
    blocks: list[str] = field(default_factory=list)
    starts: list[str] = field(default_factory=list)
    alarm: str = ""
    used: bool = False  # watched by a rule, in its only_while, or sent on a line
    on: Watchable | None = None  # what value it watches, if it does
    trips_low: bool = False
    low_side: int = 0  # the lower one of its two limits, and the upper one
    high_side: int = 0

    @property
    def acts(self) -> bool:
        return bool(self.blocks or self.starts or self.alarm)


def random_scheme_text(rng: random.Random, profile: Profile = SMALL) -> str:
    """The YAML text of one random valid scheme."""
    return _Writer(rng, profile).text()


class _Writer(ValueWriter):
    def __init__(self, rng: random.Random, profile: Profile) -> None:
        super().__init__(rng, profile)
        self.units = ["board", "monitor", "annex"][: self.count(profile.units)]
        if len(self.units) == 1 and self.maybe(0.7):
            self.units = [DEFAULT_UNIT]
        self.external: list[str] = []
        self.line_unit: dict[str, str] = {}  # sent lines so far and their unit
        self.confirming: list[str] = []
        self.paths: dict[str, str] = {}  # name: the flow's class (charge, discharge, both, none, modal)
        self.unswitched: set[str] = set()
        self.drives: dict[str, tuple[str, list[str]]] = {}  # output: unit, paths
        self.groups: dict[str, list[str]] = {}  # group: its paths, nested ones expanded
        self.started_by: dict[str, str] = {}
        self.rules: list[_Rule] = []

    def text(self) -> str:
        """The whole file."""
        self.write_quantities()
        self.write_sensors()
        self.write_readings()
        self.write_external_lines()
        self.write_paths()
        self.write_outputs()
        self.write_groups()
        self.make_rules()
        self.write_requirements()
        self.write_faults()
        parts = [f"scheme: Random {self.profile.name} bench", "revision: 1", f"scan: {self.scan_ms} ms"]
        if self.units != [DEFAULT_UNIT]:
            parts.append(f"units: [{', '.join(self.units)}]")
        for section, lines in self.out.items():
            if lines:
                parts += [f"{section}:", *(f"  {line}" for line in lines)]
        return "\n".join(parts) + "\n"

    # --- lines, paths, outputs, groups

    def undriven(self) -> str:
        return self.rng.choice(["", "", ", undriven_reads: off", ", undriven_reads: on", ", undriven_reads: on"])

    def write_external_lines(self) -> None:
        lines = self.out.setdefault("lines", [])
        for i in range(self.count(self.profile.external)):
            name = ["reset_button", "shore_present", "bypass_key", "door_shut"][i]
            more = self.undriven()
            lines.append(f"{name}: {{external: yes{more}}}" if more else f"{name}: external")
            self.external.append(name)

    def write_paths(self) -> None:
        lines = self.out.setdefault("paths", [])
        for i in range(self.count(self.profile.paths)):
            word = self.rng.choice(["charge", "charge", "discharge", "discharge", "both", "none", "modal"])
            if word == "modal" and not self.external:
                word = "both"
            name = f"{'feed' if word == 'charge' else 'load' if word == 'discharge' else 'link'}{i + 1}"
            flow = word
            if word == "modal":
                flow, word = self.modal_flow()
            parts = [f"flow: {flow}"]
            if self.paths and self.maybe():
                parts.append(f"behind: {self.rng.choice(list(self.paths))}")
            if i and self.maybe(0.08):
                parts.append("unswitched: it must never be cut off")
                self.unswitched.add(name)
            self.paths[name] = word
            lines.append(f"{name}: {{{', '.join(parts)}}}")

    def modal_flow(self) -> tuple[str, str]:
        """Exclusive modes on one line, overlapping ones, two lines, or one direction only; and the flow's class."""
        line = self.rng.choice(self.external)
        other = self.rng.choice(self.external)
        state, opposite = self.rng.choice([("on", "off"), ("off", "on")])
        shape = self.rng.randrange(4)
        if shape == 0:
            return f"{{charge: {{{line}: {state}}}, discharge: {{{line}: {opposite}}}}}", "modal"
        if shape == 1:
            return f"{{discharge: {{{line}: {state}}}}}", "discharge"
        if shape == 2 and other != line:
            both = f"{{{line}: {state}, {other}: {opposite}}}"
            return f"{{charge: {both}, discharge: {{{line}: {opposite}}}}}", "modal"
        return f"{{charge: {{{line}: {state}}}, discharge: {{{other}: {state}}}}}", "modal"

    def write_outputs(self) -> None:
        lines = self.out.setdefault("outputs", [])
        switched = [path for path in self.paths if path not in self.unswitched]
        driven: list[list[str]] = []
        waiting = list(switched)
        while waiting:
            first = waiting.pop(0)
            together = [waiting.pop(0)] if waiting and self.maybe(0.2) else []
            driven.append([first, *together])
        driven += [self.subset(switched, 1, 2) for _ in range(self.count(self.profile.extra_outputs))]
        for i, paths in enumerate(driven):
            unit = self.units[0] if self.maybe(0.6) else self.rng.choice(self.units)
            name = f"K{i + 1}"
            self.drives[name] = (unit, paths)
            contact = self.rng.choice(["normally_open", "normally_open", "normally_closed", "driven"])
            runs_when = ["high", "low"] if contact == "driven" else ["closed", "closed", "open"]
            parts = [f"drives: [{', '.join(paths)}]", f"contact: {contact}"]
            needs = self.rng.choice(runs_when if self.maybe(0.75) else ["closed", "open", "high", "low"])
            parts.append(f"runs_when: {needs}")
            if unit != self.units[0] or self.maybe(0.2):
                parts.append(f"unit: {unit}")
            stops = (contact == "normally_closed") != (needs in ("open", "low"))  # so that a block stops
            if self.maybe(0.15):
                stops = not stops
            if stops or self.maybe(0.2):
                parts.append(f"energised_when: {'stops' if stops else 'runs'}")
            for word in ("stops_within", "starts_within"):
                if (time := self.duration(self.profile.contact_delay)) and self.maybe(0.7):
                    parts.append(f"{word}: {time}")
            lines.append(f"{name}: {{{', '.join(parts)}}}")
        for i in range(self.count(self.profile.confirming)):
            name = f"aux{i + 1}"
            self.out["lines"].append(f"{name}: {{confirms: {self.rng.choice(list(self.drives))}{self.undriven()}}}")
            self.confirming.append(name)

    def built_in(self) -> dict[str, list[str]]:
        flows = {"sources": ("charge", "both", "modal"), "loads": ("discharge", "both", "modal")}
        members = {group: [p for p, word in self.paths.items() if word in words] for group, words in flows.items()}
        members["all"] = [p for p, word in self.paths.items() if word != "none"]
        return {group: paths for group, paths in members.items() if paths}

    def write_groups(self) -> None:
        built_in = self.built_in()
        lines: list[str] = []
        for i in range(self.count(self.profile.groups)):
            choices = [*self.paths, *self.paths, *built_in, *self.groups]
            named = list(dict.fromkeys(self.rng.choices(choices, k=self.rng.randint(1, 3))))
            name = f"group{i + 1}"
            lines.append(f"{name}: [{', '.join(named)}]")
            everything = {**{p: [p] for p in self.paths}, **built_in, **self.groups}
            self.groups[name] = [path for entry in named for path in everything[entry]]
        self.groups |= built_in
        self.out["groups"] = lines

    # --- rules

    def driven_by(self, unit: str) -> list[str]:
        return [p for p in self.paths if any(u == unit and p in paths for u, paths in self.drives.values())]

    def readable_lines(self, unit: str) -> list[str]:
        """Lines whose sending rules are done: a unit seldom reads what it sends itself."""
        sent = [line for line, sender in self.line_unit.items() if sender != unit or self.maybe(0.1)]
        return [*self.external, *self.confirming, *sent]

    def make_rules(self) -> None:
        number = max(self.count(self.profile.rules), len(self.units))
        wanted_lines = self.count(self.profile.sent)
        for i in range(number):
            unit = self.units[i] if i < len(self.units) else self.rng.choice(self.units)
            rule = _Rule(f"rule{i + 1}", unit)
            self.watch(rule)
            self.rules.append(rule)
            if len(self.line_unit) < wanted_lines and self.maybe(0.6):
                self.send_line(unit)
        for rule in self.rules:
            self.act(rule)
        for rule in self.rules:
            if not rule.acts and not rule.used:
                rule.alarm = "look after it"
            self.condition(rule)
        written = list(self.rules)
        self.rng.shuffle(written)  # the file's order is not the order of one scan
        self.out["rules"] = [self.rule_text(rule) for rule in written]

    def watch(self, rule: _Rule) -> None:
        choices = ["value"] * self.profile.values
        lines = self.readable_lines(rule.unit)
        choices += ["line"] * 3 if lines else []
        choices += ["path"] * (1 if self.profile.values > 3 else 2) if (paths := self.driven_by(rule.unit)) else []
        others = [other for other in self.rules if other.unit == rule.unit]
        choices += ["rule"] if others else []
        match self.rng.choice(choices):
            case "value":
                self.watch_value(rule, self.rng.choice(self.watchables))
            case "line":
                self.two_valued(rule, self.rng.choice(lines), "on", "off")
            case "path":
                self.two_valued(rule, self.rng.choice(paths), "running", "stopped")
            case _:
                other = self.rng.choice(others)
                other.used = True
                self.two_valued(rule, other.name, "active", "clear")
        if rule.on and self.maybe(0.6):
            rule.entries["on_invalid"] = self.rng.choice(["trip", "hold", "hold", "clear"])
        if self.maybe(0.6):
            rule.entries["power_up"] = self.rng.choice(["tripped", "clear", "clear", "as_left"])
        if self.maybe():
            rule.entries["reset"] = "manual"
            if lines and self.maybe(0.75):
                rule.entries["reset_by"] = self.rng.choice(lines)

    def watch_value(self, rule: _Rule, seen: Watchable) -> None:
        grid, write = seen.grid, seen.grid.diff if seen.difference else seen.grid.value
        gap = self.rng.randint(1, 5) * grid.step
        first = seen.low + self.rng.randint(1, max(1, (seen.high - seen.low - gap) // grid.step - 1)) * grid.step
        low_side, high_side = (first, first + gap)
        below, above = self.rng.choice(["below", "at_or_below"]), self.rng.choice(["above", "at_or_above"])
        low_text, high_text = f"{below} {write(low_side)}", f"{above} {write(high_side)}"
        rule.on, rule.trips_low, rule.low_side, rule.high_side = seen, self.maybe(0.5), low_side, high_side
        trips, clears = (low_text, high_text) if rule.trips_low else (high_text, low_text)
        rule.watched = seen.name
        rule.entries |= {"trips": self.delayed(trips), "clears": self.delayed(clears)}

    def two_valued(self, rule: _Rule, name: str, yes: str, no: str) -> None:
        trips, clears = (yes, no) if self.maybe(0.5) else (no, yes)
        rule.watched = name
        rule.entries |= {"trips": self.delayed(trips), "clears": self.delayed(clears)}

    def send_line(self, unit: str) -> None:
        """A line from rules made so far, so that no loop can close."""
        own = [rule for rule in self.rules if rule.unit == unit]
        senders = self.rng.sample(own, min(len(own), self.rng.choice([1, 1, 2])))
        for rule in senders:
            rule.used = True
        name, form = f"signal{len(self.line_unit) + 1}", self.rng.choice(["low_when", "low_when", "high_when"])
        self.line_unit[name] = unit
        rules = ", ".join(rule.name for rule in senders)
        self.out["lines"].append(f"{name}: {{{form}: [{rules}]{self.undriven()}}}")

    def act(self, rule: _Rule) -> None:
        mine = self.driven_by(rule.unit)
        if mine and self.maybe(0.75):
            groups = [g for g, members in self.groups.items() if set(members) & set(mine)]
            rule.blocks = self.subset([*mine, *groups], 1, 2)
        blocked = {path for name in rule.blocks for path in self.groups.get(name, [name])}
        free = [p for p in mine if p not in blocked and self.started_by.get(p, rule.unit) == rule.unit]
        if free and self.maybe(0.25 if rule.blocks else 0.5):
            rule.starts = self.subset(free, 1, 1)
            self.started_by |= dict.fromkeys(rule.starts, rule.unit)
        if self.maybe(0.2):
            rule.alarm = "somebody should look"

    def condition(self, rule: _Rule) -> None:
        """only_while and overrides, on any line, path or rule the unit can see: they close no loop."""
        if not rule.acts:
            return
        lines = [*self.external, *self.confirming, *(x for x, sender in self.line_unit.items() if sender != rule.unit)]
        if self.maybe(0.2):
            seen = dict.fromkeys(lines, ("on", "off"))
            seen |= dict.fromkeys(self.driven_by(rule.unit), ("running", "stopped"))
            others = [other for other in self.rules if other.unit == rule.unit and other is not rule]
            seen |= {other.name: ("active", "clear") for other in others}
            if seen:
                chosen = self.subset(list(seen), 1, 2)
                text = ", ".join(f"{name}: {self.rng.choice(seen[name])}" for name in chosen)
                rule.entries["only_while"] = f"{{{text}}}"
                for other in others:
                    other.used |= other.name in chosen
        if lines and self.maybe(0.2):
            rule.entries["overridden_by"] = self.rng.choice(lines)
            if self.maybe(0.7):
                rule.entries["override_at_most"] = self.duration(self.profile.overrides)

    def rule_text(self, rule: _Rule) -> str:
        entries: dict[str, str] = {}
        if rule.unit != self.units[0] or self.maybe(0.1):
            entries["unit"] = rule.unit
        entries["watches"] = rule.watched
        entries |= rule.entries
        if rule.blocks:
            entries["blocks"] = rule.blocks[0] if len(rule.blocks) == 1 else f"[{', '.join(rule.blocks)}]"
        if rule.starts:
            entries["starts"] = rule.starts[0] if self.maybe(0.5) else f"[{rule.starts[0]}]"
        if rule.alarm:
            entries["alarm"] = f'"{rule.alarm}"'
        return f"{rule.name}: {{{', '.join(f'{key}: {text}' for key, text in entries.items())}}}"

    # --- requirements, faults

    def write_requirements(self) -> None:
        lines = self.out.setdefault("requirements", [])
        switched = [p for p in self.paths if p not in self.unswitched]
        groups = [g for g, members in self.groups.items() if set(members) - self.unswitched]
        for i in range(self.count(self.profile.requirements)):
            must = self.rng.choice(["never_running", "never_running", "never_stopped"])
            named = self.subset([*switched, *groups], 1, 1 if self.maybe(0.8) else 2)
            judged = {path for name in named for path in self.groups.get(name, [name])}
            parts = [f"{must}: {named[0] if len(named) == 1 else '[' + ', '.join(named) + ']'}"]
            if conditions := self.conditions(judged, must):
                parts.append(f"while: {conditions}")
            parts.append(f"longer_than: {self.duration(self.profile.allowed, zero='0 s')}")
            if must == "never_stopped" and self.maybe(0.3):
                parts.append("attended: no")
            lines.append(f"need{i + 1}: {{{', '.join(parts)}}}")

    def conditions(self, judged: set[str], must: str) -> str:
        chosen: list[str] = []
        seen: set[str] = set()
        band = ""
        if self.maybe(0.6) and (aimed := self.aimed(judged, must)):
            chosen, seen = list(aimed.values()), set(aimed)
        elif self.maybe(0.75):
            quantity = self.rng.choice(self.quantities)
            chosen.append(f"{quantity.name}: {self.limit(quantity)}")
            seen.add(quantity.name)
            if self.maybe(0.15):
                low = quantity.low + self.rng.randint(2, 11) * quantity.grid.step
                high = low + self.rng.randint(1, 10) * quantity.grid.step
                chosen = [f"{quantity.name}: above {quantity.grid.value(low)}"]
                band = f"{{{quantity.name}: below {quantity.grid.value(high)}}}"
            if self.maybe(0.25):
                other = self.rng.choice(self.quantities)
                if other.name not in seen:
                    chosen.append(f"{other.name}: {self.limit(other)}")
        lines = [*self.external, *self.line_unit]
        if lines and self.maybe():
            chosen.append(f"{self.rng.choice(lines)}: {self.rng.choice(['on', 'off'])}")
        others = [p for p in self.paths if p not in judged]
        if others and self.maybe(self.profile.path_conditions):
            chosen.append(f"{self.rng.choice(others)}: {self.rng.choice(['running', 'stopped'])}")
        if band:
            return f"[{{{', '.join(chosen)}}}, {band}]"
        return f"{{{', '.join(chosen)}}}" if chosen else ""

    def aimed(self, judged: set[str], must: str) -> dict[str, str]:
        """Conditions under which the rules that act on the judged paths have surely tripped (never_running) or cleared
        (never_stopped), or nearly so."""
        acting = [r for r in self.rules if r.on and judged & {p for b in r.blocks for p in self.groups.get(b, [b])}]
        aimed: dict[str, str] = {}
        for rule in self.rng.sample(acting, min(len(acting), 1 if must == "never_running" else 3)):
            assert rule.on is not None
            grid, sensor = rule.on.grid, self.rng.choice(self.members[rule.on.name])
            quantity, low, high = self.rng.choice(self.errors[sensor])
            beyond = self.rng.choice([-1, 0, 0, 1, 3]) * grid.step
            if rule.trips_low is (must == "never_running"):
                limit, word = rule.low_side - high - beyond, "below"
            else:
                limit, word = rule.high_side - low + beyond, "above"
            own = next(q for q in self.quantities if q.name == quantity)
            if own.low < limit < own.high and not rule.on.difference:
                aimed[quantity] = f"{quantity}: {word} {grid.value(limit)}"
        return aimed

    def limit(self, quantity: Quantity) -> str:
        """A limit on a quantity, mostly near a threshold, where verdicts change."""
        grid = quantity.grid
        near = [w for w in self.watchables if w.grid is grid and not w.difference]
        word = self.rng.choice(["below", "above", "below", "above", "at_or_below", "at_or_above"])
        value = self.rng.randrange(quantity.low + grid.step, quantity.high, grid.step)
        if near and self.maybe(0.5):
            value = min(
                max(self.rng.choice(near).low + 3 * grid.step, quantity.low + grid.step), quantity.high - grid.step
            )
        return f"{word} {grid.value(value)}"

    def write_faults(self) -> None:
        lines: list[str] = []
        pool = [f"{name}.{mode}" for name in self.sensor_bounds for mode in ("open", "shorted", "stuck")]
        pool += [f"{name}.{mode}" for name in self.drives for mode in ("welded", "wire_broken", "wrong_contact")]
        pool += [f"{rule.name}.omitted" for rule in self.rules] + [f"{unit}.dead" for unit in self.units]
        pool += [f"{line}.{mode}" for line in self.external for mode in ("broken", "inverted")]
        self.rng.shuffle(pool)
        if self.maybe():
            lines.append(f'{pool.pop()}: {{excluded: "it cannot come about here"}}')
        if self.maybe():
            members = [pool.pop()]
            members += [name for name in pool if name.split(".")[0] != members[0].split(".")[0]][
                : self.rng.randint(1, 2)
            ]
            if len(members) > 1:
                lines.append(f"flooded: {{together: [{', '.join(members)}]}}")
        if self.maybe(0.2):
            sensor = self.rng.choice(list(self.errors))
            like = self.rng.choice(["drifted", "misplaced"])
            lines.append(f"{sensor}.soaked: {{like: {like}, error: {self.other_error(*self.error_source[sensor])}}}")
        self.out["faults"] = lines
