"""How strong vectors are: small mistakes in the unit's rules, each caught by them or shown to make no difference.

(Mutation score: DeMillo, Lipton and Sayward 1978, "Hints on test data selection".) A mistake that no vector catches is
compared over all histories: where nothing that the unit tells can differ, it is equivalent and does not count.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from interlock.compare.merged import Which
from interlock.compare.verdict import Comparison, Moment
from interlock.export.unit import UnitCode
from interlock.logic.compiled import scan_function
from interlock.logic.lower import compile_scheme
from interlock.logic.mutants import Mistake, Mutant, mutants
from interlock.logic.program import InputKind, Observe, Program, SlotKind
from interlock.records import replace
from interlock.scheme.model import Delay, Flow, Output, Path, Rule, Scheme, Target, Trigger
from interlock.scheme.order import in_order
from interlock.scheme.words import Contact, DeviceInput, PowerUp, Signal, Word
from interlock.vectors.alone import Stretch, alone
from interlock.vectors.record import Run, Start, Vector
from interlock.vectors.together import Together

BUDGET = 3_000  # zones to compare one path


Played = list[tuple[Vector, int]]  # a run's scans, those that follow one another alike taken together
Inputs = list[tuple[tuple[int, ...], int]]  # what a program is given in them, and for how many scans


@dataclass
class Players:
    """Runs as they are played to one program after another: kept from one mutant to the next."""

    runs: Sequence[Run]
    played: list[Played]
    inputs: dict[tuple[tuple[InputKind, str], ...], list[Inputs]]

    @classmethod
    def of(cls, runs: Sequence[Run]) -> Players:
        """Nothing played yet."""
        return cls(runs, [played(run) for run in runs], {})


class Fate(Word):
    """What became of a mutant."""

    KILLED = "killed"
    EQUIVALENT = "proved equivalent"
    SURVIVED = "not killed"
    UNDECIDED = "neither killed nor proved equivalent"


@dataclass(frozen=True, slots=True)
class Scored:
    """A mutant and its fate; `at`: the run and scan that killed it; `paths`: of one not killed, what may differ;
    `history`: inputs from a first power-up that would kill it."""

    mutant: Mutant
    fate: Fate
    at: tuple[int, int] | None = None
    paths: tuple[str, ...] = ()
    history: tuple[Stretch, ...] = ()


def scored(code: UnitCode, runs: Sequence[Run], progress: Callable[[str], None] = lambda _: None) -> Iterator[Scored]:
    """The fate of each mutant of the unit's rules, in their order."""
    scheme = alone(code.scheme, code.unit)
    every = list(mutants(scheme, code.unit, steps=code.steps.of))
    together = Together(code)
    players, plain = Players.of(runs), compile_scheme(scheme, cycles=True, unit=code.unit)
    for number, mutant in enumerate(every, 1):
        progress(f"{number} of {len(every)}: {mutant.what}")
        at = kills(code, mutant, runs, players)
        if at is not None:
            yield Scored(mutant, Fate.KILLED, at)
        elif _idle(together, plain, code, mutant):
            yield Scored(mutant, Fate.EQUIVALENT)
        else:
            yield _compared(scheme, mutant, code.unit)


def _idle(together: Together, plain: Program, code: UnitCode, mutant: Mutant) -> bool:
    """Whether a mutant is seen at once to change nothing: its program is the same, or a block that was added or dropped
    is always made by a rule as well without which its own never acts."""
    if _same(plain, compile_scheme(mutant.scheme, cycles=True, unit=code.unit)):
        return True
    if mutant.mistake not in (Mistake.BLOCK_ADDED, Mistake.BLOCK_DROPPED):
        return False
    before, after = ({t.path for t in s.rules[mutant.rule].blocks} for s in (code.scheme, mutant.scheme))
    return all(together.blocked_with(mutant.rule, path) for path in before ^ after)


def _same(one: Program, other: Program) -> bool:
    """Whether two programs are one and the same, node by node."""
    parts = ((p.nodes, p.inputs, p.slots, p.observations) for p in (one, other))
    return next(parts) == next(parts)


