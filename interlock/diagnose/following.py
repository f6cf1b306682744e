"""What to look at next: the step, stimulus or look that is expected to take the most doubt away."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from interlock.diagnose.candidates import Candidate
from interlock.diagnose.moments import Moment, Of, Statement
from interlock.diagnose.service import Service
from interlock.diagnose.sheets import Seen
from interlock.diagnose.split import Split, best, split, told_apart
from interlock.plan.predict import Prediction, predict
from interlock.plan.sheet import PRESSED, Sheet, Step, sides
from interlock.plan.sights import SightKind, sights
from interlock.plan.stimuli import Applied, Change, Position, Stimuli
from interlock.scheme.model import Scheme
from interlock.scheme.units import MICRO, value_text
from interlock.scheme.words import Mode, Word

MOST_STIMULI = 24  # single changes from rest that are tried
MOST_WEIGHED = 40  # candidates, the likeliest, between which a stimulus is looked for
MARGIN_S = 60


class How(Word):
    """What kind of thing is to be done next."""

    STEP = "step"  # go on with the sheet
    STIMULUS = "stimulus"  # bring the installation to rest, change one thing
    LOOK = "look"  # look once more, with all as it is


@dataclass(frozen=True, slots=True)
class Outcome:
    """What may be seen, name by name, and the candidates (by their place) that would still explain everything."""

    seen: Mapping[str, str]
    leaves: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Next:
    """What to do and look at. `through`: for a step, the steps (from 1) to be done up to it; `rest` and `set`: for a
    stimulus, what is given at rest, and then; `wait_s`: how long until the look, at most. `gain` in bits."""

    how: How
    look_at: tuple[str, ...]
    outcomes: tuple[Outcome, ...]
    gain: float
    step: int = 0
    through: tuple[int, ...] = ()
    rest: Mapping[str, str] | None = None
    set: Mapping[str, str] | None = None
    wait_s: int = 0


@dataclass(frozen=True, slots=True)
class _Option:
    """One measurement: what it is, its names with the words of each outcome, what each candidate predicts."""

    next: Next
    predicted: tuple[Hashable | None, ...]
    seen: Mapping[Hashable, Mapping[str, str]]
    cost: float


def _chosen(options: Sequence[_Option], weights: Sequence[float]) -> Next | None:
    splits = [split(o.predicted, weights, list(o.seen)) for o in options]
    at = best(splits, [o.cost for o in options])
    if at is None:
        return None
    found: Split = splits[at]
    outcomes = tuple(Outcome(options[at].seen[outcome], leaves) for outcome, leaves in found.leaves.items())
    n = options[at].next
    return Next(n.how, n.look_at, outcomes, found.gain, n.step, n.through, n.rest, n.set, n.wait_s)


def _at_once(prediction: Prediction, step: int, names: Iterable[int], what: Next, cost: float) -> Iterable[_Option]:
    """A step's names that no candidate leaves open, seen together; and each other name alone."""
    words, listed, values = prediction.words[step], prediction.names[step], prediction.values[step]
    sure = [n for n in names if (values[:, n] >= 0).all() and values[:, n].min() != values[:, n].max()]
    if sure:
        rows = [tuple(int(v) for v in row[sure]) for row in values]
        seen: dict[Hashable, Mapping[str, str]] = {
            row: {listed[n]: words[n][1 - v] for n, v in zip(sure, row, strict=True)} for row in rows
        }
        yield _Option(_looking(what, tuple(listed[n] for n in sure)), tuple(rows), seen, cost)
    for n in names:
        column = [None if v < 0 else int(v) for v in values[:, n].tolist()]
        if n not in sure and len(set(column) - {None}) == 2:
            seen_of: dict[Hashable, Mapping[str, str]] = {v: {listed[n]: words[n][1 - v]} for v in (1, 0)}
            yield _Option(_looking(what, (listed[n],)), tuple(column), seen_of, cost)


def _looking(what: Next, names: tuple[str, ...]) -> Next:
    return Next(what.how, names, (), 0.0, what.step, what.through, what.rest, what.set, what.wait_s)


def next_step(seen: Seen, prediction: Prediction, weights: Sequence[float]) -> Next | None:
    """The step of the sheet not yet done that tells most: going on from the last one done, or from the beginning."""
    done = seen.done
    last = max(done, default=-1)
    options: list[_Option] = []
    for step in range(len(seen.looks.steps)):
        open_ = [n for n, value in enumerate(seen.values[step].tolist()) if value < 0]
        if not open_ or step in seen.failed:
            continue
        begins = last + 1 if step > last else 0
        seconds = sum(s.wait_s for s in seen.looks.steps[begins : step + 1])
        what = Next(How.STEP, (), (), 0.0, step + 1, tuple(range(begins + 1, step + 2)), wait_s=seconds)
        options += _at_once(prediction, step, open_, what, float(seconds))
    return _chosen(options, weights)


