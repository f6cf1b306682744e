"""For how long a loop needs an input to itself: while it is set, and until the rules that it leads to are done."""

from __future__ import annotations

from interlock.plan.cover import Use
from interlock.plan.loops import Input, Run, Trials
from interlock.scheme.units import MICRO

HOLD_S = 5  # an input is left alone for so long beyond the longest delay of the rules it leads to


def uses(trials: Trials, run: Run, *, begins: bool) -> dict[Input, Use]:
    """The inputs of a loop, each with the phases in which it is used. `begins`: the way from power-up to rest, which
    gives all inputs what they have at rest: they are used for as long as rules take to let go."""
    found: dict[Input, Use] = {}
    phases, home = run.phases, trials.home
    sensors, lines = [phase.spot.given for phase in phases], [phase.spot.lines for phase in phases]
    for kind, own, of in (("sensor", home.given, sensors), ("line", home.lines, lines)):
        for i, value in enumerate(own):
            hold = _hold(trials, kind, i)
            if begins:
                found[kind, i] = Use((), min(hold, run.seconds))
                continue
            away = [p for p in range(len(phases)) if of[p][i] != value]
            if away:
                after = sum(phase.settles for phase in phases[away[-1] + 1 :])
                found[kind, i] = Use(tuple(range(away[0], away[-1] + 1)), min(hold, after))
    for p, phase in enumerate(phases):
        if phase.spot.press is not None:  # what waits for a reset may not be reset before
            found["line", phase.spot.press] = Use(tuple(range(p + 1)))
    return found


def _hold(trials: Trials, kind: str, number: int) -> int:
    """For how many seconds after an input is given its value of rest rules still go by it: the longest chain of delays
    of rules, each of which goes by the one before."""
    scheme = trials.scheme
    name = list(scheme.sensors)[number] if kind == "sensor" else trials.stimuli.external[number]
    scans = trials.chains.get(name, 0)
    return -(-scans * scheme.scan_us // MICRO) + HOLD_S