def kills(code: UnitCode, mutant: Mutant, runs: Sequence[Run], kept: Players | None = None) -> tuple[int, int] | None:
    """The first run and scan at which a mutant tells something else than expected. `kept`: the runs' inputs by their
    order in a program, kept from one mutant to the next."""
    program = compile_scheme(mutant.scheme, cycles=True, unit=code.unit)
    names = tuple((i.kind, i.name) for i in program.inputs)
    players = Players.of(runs) if kept is None else kept
    if names not in players.inputs:
        players.inputs[names] = [[(_given(mutant.scheme, names, v), n) for v, n in run] for run in players.played]
    return _killed(program, players.inputs[names], players.played)


def _given(scheme: Scheme, names: Sequence[tuple[InputKind, str]], vector: Vector) -> tuple[int, ...]:
    """A vector's inputs in a program's order."""
    return in_order_of(scheme, names, vector.readings, vector.lines, vector.start)


def in_order_of(
    scheme: Scheme,
    names: Sequence[tuple[InputKind, str]],
    readings: Mapping[str, int | None],
    lines: Mapping[str, bool],
    start: Start | None,
) -> tuple[int, ...]:
    """Inputs in a program's order."""
    found = []
    for kind, name in names:
        match kind:
            case InputKind.ELEMENT:
                value = readings.get(name)
                found.append(scheme.sensors[name].valid.low - 1 if value is None else value)
            case InputKind.LINE:
                found.append(int(lines.get(name, False)))
            case InputKind.CYCLE:
                found.append(int(start is Start.POWER_CYCLE))
            case _:  # pragma: no cover - a unit alone has no other inputs
                raise AssertionError(kind)
    return tuple(found)


def _killed(program: Program, given: Sequence[Inputs], runs: Sequence[Played]) -> tuple[int, int] | None:
    """The first run and scan at which it tells something else than expected. While inputs and answers stay as they are
    and nothing but counters moves, counters are moved at once."""
    scan = scan_function.__wrapped__(program)  # run once: not worth a place among those kept
    told = [
        (number, o.kind, o.name)
        for number, o in enumerate(program.observations)
        if o.kind in (Observe.ENERGISED, Observe.LINE, Observe.ALARM)
    ]
    present = {(kind, name) for _, kind, name in told}
    for r, (inputs, played) in enumerate(zip(given, runs, strict=True)):
        state, at = program.initial, 0
        for (x, scans), (vector, _) in zip(inputs, played, strict=True):
            answers = {Observe.ENERGISED: vector.outputs, Observe.LINE: vector.sent, Observe.ALARM: vector.alarms}
            wanted = [(n, answers[k][name]) for n, k, name in told if name in answers[k]]
            missing = any(on and (Observe.ALARM, name) not in present for name, on in vector.alarms.items())
            left = scans
            while left:
                before = state
                state, seen = scan(before, x)
                if missing or any(bool(seen[n]) is not want for n, want in wanted):
                    return r, at + scans - left
                left -= 1
                if left:
                    state, skipped = skipped_on(program, before, state, left)
                    left -= skipped
            at += scans
    return None


def skipped_on(program: Program, before: Sequence[int], now: tuple[int, ...], most: int) -> tuple[tuple[int, ...], int]:
    """After a scan that is followed by at least `most` more with the same inputs: all counters moved on to just before
    the first of them decides something, and by how many scans; none where something else has moved too."""
    room, moving = most, []
    for i, slot in enumerate(program.slots):
        step = now[i] - before[i]
        if not step:
            continue
        if slot.boolean or step not in (1, -1):
            return now, 0
        if slot.kind is SlotKind.LEVEL:
            levels = program.levels[slot.name]
            if levels.state(before[i])[0] is not levels.state(now[i])[0]:
                return now, 0
            left = levels.trip_scans - now[i] if step == 1 else now[i] - levels.awaiting - 1
        else:
            left = slot.high - 1 - now[i] if step == 1 else 0
        room = min(room, left)
        moving.append((i, step))
    if room <= 0:
        return now, 0
    slots = list(now)
    for i, step in moving:
        slots[i] += room * step
    return tuple(slots), room


