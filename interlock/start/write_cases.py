"""The cases of a first scheme: frost, a full, an empty and a hot pack, a lost probe, a power cut, the interlocks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from interlock.scheme.units import MICRO
from interlock.start.layout import Field, braces, entry, time
from interlock.start.plan import Plan, volts
from interlock.start.write_rules import CALL, COMFORT, LAST, degrees

MILD = 20 * MICRO  # degC
_START = 70 * MICRO  # us; the slowest device has started by then


@dataclass(frozen=True, slots=True)
class _Step:
    """One step: `expect` maps names to words; `sets` likewise to values."""

    sets: Mapping[str, str]
    us: int = 0
    press: str = ""
    fault: str = ""
    repair: str = ""
    expect: Mapping[str, str] | None = None

    def fields(self) -> list[Field]:
        found: list[Field] = [("set", list(self.sets.items()))] if self.sets else []
        for key, value in (("press", self.press), ("fault", self.fault), ("repair", self.repair)):
            if value:
                found.append((key, value))
        if self.us:
            found.append(("for", time(self.us)))
        if self.expect:
            found.append(("expect", list(self.expect.items())))
        return found


def cases(plan: Plan) -> list[str]:
    """The section."""
    lines = ["cases:"]
    for name, steps in _all(_Cases(plan)):
        lines += [*([""] if len(lines) > 1 else []), f"  {name}:"]
        for step in steps:
            lines += _laid_out(step.fields())
    return lines


def _laid_out(fields: list[Field]) -> list[str]:
    """A step on one line, or with each of its keys on a line of its own."""
    found = braces("    - ", fields)
    if len(found) == 1:
        return found
    return [line for i, field in enumerate(fields) for line in entry("    - " if i == 0 else "      ", field)]


def _all(case: _Cases) -> Iterator[tuple[str, list[_Step]]]:
    plan = case.plan
    yield "a cold morning", case.cold()
    yield "a full pack", case.full()
    yield "an empty pack", case.empty()
    yield "an overheated pack", case.hot()
    yield "a lost probe", case.lost()
    yield "a power cut", case.power_cut()
    if plan.answers.shunt:
        yield "charge runs low", case.low()
    if plan.supplies:
        yield "shore power goes and comes back", case.supplies()


class _Cases:
    """The cases of one plan."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        called = {d.name for d in plan.called}
        waiting = {plan.supplies[1].name} if plan.supplies else set()
        self.sources = [d.name for d in plan.answers.sources if d.name not in called | waiting]
        heaters = {d.name for d in plan.heaters}
        self.comfort = [d.name for d in plan.answers.loads if not plan.lasts(d)]
        self.last = [d.name for d in plan.answers.loads if plan.lasts(d) and d.name not in heaters]
        self.loads = [*self.comfort, *self.last]
        self.heaters = [d.name for d in plan.heaters]
        self.dumps = [f"{d.name}_dump_load" for d in plan.turbines]
        self.called = [d.name for d in plan.called]

    def probes(self, micro: int) -> dict[str, str]:
        """All probes at one temperature."""
        return dict.fromkeys(self.plan.probes, degrees(micro))

    def state(self, *, charging: bool, drawing: bool) -> dict[str, str]:
        """What sources, dump loads and loads (heaters aside) do."""
        found = dict.fromkeys(self.sources, "running" if charging else "stopped")
        found |= dict.fromkeys(self.dumps, "stopped" if charging else "running")
        return found | dict.fromkeys(self.loads, "running" if drawing else "stopped")

    def warm_up(self, *, told: bool = False) -> list[_Step]:
        """From power-up until everything runs that may; what runs is said only where `told`."""
        plan, preset = self.plan, self.plan.preset
        sets = {
            **self.probes(MILD),
            "low_tap": volts(preset.resting - 10),
            "high_tap": volts(preset.resting + 10),
            **({"shunt": "80 %"} if plan.answers.shunt else {}),
            **({f"{plan.supplies[0].name}_live": "on"} if plan.supplies else {}),
        }
        minutes = 12 if plan.answers.shunt else 7
        wait = minutes * 60 * MICRO
        running = self.state(charging=True, drawing=True) | dict.fromkeys((*self.called, *self.heaters), "stopped")
        if not told:
            running = {}
        if not plan.answers.button:
            return [_Step(sets, wait, expect=running)]
        stopped = {"hot_stop": "awaiting_reset"} | (self.state(charging=False, drawing=False) if told else {})
        return [_Step(sets, wait, expect=stopped), _Step({}, _START, press="reset_button", expect=running)]

    def cold(self) -> list[_Step]:
        """Too cold to charge, and warm again."""
        limits = self.plan.limits
        heaters = dict.fromkeys(self.heaters, "running")
        stopped = {"cold_stop": "tripped", **self.state(charging=False, drawing=True), **heaters}
        again = self.state(charging=True, drawing=True) | dict.fromkeys(self.heaters, "stopped")
        return [
            *self.warm_up(told=True),
            _Step(self.probes(limits.cold.trips - 2 * MICRO), 20 * MICRO, expect=stopped),
            _Step(self.probes(limits.heat.clears + MICRO), 60 * MICRO, expect={"cold_stop": "dropping_off"}),
            _Step({}, 80 * MICRO, expect={"cold_stop": "clear", **again}),
        ]

    def full(self) -> list[_Step]:
        """A full cell stops charging only."""
        preset = self.plan.preset
        high, rested = volts(preset.full + 20), volts(preset.full_again - 20)
        stopped = {"cell_full": "tripped", **self.state(charging=False, drawing=True)}
        again = {"cell_full": "clear", **self.state(charging=True, drawing=True)}
        return [
            *self.warm_up(),
            _Step({"high_tap": high}, 8 * MICRO, expect=stopped),
            _Step({"high_tap": rested}, 40 * MICRO + _START, expect=again),
        ]

    def empty(self) -> list[_Step]:
        """An empty cell stops drawing only."""
        preset = self.plan.preset
        low, rested = volts(preset.empty - 50), volts(preset.empty_again + 50)
        stopped = {"cell_empty": "tripped", **self.state(charging=True, drawing=False)}
        again = {"cell_empty": "clear", **self.state(charging=True, drawing=True)}
        return [
            *self.warm_up(),
            _Step({"low_tap": low}, 10 * MICRO, expect=stopped),
            _Step({"low_tap": rested}, 90 * MICRO, expect=again),
        ]

    def hot(self) -> list[_Step]:
        """Too hot for anything; a button held down resets nothing."""
        hot = self.probes(self.plan.limits.hot.trips + 2 * MICRO)
        stopped = {"hot_stop": "tripped", **self.state(charging=False, drawing=False)}
        again = {"hot_stop": "clear", **self.state(charging=True, drawing=True)}
        wait = 6 * 60 * MICRO
        steps = [*self.warm_up(), _Step(hot, 10 * MICRO, expect=stopped)]
        if not self.plan.answers.button:
            return [*steps, _Step(self.probes(MILD), wait + _START, expect=again)]
        held = {"reset_button": "on"}
        waiting = {"hot_stop": "awaiting_reset", **self.state(charging=False, drawing=False)}
        return [
            *steps,
            _Step({**self.probes(MILD), **held}, wait, expect=waiting),
            _Step({"reset_button": "off"}, MICRO, expect={"hot_stop": "awaiting_reset"}),
            _Step({}, _START, press="reset_button", expect=again),
        ]

    def lost(self) -> list[_Step]:
        """A lost probe stops everything that could be too cold or too hot."""
        fault = f"{self.plan.probes[0]}.open"
        lost = {"cold_stop": "tripped", "hot_stop": "tripped", **self.state(charging=False, drawing=False)}
        again = self.state(charging=True, drawing=True)
        steps = [*self.warm_up(), _Step({}, 10 * MICRO, fault=fault, expect=lost)]
        wait = 6 * 60 * MICRO
        if not self.plan.answers.button:
            return [*steps, _Step({}, wait + _START, repair=fault, expect=again)]
        return [
            *steps,
            _Step({}, wait, repair=fault, expect={"hot_stop": "awaiting_reset"}),
            _Step({}, _START, press="reset_button", expect=again),
        ]

    def power_cut(self) -> list[_Step]:
        """After a power cut charging waits for its delays, but for nobody at a button."""
        after = {"cold_stop": "active", "hot_stop": "clear", **dict.fromkeys(self.sources, "stopped")}
        again = self.state(charging=True, drawing=True)
        return [
            *self.warm_up(),
            _Step({}, 5 * MICRO, fault="board.power_cycled", expect=after),
            _Step({}, 8 * 60 * MICRO, expect=again),
        ]

    def low(self) -> list[_Step]:
        """Comfort goes first, the generator comes, the last loads go last."""
        comfort = dict.fromkeys(self.comfort, "stopped")
        last = dict.fromkeys(self.last, "running")
        supplies = self.plan.supplies
        free = [n for n in self.called if not (supplies and n == supplies[1].name)]
        come = dict.fromkeys(free, "running")
        shed = {**({"comfort_shed": "tripped"} if self.plan.comfort else {}), **comfort, **last, **come}
        gone = {**({"last_shed": "tripped"} if self.plan.last else {}), **dict.fromkeys(self.loads, "stopped"), **come}
        again = dict.fromkeys(self.loads, "running") | dict.fromkeys(self.called, "stopped")
        return [
            *self.warm_up(),
            _Step({"shunt": f"{COMFORT[0] - 1} %"}, 7 * 60 * MICRO, expect=shed),
            _Step({"shunt": f"{LAST[0] - 1} %"}, 90 * MICRO, expect=gone),
            _Step({"shunt": f"{CALL[1] + 1} %"}, 11 * 60 * MICRO, expect=again),
        ]

    def supplies(self) -> list[_Step]:
        """The generator waits until shore power has gone, and goes before it comes back."""
        assert self.plan.supplies is not None
        shore, generator = (d.name for d in self.plan.supplies)
        steps = self.warm_up()
        if generator in self.called:
            level = {"shunt": f"{CALL[0] - 1} %"}
            waits = {"generator_call": "tripped", shore: "running", generator: "stopped"}
            steps.append(_Step(level, 6 * 60 * MICRO, expect=waits))
        return [
            *steps,
            _Step({f"{shore}_live": "off"}, 80 * MICRO, expect={shore: "stopped", generator: "running"}),
            _Step({f"{shore}_live": "on"}, 4 * 60 * MICRO, expect={shore: "stopped", generator: "running"}),
            _Step({}, 2 * 60 * MICRO, expect={shore: "running", generator: "stopped"}),
        ]
