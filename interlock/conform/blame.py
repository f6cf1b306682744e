"""Which rule a difference comes from: the one that would explain it if it stood otherwise at that scan."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interlock.conform.drive import Difference
from interlock.export.unit import UnitCode
from interlock.logic.program import Observe
from interlock.scheme.words import EnergisedWhen
from interlock.vectors.generate import given_of
from interlock.vectors.record import Run, Start
from interlock.vectors.walk import Walker

RECENT = 3  # scans: a rule that has just moved, or is about to, is the likelier


@dataclass(frozen=True, slots=True)
class Suspect:
    """A rule, and how it would have to stand for the firmware's answer. `whole`: that explains all that differs."""

    rule: str
    acts: bool  # the firmware acts as though the rule acted; else as though it did not
    by_effect: bool  # its state may be right: its conditions or its override are not
    whole: bool
    turns: bool = False  # it rightly begins or ends to act at this scan, and something follows it that should not
    stands: bool = False  # it is rightly in force, and may do more than it should


def suspects(code: UnitCode, run: Run, difference: Difference) -> list[Suspect]:
    """The rules that would explain a difference, the likeliest first.

    A rule explains what the unit would tell with that rule's state, or its effects alone, turned. One that explains all
    of it goes before one that explains a part, and one whose next or last change is near before one that stands still,
    unless nothing would have told of that one since it last turned: it may have stood otherwise all the time.
    A rule that rightly begins to act at this very scan is likelier than one that stands still: it may stop too much; so
    may one that is in force.
    """
    walker = Walker(code)
    slots, before = walker.start, list[tuple[int, ...]]()
    for vector in run.vectors[: difference.scan]:
        before.append(slots)
        slots, _ = walker.told(slots, given_of(code, vector), vector.start is Start.POWER_CYCLE)
    history = [*before[-RECENT:], slots]
    vector = run.vectors[difference.scan]
    given, cycle = given_of(code, vector), vector.start is Start.POWER_CYCLE
    after, _ = walker.told(slots, given, cycle)
    coming = [after]
    for later in run.vectors[difference.scan + 1 : difference.scan + 1 + RECENT]:
        if later.start is None:
            coming.append(walker.told(coming[-1], given_of(code, later))[0])
    far = {name: _far(walker, name, history, coming) for name in walker.rules}
    wrong = {(kind, name) for kind, name, _ in difference.wrong}
    in_force, stopped = walker.in_force(slots, given, cycle), _stopped(code, difference)
    ranked: list[tuple[tuple[int, ...], Suspect]] = []
    for order, name in enumerate(walker.rules):
        acts = after[walker.slot[name]] >= walker.levels[name].awaiting
        aimed = difference.aim.startswith(f"{name}:")
        for by_effect in (False, True):
            told = walker.otherwise(slots, given, cycle, f"{'effect' if by_effect else 'level'} of {name}")
            if told is None:
                continue
            right = {
                key: bool(turned) is value
                for key, turned, value in zip(code.told, told, difference.answer, strict=True)
                if value is not None
            }
            if not any(right[key] for key in wrong):
                continue
            stood = in_force.get(name, False) if by_effect else acts
            whole, explains = all(right.values()), all(right[key] for key in wrong)
            near = far[name]
            if near > RECENT and whole and not by_effect and _unseen(code, walker, run, before, name):
                near = RECENT
            order_of = (not whole, not explains, near, not aimed, by_effect, order)
            ranked.append((tuple(map(int, order_of)), Suspect(name, not stood, by_effect, whole)))
        if acts and far[name] == 0 and slots[walker.slot[name]] < walker.levels[name].awaiting:
            ranked.append(((0, 0, 2, int(not aimed), 1, order), Suspect(name, True, False, False, turns=True)))
        elif stopped and in_force.get(name, False):
            ranked.append(((0, 0, RECENT, int(not aimed), 1, order), Suspect(name, True, False, False, stands=True)))
    best: dict[str, Suspect] = {}
    for _, suspect in sorted(ranked, key=lambda pair: pair[0]):
        best.setdefault(suspect.rule, suspect)
    return list(best.values())


def _stopped(code: UnitCode, difference: Difference) -> bool:
    """Whether the firmware stops something that should run."""
    return any(
        kind is Observe.ENERGISED and value is (code.scheme.outputs[name].energised_when is EnergisedWhen.STOPS)
        for kind, name, value in difference.wrong
    )


def _unseen(code: UnitCode, walker: Walker, run: Run, before: Sequence[tuple[int, ...]], name: str) -> bool:
    """Whether nothing told by now would have been otherwise, had a rule stood otherwise since it last began or ceased
    to act."""
    awaiting, slot = walker.levels[name].awaiting, walker.slot[name]
    for slots, vector in zip(reversed(before), reversed(run.vectors[: len(before)]), strict=True):
        given, cycle = given_of(code, vector), vector.start is Start.POWER_CYCLE
        after, told = walker.told(slots, given, cycle)
        if walker.otherwise(slots, given, cycle, f"level of {name}") != told:
            return False
        if (after[slot] >= awaiting) is not (slots[slot] >= awaiting):
            break
    return True


def _far(walker: Walker, name: str, history: list[tuple[int, ...]], coming: list[tuple[int, ...]]) -> int:
    """How many scans away the rule next began or ceased to act, or last did; RECENT + 1 where it stands still."""
    awaiting, slot = walker.levels[name].awaiting, walker.slot[name]
    acts = [slots[slot] >= awaiting for slots in (*history, *coming)]
    now = len(history)
    return min((abs(i - now) for i in range(1, len(acts)) if acts[i] is not acts[i - 1]), default=RECENT + 1)


def observed(kind: Observe) -> str:
    """What kind of thing is told."""
    return {Observe.ENERGISED: "output", Observe.LINE: "line", Observe.ALARM: "alarm of"}[kind]


def names(difference: Difference) -> Iterator[str]:
    """`output K1 is energised, not released`, one for each thing told otherwise."""
    words = {
        Observe.ENERGISED: ("released", "energised"),
        Observe.LINE: ("off", "on"),
        Observe.ALARM: ("silent", "raised"),
    }
    for kind, name, value in difference.wrong:
        yield f"{observed(kind)} {name} is {words[kind][value]}, not {words[kind][not value]}"