def next_stimulus(scheme: Scheme, candidates: Sequence[Candidate], progress: Callable[[str], None]) -> Next | None:
    """A change of one thing from rest that tells most, and what to look at once nothing moves any more."""
    weighed = candidates[:MOST_WEIGHED]
    stimuli = Stimuli(scheme)
    weights = [c.weight for c in weighed]
    names = [s.name for s in sights(scheme)]
    wait = longest(scheme)
    rest = position_of(stimuli, stimuli.rest)
    changes = _near(stimuli, weighed)[:MOST_STIMULI]
    options: list[_Option] = []
    for number, change in enumerate((None, *changes)):
        progress(f"what to do next: {number} of {len(changes)} stimuli")
        steps = [Step(rest, wait, {})]
        steps += [Step({stimuli.external[b]: PRESSED}, wait, {}) for b in stimuli.resets]
        given = given_by(stimuli, change) if change else {}
        steps.append(Step(given, wait, dict.fromkeys(names, "")))
        prediction = predict(scheme, Sheet(scheme.title, "", tuple(steps), ()), [c.wrongs for c in weighed])
        what = Next(How.STIMULUS, (), (), 0.0, rest=rest, set=given, wait_s=wait)
        cost = 0.0 if change is None else 1.0 + number / 1000
        options += _at_once(prediction, len(steps) - 1, range(len(names)), what, cost)
        if any(len(set(o.predicted)) == len(weighed) and None not in o.predicted for o in options):
            break  # each candidate shows something else: nothing tells more
    return _chosen(options, weights)


def longest(scheme: Scheme) -> int:
    """Seconds in which everything has come to rest, unless it never does: each delay once, and each device's own."""
    scans = max((r.trips.delay.scans + r.clears.delay.scans for r in scheme.rules.values()), default=0)
    devices = max((o.starts_within.scans + o.stops_within.scans for o in scheme.outputs.values()), default=0)
    return (2 * scans + devices) * scheme.scan_us // MICRO + MARGIN_S


def _near(stimuli: Stimuli, candidates: Sequence[Candidate]) -> list[Change]:
    """Changes, those first that are about a part that one of the candidates names; none that leaves all as it is."""
    parts = {
        part for c in candidates for w in c.wrongs for part in (getattr(w, "parts", None) or (getattr(w, "rule", ""),))
    }
    rules = [r for r in stimuli.scheme.rules.values() if r.name in parts]
    watched = {r.watched for r in rules} | parts
    watched |= {s for name in watched for s in getattr(stimuli.scheme.readings.get(name), "sensors", ())}
    moving = [c for c in stimuli.changes if c.to(stimuli.rest) is not None]
    return sorted(moving, key=lambda c: stimuli.names(c).isdisjoint(watched))


def position_of(stimuli: Stimuli, position: Position) -> dict[str, str]:
    found = {
        name: _value(stimuli.scheme, name, applied)
        for name, applied in zip(stimuli.scheme.sensors, stimuli.applied(position), strict=True)
    }
    return found | {name: "on" if on else "off" for name, on in zip(stimuli.external, position.lines, strict=True)}


def given_by(stimuli: Stimuli, change: Change) -> dict[str, str]:
    names = list(stimuli.scheme.sensors)
    found = {names[i]: _value(stimuli.scheme, names[i], stimuli.values[i][at]) for i, at in change.sensors}
    found |= {stimuli.external[i]: "on" if on else "off" for i, on in change.lines}
    if change.press is not None:
        found[stimuli.external[change.press]] = PRESSED
    return found


def _value(scheme: Scheme, name: str, applied: Applied) -> str:
    if applied.how in (Mode.OPEN, Mode.SHORTED):
        return str(applied.how)
    return value_text(applied.value, scheme.sensors[name].kind)


def next_look(scheme: Scheme, service: Service, moment: Moment, candidates: Sequence[Candidate]) -> Next | None:
    """What more there is to see of a moment, of which nothing was said yet."""
    said = {(s.of, s.name) for s in moment.statements}
    kinds = {
        SightKind.PATH: Of.PATH,
        SightKind.LINE: Of.LINE,
        SightKind.ALARM: Of.ALARM,
        SightKind.SENSOR: Of.VALID,
        SightKind.DEVICE: Of.DEVICE,
    }
    assert set(kinds) == set(SightKind), set(SightKind) - set(kinds)
    open_ = [s for s in sights(scheme) if (kinds[s.kind], s.name) not in said]
    pairs = [
        (sight, [Statement(kinds[sight.kind], sight.name, value, "") for value in (True, False)]) for sight in open_
    ]
    found = service.also(moment, [statement for _, both in pairs for statement in both])
    options = []
    for sight, (true, false) in pairs:
        column: list[Hashable | None] = [
            None if yes and no else 1 if yes else 0
            for yes, no in zip(found[true].tolist(), found[false].tolist(), strict=True)
        ]
        words = sides(scheme, sight)
        seen: dict[Hashable, Mapping[str, str]] = {v: {sight.name: words[1 - v]} for v in (1, 0)}
        options.append(_Option(Next(How.LOOK, (sight.name,), (), 0.0), tuple(column), seen, float(sight.ease)))
    return _chosen(options, [c.weight for c in candidates])


def classes(prediction: Prediction, count: int) -> list[tuple[int, ...]]:
    """The candidates of which nothing that the whole sheet looks at tells one from another."""
    columns = [values[:, n].tolist() for values in prediction.values for n in range(values.shape[1])]
    return told_apart(columns, count)
