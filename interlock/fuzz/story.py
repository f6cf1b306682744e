"""A behaviour told to a person: what the world does, what the rules make of it, what runs and should not."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from interlock.fuzz.faults import Plan
from interlock.fuzz.found import Found
from interlock.fuzz.guide import guide_of
from interlock.fuzz.judge import Judge, engine_for, resets_of
from interlock.fuzz.region import groups
from interlock.fuzz.script import Step, stretches_of
from interlock.logic.scan import Seen
from interlock.scheme.model import Claim, Condition, Limit, Scheme
from interlock.scheme.units import time_text, value_text
from interlock.scheme.words import TWO_WORDS, Must, Signal


@dataclass(frozen=True, slots=True)
class Line:
    """One moment of a story: microseconds from power-up, and what there is to tell, one sentence each."""

    at_us: int
    says: tuple[str, ...]


def claim_text(scheme: Scheme, claim: Claim) -> str:
    """`roof_pv must never be running for longer than 5 s while coldest_cell is below 0 degC`."""
    word = "running" if claim.must is Must.NEVER_RUNNING else "stopped"
    most = f" for longer than {time_text(claim.longer_than.us)}" if claim.longer_than.us else ""
    text = f"{claim.path} must never be {word}{most}"
    joint = [condition_text(scheme, c) for c in claim.conditions]
    if claim.any_of:
        modes = [" and ".join(condition_text(scheme, c) for c in alternative) for alternative in claim.any_of]
        joint.append(" or ".join(modes))
    return text + (" while " + " and ".join(joint) if joint else "")


def condition_text(scheme: Scheme, condition: Condition) -> str:
    """`coldest_cell is below 0 degC`, `rescue_button is off`."""
    test = condition.test
    if isinstance(test, Limit):
        kind = scheme.quantities[condition.name].kind
        return f"{condition.name} is {str(test.compare).replace('_', ' ')} {value_text(test.value, kind)}"
    return f"{condition.name} is {TWO_WORDS[condition.signal][not test]}"


def story(scheme: Scheme, found: Found) -> tuple[Line, ...]:
    """The behaviour up to where the claim is violated, moment by moment."""
    return tuple(_Teller(scheme, found).lines())


class _Teller:
    def __init__(self, scheme: Scheme, found: Found) -> None:
        self.scheme, self.found = scheme, found
        claim, plan = found.claim, found.script.plan
        guide = guide_of(scheme, claim, plan)
        self.rules = guide.rules
        self.paths = dict.fromkeys([claim.path, *(c.name for c in claim.all_conditions() if c.signal is Signal.PATH)])
        watched = {c.name for c in claim.all_conditions()} | guide.parts
        self.lines_told = [name for name in found.script.steps[0].lines if name in watched]
        told = [
            members
            for members in groups(scheme)
            if any(name in watched for name in (*members[0], *members[1])) or _faulted(plan, members[1])
        ]
        self.quantities = [name for members in told for name in members[0]]
        self.sensors = [name for members in told for name in members[1]]

    def lines(self) -> Iterator[Line]:
        """Moment by moment."""
        claim, script, us = self.found.claim, self.found.script, self.scheme.scan_us
        judge = Judge(self.scheme, claim)
        engine = engine_for(self.scheme, script.plan.installed, resets_of(claim))
        now, before, seen_before = 0, None, None
        running_since = 0
        for step in script.steps:
            says = self._world(before, step)
            for seen, lasted in stretches_of(engine, script.plan, step):
                says += self._consequences(seen_before, seen)
                if says:
                    yield Line(now * us, tuple(says))
                says, seen_before = [], seen
                was = judge.run
                judge.see(step.truth, seen, lasted)
                running_since = now if judge.run and not was else running_since
                now += lasted
            before = step
        yield Line(now * us, (self._verdict(judge, running_since),))

    # --- the world

    def _world(self, before: Step | None, step: Step) -> list[str]:
        says = []
        if before is None:
            says += [f"{name} is there from installation" for name in self._installed()]
        says += [f"{name} arises" for name in step.arisen if before is None or name not in before.arisen]
        says += [f"{unit} loses its power for a moment" for unit in step.cycles]
        truths = [
            f"{name} is {value_text(step.truth[name], self.scheme.quantities[name].kind)}"
            for name in self.quantities
            if before is None or before.truth[name] != step.truth[name]
        ]
        readings = [text for name in self.sensors if (text := self._reading(name, before, step))]
        lines = [
            f"{name} is {TWO_WORDS[Signal.LINE][not step.lines[name]]}"
            for name in self.lines_told
            if (step.lines[name] if before is None else before.lines[name] is not step.lines[name])
        ]
        return says + [", ".join(part) for part in (truths, readings, lines) if part]

    def _installed(self) -> list[str]:
        plan = self.found.script.plan
        return [f.name for f in plan.faults if any(single in plan.installed for single in f.single())]

    def _reading(self, name: str, before: Step | None, step: Step) -> str:
        sensor, value = self.scheme.sensors[name], step.readings[name]
        true = [step.truth[error.quantity] for error in sensor.measures]
        text = value_text(value, sensor.kind)
        if before is not None and before.readings[name] == value:
            moved = any(before.truth[e.quantity] != step.truth[e.quantity] for e in sensor.measures)
            return f"{name} may still read {text}" if moved else ""
        return f"{name} reads {text}" if all(value == one for one in true) else f"{name} may read {text}"

    # --- what comes of it

    def _consequences(self, before: Seen | None, seen: Seen) -> list[str]:
        if before is None:
            says = self._at_power_up(seen)
        else:
            turned = [
                f"{name} {'trips' if seen.states[name][0].active else 'clears'}"
                for name in self.rules
                if name in seen.states and before.states[name][0].active is not seen.states[name][0].active
            ]
            says = [", ".join(turned)] if turned else []
        for path in self.paths:
            if before is None or before.running(path) is not seen.running(path):
                says.append(f"{path} {_RUNNING[seen.running(path)]}")
        return says

    def _at_power_up(self, seen: Seen) -> list[str]:
        """The rules at the first scan: all of one kind but those named."""
        active = [name for name in self.rules if name in seen.states and seen.states[name][0].active]
        clear = [name for name in self.rules if name in seen.states and name not in active]
        if not active or not clear:
            return [f"all rules behind it are {'active' if active else 'clear'}"] if active or clear else []
        few, word, rest = (clear, "clear", "active") if len(clear) <= len(active) else (active, "active", "clear")
        return [f"of the rules behind it {', '.join(few)} {'is' if len(few) == 1 else 'are'} {word}, the others {rest}"]

    def _verdict(self, judge: Judge, since: int) -> str:
        claim, us = self.found.claim, self.scheme.scan_us
        word = "running" if claim.must is Must.NEVER_RUNNING else "stopped"
        most = _allowed(claim)
        if not judge.longest:
            return (
                f"both have been seen, {claim.path} {word} and the conditions; truth may turn within a scan of "
                f"{time_text(us)}, and {most} allowed"
            )
        turn = f" and truth may have turned up to {time_text(us)} before" if judge.added else ""
        return (
            f"{claim.path} may have been {word} in all this since {_moment(since * us)}{turn}: "
            f"{time_text((judge.run + judge.added) * us)} where {most} allowed"
        )


_RUNNING = {True: "runs", False: "is stopped", None: "may be running or stopped"}


def _moment(us: int) -> str:
    return time_text(us) if us else "power-up"


def _allowed(claim: Claim) -> str:
    return f"{time_text(claim.longer_than.us)} is" if claim.longer_than.us else "no time at all is"


def _faulted(plan: Plan, sensors: tuple[str, ...]) -> bool:
    return any(part in sensors for fault in plan.faults for single in fault.single() for part in single.parts)


def facts(scheme: Scheme, step: Step, start_us: int) -> Mapping[str, object]:
    """A step as plain data: times in seconds, values as they are written in a scheme."""
    return {
        "at_s": start_us / 1e6,
        "for_s": step.scans * scheme.scan_us / 1e6,
        "truth": {n: value_text(v, scheme.quantities[n].kind) for n, v in step.truth.items()},
        "readings": {n: value_text(v, scheme.sensors[n].kind) for n, v in step.readings.items()},
        "lines": {n: TWO_WORDS[Signal.LINE][not on] for n, on in step.lines.items()},
        "faults": list(step.arisen),
        "power_cycled": list(step.cycles),
    }
