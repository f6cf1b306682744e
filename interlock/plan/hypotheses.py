"""What a sheet has to tell from a healthy installation: each fault that can be there at commissioning, each setting
mistyped by more than a stated amount, and what to give sensors so that a mistyped limit shows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil

from interlock.logic.program import Setting
from interlock.plan.predict import held_at
from interlock.plan.stimuli import LOOK_US, Applied, Stimuli, error_of, roundest
from interlock.plan.wrong import Slip, Wrong, usual, with_slips
from interlock.scheme.model import Fault, Limit, Rule, Scheme
from interlock.scheme.units import Kind, time_text, value_text
from interlock.scheme.words import Combine, Compare, Mode, Signal

DELAY_OFF = Fraction(1, 5)  # a delay is called mistyped from a fifth more or less on
LEAST_LOOKS = 2  # and never by less than two looks and four scans: nobody could tell


@dataclass(frozen=True, slots=True)
class Off:
    """By how much a setting is mistyped to be looked for. `limits`: a difference in millionths for each kind of value;
    for others a quarter more than what the sensor's error and the bench's leave in doubt. `delay`: a share."""

    limits: Mapping[Kind, int] = field(default_factory=dict)
    delay: Fraction = DELAY_OFF


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One way in which what `name` names may be there; a fault may come in several, all of which have to be found."""

    name: str
    wrong: tuple[Wrong, ...]
    held: Mapping[str, int] = field(default_factory=dict)

    def edited(self, scheme: Scheme) -> dict[str, Rule]:
        """The rules that are mistyped, as they then are."""
        slips = [w for w in self.wrong if isinstance(w, Slip)]
        return {s.rule: with_slips(scheme, [s]).rules[s.rule] for s in slips}


def hypotheses(stimuli: Stimuli, faults: Sequence[Fault], slips: Sequence[Slip]) -> tuple[Hypothesis, ...]:
    """One hypothesis for each way of each."""
    found: list[Hypothesis] = []
    for fault in faults:
        stuck = [s.parts[0] for s in fault.single() if s.mode is Mode.STUCK]
        found += [Hypothesis(fault.name, (fault,), held) for held in held_at(stimuli, stuck)]
    found += [Hypothesis(slip.name, (slip,)) for slip in slips]
    return tuple(found)


# --- mistyped settings


def slips(stimuli: Stimuli, off: Off) -> tuple[Slip, ...]:
    """Each setting of each rule, mistyped either way by what `off` says. A limit stays on its own side of the rule's
    other one: a rule without hysteresis chatters before anyone gets to a test."""
    return tuple(slip for rule in stimuli.scheme.rules.values() for slip in _slips(stimuli, rule, off))


def _slips(stimuli: Stimuli, rule: Rule, off: Off) -> Iterator[Slip]:
    for setting in Setting:
        value = usual(rule, setting)
        if value is None:
            continue
        if setting in (Setting.TRIP_LIMIT, Setting.CLEAR_LIMIT):
            by = limit_off(stimuli, rule, off)
            for other in (value - by, value + by):
                if _apart(rule, setting, other):
                    yield Slip(rule.name, setting, other, other > value)
        elif value or setting is not Setting.OVERRIDE:
            by = delay_off(stimuli.scheme, value, off)
            for other in (value - by, value + by):
                if other >= 0:
                    yield Slip(rule.name, setting, other, other > value)