def played(run: Run) -> Played:
    """A run's scans, those that follow one another alike taken together."""
    found: list[tuple[Vector, int]] = []
    for vector in run.vectors:
        if found and (vector is found[-1][0] or (not vector.start and not vector.aims and vector == found[-1][0])):
            found[-1] = (vector, found[-1][1] + 1)
        else:
            found.append((vector, 1))
    return found


def _compared(scheme: Scheme, mutant: Mutant, unit: str) -> Scored:
    """Whether anything that the unit tells can differ at any scan of any history."""
    names = tuple(n for n, line in scheme.lines.items() if line.form.sent)
    alarms = tuple(n for n, rule in scheme.rules.items() if rule.alarm)
    comparison = Comparison(
        told_as_paths(scheme, unit, names, alarms), told_as_paths(mutant.scheme, unit, names, alarms), BUDGET
    )
    first = _likely(scheme, mutant)
    undecided: list[str] = []
    for path in sorted(comparison.paths, key=lambda p: p not in first):
        if comparison.never_differs(path):
            continue
        trace = comparison.history(path)
        if trace is None:
            undecided.append(path)
            continue
        history = _history(comparison, trace, f"{path}: {mutant.what}")
        return Scored(mutant, Fate.SURVIVED, paths=(path,), history=history)
    if undecided:
        return Scored(mutant, Fate.UNDECIDED, paths=tuple(undecided))
    return Scored(mutant, Fate.EQUIVALENT)


def _likely(scheme: Scheme, mutant: Mutant) -> set[str]:
    """What a mutant is the likeliest to change: what its rule stops, starts and raises in one of the two only; where it
    stops and starts the same, all of that."""
    old, new = scheme.rules.get(mutant.rule), mutant.scheme.rules.get(mutant.rule)
    acts_on = [
        {*(t.path for t in rule.blocks), *rule.starts} if rule is not None else set[str]() for rule in (old, new)
    ]
    return acts_on[0] ^ acts_on[1] or acts_on[0] | {f"alarm {mutant.rule}"}


def _history(comparison: Comparison, trace: Sequence[Moment], aim: str) -> tuple[Stretch, ...]:
    """A history of both as what the unit is given."""
    sensors = {mine[Which.OLD]: name for name, mine in comparison.merged.sensors.items() if Which.OLD in mine}
    valid = {name: sensor.valid for name, sensor in comparison.old.sensors.items()}
    found = []
    for number, moment in enumerate(trace):
        readings = {
            mine: moment.world.readings[name] for mine, name in sensors.items() if name in moment.world.readings
        }
        given = {n: value if value in valid[n] else None for n, value in readings.items()}
        lines = {n: bool(moment.world.lines.get(n)) for n in comparison.old.lines}
        first = number == 0
        found.append(Stretch(given, lines, moment.scans, Start.FIRST if first else None, (aim,) if first else ()))
    return tuple(found)


def told_as_paths(scheme: Scheme, unit: str, lines: Sequence[str], alarms: Sequence[str]) -> Scheme:
    """The scheme with a path more for each line that the unit sends, let run while it is on, and for each alarm, let
    run while it is silent: then all that a unit tells is a path."""
    rules, paths, outputs = dict(scheme.rules), dict(scheme.paths), dict(scheme.outputs)
    at_once = Delay(0, 0)

    def add(name: str) -> None:
        paths[name] = Path(name, Flow((), ()), outputs=(name,))
        outputs[name] = Output(name, unit, (name,), Contact.DRIVEN, DeviceInput.HIGH)

    for line in lines:
        name = f"line {line}"
        add(name)
        rules[name] = Rule(
            name, unit, Signal.LINE, line, Trigger(False, at_once), Trigger(True, at_once),
            power_up=PowerUp.CLEAR, blocks=(Target(name),),
        )  # fmt: skip
    for alarm in alarms:
        name = f"alarm {alarm}"
        add(name)
        if alarm in rules:
            rules[alarm] = replace(rules[alarm], blocks=(*rules[alarm].blocks, Target(name)))
    senders = {n: line.rules for n, line in scheme.lines.items() if line.form.sent}
    return replace(scheme, rules=rules, paths=paths, outputs=outputs, order=in_order(rules, senders))
