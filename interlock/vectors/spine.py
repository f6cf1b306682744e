"""The shortest way of one input through all that takes long there: what it reads, one value after another.

Rules that see one input share its time: a run is at least as long as that input takes to let each of their delays run
out, and to have each of them act while another does not. In what order matters most (of the hut's charge level ten
minutes in thirty), so it is found first, and everything else is then put beside it.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, product

from interlock.scheme.model import Rule
from interlock.scheme.words import PowerUp
from interlock.vectors.bound import State, delay, shared, sights
from interlock.vectors.inputs import Inputs, Lane

LINGER = 100  # scans that one rule acts at least while another one does not, so that other inputs can show it
LINGERS = 3  # times at which nothing runs out
MOST_STATES = 200_000


@dataclass(frozen=True, slots=True)
class Hold:
    """A lane at one value for so many scans."""

    value: int
    scans: int


@dataclass(frozen=True, slots=True)
class _Way:
    """How far a search has come: what is shown (delays by rule and side, pairs of rules), and by which holds."""

    state: State
    shown: int
    lingered: int
    before: _Way | None = None
    hold: Hold | None = None


def spine(inputs: Inputs, lane: Lane) -> tuple[Hold, ...]:
    """The shortest sequence of values of a lane of sensors, from power-up on, in which each delay of its rules runs out
    and each of them acts for a while beside each other that does not; of all that, as much as there is a way to. Of
    ways equally short the one on which rules act for the least time: what acts hides the rest."""
    rules = shared(inputs, lane)
    values = list(inputs.regions[lane])
    sees = list(zip(values, sights(lane, rules, values), strict=True))
    bits = _bits(rules)
    start: State = tuple((0 if r.power_up is PowerUp.CLEAR else 1, 0) for r in rules)
    queue: list[tuple[int, int, int, _Way]] = [(0, 0, 0, _Way(start, 0, 0))]
    done = set[tuple[State, int, int]]()
    number, best = 0, queue[0][3]
    while queue:
        scans, acting, _, way = heapq.heappop(queue)
        key = (way.state, way.shown, way.lingered)
        if key in done:
            continue
        done.add(key)
        if way.shown.bit_count() > best.shown.bit_count():
            best = way
        if way.shown.bit_count() == len(bits) or len(done) > MOST_STATES:
            break
        for more in _more(rules, sees, bits, way):
            number += 1
            assert more.hold is not None
            acts = sum(side for side, _ in way.state)
            took = more.hold.scans
            heapq.heappush(queue, (scans + took, acting + took * acts, number, more))
    return _holds(best)


def _bits(rules: Sequence[Rule]) -> dict[tuple[object, ...], int]:
    """What is to be shown: the delays of each rule on each side; each rule acting beside each other that acts on
    something, that other one acting where it starts something, else not acting."""
    wanted: list[tuple[object, ...]] = [(i, side) for i, r in enumerate(rules) for side in (0, 1) if delay(r, side)]
    wanted += [
        (i, j, int(bool(other.starts)))
        for (i, _), (j, other) in product(enumerate(rules), enumerate(rules))
        if i != j and (other.blocks or other.starts)
    ]
    return {key: 1 << n for n, key in enumerate(wanted)}


def _more(
    rules: Sequence[Rule],
    sees: Sequence[tuple[int, tuple[tuple[bool, bool], ...]]],
    bits: dict[tuple[object, ...], int],
    way: _Way,
) -> Iterator[_Way]:
    """One value until the next delay runs out, or for a while in which none does."""
    for value, sight in sees:
        runs = [holds[side] for holds, (side, _) in zip(sight, way.state, strict=True)]
        left = [delay(r, side) - ran for r, (side, ran), on in zip(rules, way.state, runs, strict=True) if on]
        steps = [min(left)] if left else []
        if way.lingered < LINGERS and (not left or min(left) > LINGER):
            steps.append(LINGER)
        for scans in steps:
            shown, after = way.shown, list[tuple[int, int]]()
            if scans >= LINGER:
                for (i, (acts, _)), (j, (other, _)) in product(enumerate(way.state), enumerate(way.state)):
                    shown |= bits.get((i, j, other), 0) if acts else 0
            for i, (rule, (side, ran), on) in enumerate(zip(rules, way.state, runs, strict=True)):
                if on and ran + scans >= delay(rule, side):
                    after.append((1 - side, 0))
                    shown |= bits.get((i, side), 0)
                else:
                    after.append((side, ran + scans if on else 0))
            ran_out = bool(left) and scans == min(left)
            yield _Way(tuple(after), shown, way.lingered + (not ran_out), way, Hold(value, scans))


def _holds(way: _Way) -> tuple[Hold, ...]:
    """The holds of a way, those of one value taken together."""
    found, at = list[Hold](), way
    while at.before is not None and at.hold is not None:
        found.append(at.hold)
        at = at.before
    return tuple(
        Hold(value, sum(h.scans for h in holds)) for value, holds in groupby(reversed(found), key=lambda h: h.value)
    )
