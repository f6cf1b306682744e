"""Cases run as tests on the readable engine."""

from __future__ import annotations

from msgspec import Struct, field

from interlock.logic.scan import Engine, Seen, World
from interlock.logic.stretch import stretches
from interlock.logic.why import RuleView, path_reasons, rule_view
from interlock.scheme.model import Case, Expectation, Fault, Scheme, Step
from interlock.scheme.source import Place
from interlock.scheme.words import TWO_WORDS, Mode, Part, Signal, State


class Failure(Struct, frozen=True):
    """One expectation that was not met: what was expected and got, in words, and why."""

    name: str
    expected: str
    got: str
    place: Place
    reasons: tuple[str, ...] = ()


class StepResult(Struct, frozen=True):
    """One step: its number from 1, its first and last scan, what failed, and every rule's state at its end."""

    number: int
    first_scan: int
    last_scan: int
    place: Place
    failures: tuple[Failure, ...]
    rules: tuple[RuleView, ...]


class CaseResult(Struct, frozen=True):
    """One case. It passes when every expectation of every step is met."""

    name: str
    place: Place
    steps: tuple[StepResult, ...]

    @property
    def passed(self) -> bool:
        """No expectation failed."""
        return not any(step.failures for step in self.steps)


class CaseRun(Struct):
    """A case being run: the world as its steps have set it so far."""

    scheme: Scheme
    case: Case
    readings: dict[str, int] = field(default_factory=dict)
    lines: dict[str, bool] = field(default_factory=dict)
    faults: dict[str, Fault] = field(default_factory=dict)

    def engine(self) -> Engine:
        """The engine the case starts on: the first step's mistakes of installation were there before power-up."""
        first = self.case.steps[0].faults if self.case.steps else ()
        return Engine(self.scheme, before_power_up=[f for f in first if f.single()[0].mode.installation])

    def worlds(self, step: Step) -> list[tuple[World, int]]:
        """The step's worlds and for how many scans each: a press and a power cycle last one scan."""
        self._set(step)
        cycles = frozenset(
            unit
            for fault in step.faults
            for one in fault.single()
            if one.mode is Mode.POWER_CYCLED and one.part is Part.UNIT
            for unit in one.parts
        )
        faults = frozenset(self.faults.values())
        steady = World(dict(self.readings), dict(self.lines), faults)
        if not step.presses and not cycles:
            return [(steady, step.scans)]
        first = World(dict(self.readings), {**self.lines, **dict.fromkeys(step.presses, True)}, faults, cycles)
        return [(first, 1), (steady, step.scans - 1)]

    def _set(self, step: Step) -> None:
        own = {s.name for s in step.sets}
        for setting in step.sets:
            if setting.signal is Signal.LINE:
                self.lines[setting.name] = bool(setting.value)
            elif setting.signal is Signal.SENSOR:
                self.readings[setting.name] = int(setting.value)
            else:
                for sensor in self.scheme.sensors.values():
                    if sensor.name not in own and any(e.quantity == setting.name for e in sensor.measures):
                        self.readings[sensor.name] = int(setting.value)
        for fault in step.repairs:
            self.faults.pop(fault.name, None)
        self.faults.update({fault.name: fault for fault in step.faults})


def run_case(scheme: Scheme, case: Case) -> CaseResult:
    """Run one case from power-up."""
    run = CaseRun(scheme, case)
    engine = run.engine()
    done = 0
    seen: Seen | None = None
    results = []
    for number, step in enumerate(case.steps, 1):
        first = done
        for world, scans in run.worlds(step):
            for last, lasted in stretches(engine, world, scans):
                seen = last
                done += lasted
        assert seen is not None  # a first step lasts at least one scan
        failures = tuple(f for expected in step.expects if (f := _judge(engine, seen, expected)))
        rules = tuple(rule_view(engine, seen, name) for name in scheme.rules)
        results.append(StepResult(number, first, done - 1, step.place, failures, rules))
    return CaseResult(case.name, case.place, tuple(results))


def _judge(engine: Engine, seen: Seen, expected: Expectation) -> Failure | None:
    name, wanted = expected.name, expected.wanted
    match expected.signal:
        case Signal.PATH:
            running = seen.running(name)
            if running is wanted:
                return None
            got = {True: "running", False: "stopped", None: "either: it may run and may be stopped"}[running]
            return Failure(name, _word(Signal.PATH, wanted), got, expected.place, path_reasons(engine, seen, name))
        case Signal.LINE:
            got_line = seen.lines[name]
            if got_line is wanted:
                return None
            return Failure(name, _word(Signal.LINE, wanted), _word(Signal.LINE, got_line), expected.place)
        case Signal.RULE:
            state = seen.states[name][0] if name in seen.states else None
            met = state is wanted if isinstance(wanted, State) else state is not None and state.active is wanted
            if met:
                return None
            sentence = rule_view(engine, seen, name).sentence()
            return Failure(
                name, _word(Signal.RULE, wanted), str(state) if state else "left out", expected.place, (sentence,)
            )
        case _:
            raise AssertionError(f"nothing is expected of a {expected.signal}")


def _word(signal: Signal, wanted: bool | State) -> str:
    return str(wanted) if isinstance(wanted, State) else TWO_WORDS[signal][not wanted]


def run_cases(scheme: Scheme) -> tuple[CaseResult, ...]:
    """Every case of a scheme, in its order."""
    return tuple(run_case(scheme, case) for case in scheme.cases)