def limit_off(stimuli: Stimuli, rule: Rule, off: Off) -> int:
    """By how much a limit of the rule is mistyped, in millionths."""
    kind = stimuli.kind_of(rule)
    return off.limits[kind] if kind in off.limits else _round_up(doubt(stimuli, rule) * 5 // 4)


def delay_off(scheme: Scheme, scans: int, off: Off) -> int:
    """By how many scans a time is mistyped."""
    least = LEAST_LOOKS * -(-LOOK_US // scheme.scan_us) + 4
    share: int = ceil(scans * off.delay)
    return max(least, share)


def doubt(stimuli: Stimuli, rule: Rule) -> int:
    """How wide the band is within which one cannot say what the rule reads, in millionths."""
    widths = sorted(high - low for low, high in map(error_of, stimuli.watched_sensors(rule)))
    return widths[-1] + (widths[-2] if _is_difference(stimuli.scheme, rule) and len(widths) > 1 else 0)


def _round_up(value: int) -> int:
    """To two digits."""
    step: int = 10 ** max(0, len(str(value)) - 2)
    return -(-value // step) * step


def _apart(rule: Rule, setting: Setting, value: int) -> bool:
    """Whether the trip and the clear limit stay apart."""
    trips, clears = (usual(rule, s) for s in (Setting.TRIP_LIMIT, Setting.CLEAR_LIMIT))
    if trips is None or clears is None:
        return True
    trip, clear = (value, clears) if setting is Setting.TRIP_LIMIT else (trips, value)
    assert isinstance(rule.trips.test, Limit), "a limit"
    above = rule.trips.test.compare in (Compare.ABOVE, Compare.AT_OR_ABOVE)
    return clear < trip if above else trip < clear


def _is_difference(scheme: Scheme, rule: Rule) -> bool:
    reading = scheme.readings.get(rule.watched) if rule.watches is Signal.READING else None
    return reading is not None and reading.combine is Combine.DIFFERENCE_OF


# --- what to give for a mistyped limit

Given = tuple[Applied, ...]  # for each sensor


def between(
    stimuli: Stimuli, slip: Slip, rest: Given, only: int | None = None, *, doubtful: bool = False
) -> Given | None:
    """What to give all sensors so that the rule is on one side of the limit as it should be and on the other of the
    one that was typed, for certain, and no other rule is in doubt; None where there is nothing such. `only`: the one
    sensor (by its place) that may be given something else than `rest`. `doubtful`: other rules may be in doubt, as few
    as can be, of those that wait for a reset fewer still."""
    scheme = stimuli.scheme
    rule = scheme.rules[slip.rule]
    edited = with_slips(scheme, [slip]).rules[slip.rule]
    own = usual(rule, slip.setting)
    assert own is not None, "a slip is of a setting that the rule has"
    ends = sorted((own, slip.value))
    members = [i for i, s in enumerate(scheme.sensors.values()) if s in stimuli.watched_sensors(rule)]
    names = list(scheme.sensors)
    difference = _is_difference(scheme, rule)
    groups = [[i] for i in members] if difference else [members, *([i] for i in members)]
    if only is not None:
        groups = [[only]]
    best: tuple[tuple[int, int], Given] | None = None
    for group in groups:
        errors = [error_of(scheme.sensors[names[i]]) for i in (members if difference else group)]
        low = sum(e[0] for e in errors) if difference else min(e[0] for e in errors)
        high = sum(e[1] for e in errors) if difference else max(e[1] for e in errors)
        if difference:
            high = max(high, -low)
            low = -high
        least, most = ends[0] - low + 1, ends[1] - high - 1
        if least > most:
            continue
        base = rest[group[0]].value if difference else 0
        quarter = (most - least) // 4
        tried = dict.fromkeys(
            (
                roundest(base + least + quarter, base + most - quarter),
                roundest(base + least, base + most),
                base + (least + most) // 2,
                base + least,
                base + most,
                *(v for v in _corners(stimuli, errors) if base + least <= v <= base + most),
            )
        )
        for value in tried:
            given = list(rest)
            for i in group:
                given[i] = Applied(value, *error_of(scheme.sensors[names[i]]))
            own_sides, other_sides = (stimuli.sides(r, [given[i] for i in members]) for r in (rule, edited))
            if own_sides is None or other_sides is None or own_sides == other_sides:
                continue
            unsure = stimuli.unsure(given)
            doubts = sum(r.manual for r in unsure), len(unsure)
            if (doubtful or not unsure) and (best is None or doubts < best[0]):
                best = doubts, tuple(given)
            if not unsure:
                return tuple(given)
    return best and best[1]


def _corners(stimuli: Stimuli, errors: Sequence[tuple[int, int]]) -> list[int]:
    """Where a doubt about any limit begins or ends, for sensors with these errors: if no value between two limits is
    without doubt, none of these is."""
    limits = {
        t.test.value for r in stimuli.scheme.rules.values() for t in (r.trips, r.clears) if isinstance(t.test, Limit)
    }
    limits |= {end for s in stimuli.scheme.sensors.values() for end in (s.valid.low, s.valid.high)}
    return sorted({limit - end + by for limit in limits for pair in errors for end in pair for by in (-1, 0, 1)})


# --- in words


def off_text(stimuli: Stimuli, slip: Slip) -> str:
    """By how much a setting is mistyped, as people write it."""
    rule = stimuli.scheme.rules[slip.rule]
    own = usual(rule, slip.setting)
    assert own is not None, "a slip is of a setting that the rule has"
    by = abs(slip.value - own)
    if slip.of_limit:
        return value_text(by, stimuli.kind_of(rule), difference=True)
    return time_text(by * stimuli.scheme.scan_us)


def typed_text(stimuli: Stimuli, slip: Slip) -> str:
    """The setting as it was typed, as people write it."""
    if slip.of_limit:
        rule = stimuli.scheme.rules[slip.rule]
        return value_text(slip.value, stimuli.kind_of(rule), difference=_is_difference(stimuli.scheme, rule))
    return time_text(slip.value * stimuli.scheme.scan_us)
