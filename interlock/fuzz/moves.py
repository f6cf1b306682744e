"""The moves a behaviour is made of, and how a whole one is put together from them.

An opening (usually: all as the path wants it, until everything is still), a few moves, and a strike: the claim's
conditions held for as long as it would take to violate it. The plainest choice of all is the opening and the strike.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from interlock.fuzz.aim import Aim
from interlock.fuzz.behaviour import Attempt, Behaviour, Draw, Over
from interlock.fuzz.guide import Item
from interlock.fuzz.region import Style
from interlock.scheme.model import Claim

STYLES = (Style.PLAIN, Style.PLAIN, Style.PLAIN, Style.PLAIN, Style.LOWEST, Style.HIGHEST)
MOST_TURNS = 40


def behave(aim: Aim, draw: Draw, others: Sequence[Claim] = ()) -> Attempt:
    """Make up one behaviour. `others`: claims with the same assumption on resets, judged beside it."""
    b = Behaviour(aim, draw, others)
    try:
        if draw.pick((True, True, True, True, True, True, True, False)):
            _demand(b, b.draw.pick(range(b.aim.guide.links)))
            for _ in range(b.draw.pick((0, 0, 1, 2))):
                _turn(b, _some_item(b))
            b.realise()
            b.settle()
        _onsets(b)
        for _ in range(draw.pick((0, 0, 1, 1, 2, 3, 4, 5))):
            _move(b)
        _strike(b)
        _hold_on(b)
    except Over:
        pass
    return b.attempt()


def _move(b: Behaviour) -> None:
    moves: list[Callable[[Behaviour], None]] = [_strike, _turn_one, _turn_one, _turn_two, _blip, _demanded]
    moves += [_cling, _cling, _race, _race, _scramble]
    if _to_come(b):
        moves += [_onset, _onset]
    if b.aim.plan.may_cycle(b.arisen):
        moves += [_cycle, _cycle]
    b.draw.pick(moves)(b)
    _wait(b)


# --- what changes


def _demand(b: Behaviour, *first: int) -> None:
    """Wish for all that the demands ask, the numbered ones before the others."""
    demands = b.aim.guide.demands
    order = [demands[i] for i in first] + [demand for i, demand in enumerate(demands) if i not in first]
    wishes: dict[Item, bool] = {}
    for demand in order:
        for item in demand:
            clear = [one for asked in order for one in asked.get(item, ()) if len(asked[item]) == 1]
            if item not in wishes:
                wishes[item] = clear[0] if clear else b.draw.pick((True, False))
    b.wanted.clear()
    for item, on in reversed(wishes.items()):
        b.wish(item, on)


def _demanded(b: Behaviour) -> None:
    """Start afresh from the demands, the claim's conditions met or not."""
    _demand(b, b.draw.pick(range(len(b.aim.guide.demands))))
    b.met = b.draw.pick((False, True))
    _paced(b)


def _strike(b: Behaviour) -> None:
    """The claim's conditions are met, whatever they are on, and the rest is as favourable as it can be, or as it is."""
    b.met = True
    links, demands = b.aim.guide.links, len(b.aim.guide.demands)
    match b.draw.pick(("conditions", "conditions", "as it is", "path")):
        case "conditions":
            _demand(b, *range(links, demands))
        case "path":
            _demand(b, b.draw.pick(range(links)))
        case _:
            pass
    _paced(b)


def _race(b: Behaviour) -> None:
    """From a rest in which what the demands pull both ways is one way, to all of it the other way, felt together."""
    torn = b.aim.guide.torn
    if not torn:
        _strike(b)
        return
    sides = {item: b.draw.pick((False, True)) for item in torn}
    _demand(b, *range(b.aim.guide.links))
    for item, side in sides.items():
        b.wish(item, side)
    b.realise()
    b.settle()
    for item, side in sides.items():
        b.wish(item, not side)
    b.met = True
    _felt_together(b)


def _turn_one(b: Behaviour) -> None:
    """One wish turned over, and the world at once as it asks."""
    _turn(b, _some_item(b))
    _styled(b)
    b.realise()


def _turn_two(b: Behaviour) -> None:
    """Two wishes turned over, at once or so that both are felt together."""
    _turn(b, _some_item(b))
    _turn(b, _some_item(b))
    _paced(b)


def _blip(b: Behaviour) -> None:
    """One wish turned over for a moment."""
    _for_a_moment(b, _some_item(b), b.draw.pick((1, 1, 2, *_about(b.aim.guide.delays))))


def _for_a_moment(b: Behaviour, item: Item | None, scans: int) -> None:
    before, values, lines = dict(b.wanted), b.values, b.lines
    _turn(b, item)
    b.realise()
    b.hold(scans)
    b.wanted, b.values, b.lines = before, values, lines


def _scramble(b: Behaviour) -> None:
    """Wishes turned over one after the other, each after a few scans: where delays are short, much can happen so."""
    b.met = b.draw.pick((True, False))
    for _ in range(b.draw.pick((3, 6, 9))):
        _turn(b, _some_item(b))
        b.realise()
        b.hold(b.draw.pick((1, 1, 2, 3)))


def _cling(b: Behaviour) -> None:
    """The claim's conditions, and whenever their run is about to end one wish turned over for a moment: a button let
    go and pressed again, a reading that dips below a threshold and comes back. The first time it may stay turned."""
    _strike(b)
    item, early, short = _some_item(b), b.draw.pick((0, 1, 2)), b.draw.pick((1, 1, 2, 3))
    stays = b.draw.pick((False, True))
    for _ in range(MOST_TURNS if item else 0):
        b.hold(max(0, b.until_lost() - early))
        if not b.judge.run:
            break
        if stays:
            _turn(b, item)
            b.realise()
            b.hold(1)
            stays = False
        else:
            _for_a_moment(b, item, short)


def _to_come(b: Behaviour) -> list[str]:
    return [name for name in b.aim.plan.arising if name not in b.arisen]


def _onsets(b: Behaviour) -> None:
    """Faults that arise while all is still."""
    for name in _to_come(b):
        if b.draw.pick((True, False)):
            b.arisen = (*b.arisen, name)
            b.realise()
            b.hold(b.draw.pick((0, 0, 1, *_about(b.aim.guide.delays))))


def _onset(b: Behaviour) -> None:
    """A fault of the set arises."""
    b.arisen = (*b.arisen, b.draw.pick(_to_come(b)))
    b.realise()


def _cycle(b: Behaviour) -> None:
    """A unit loses its power for a moment."""
    b.hold(1, cycles=(b.draw.pick(sorted(b.aim.plan.may_cycle(b.arisen))),))


def _some_item(b: Behaviour) -> Item | None:
    """One of those that the demands name; as likely as not one that they pull both ways."""
    items, torn = b.aim.guide.items, b.aim.guide.torn
    if not items:
        return None
    among_torn = bool(torn) and b.draw.pick((True, False))
    return b.draw.pick(torn if among_torn else items)


def _turn(b: Behaviour, item: Item | None) -> None:
    if item is not None:
        b.wish(item, not b.wanted.get(item, False))


def _styled(b: Behaviour) -> None:
    b.style, b.turn = b.draw.pick(STYLES), b.draw.pick(range(3))


# --- when it changes


def _paced(b: Behaviour) -> None:
    """The world as the wishes ask, all at once; or each change so early that they are all felt in the same scan."""
    _styled(b)
    if b.draw.pick(("at once", "felt together")) == "at once":
        b.realise()
    else:
        _felt_together(b)


def _felt_together(b: Behaviour) -> None:
    values, lines = b.composed()
    changes = b.changes(values, lines)
    lags = [b.lag({**b.values, **v}, {**b.lines, **x}) for v, x in changes]
    longest = max(lags, default=0)
    exact = b.draw.pick((True, True, False))
    timed = [(max(0, longest - lag + (0 if exact else b.draw.pick((0, 1, -1)))), i) for i, lag in enumerate(lags)]
    now = 0
    for at, i in sorted(timed):
        b.hold(at - now)
        now = at
        b.values, b.lines = {**b.values, **changes[i][0]}, {**b.lines, **changes[i][1]}


def _wait(b: Behaviour) -> None:
    """How long the world stays: until all is still, until just before something happens or is lost, or a given time."""
    match b.draw.pick(("settle", "lost", "lost", "event", "delay", "scan")):
        case "settle":
            b.settle()
        case "lost":
            b.hold(max(0, b.until_lost() - b.draw.pick((0, 1, 2))))
        case "event":
            b.hold(max(0, b.until_event() + b.draw.pick((0, 1, -1))))
        case "delay":
            b.hold(b.draw.pick(_about(b.aim.guide.delays)))
        case _:
            b.hold(1)


def _about(delays: Sequence[int]) -> list[int]:
    """Each delay, one scan less and one more."""
    return sorted({scans for delay in delays for scans in (delay - 1, delay, delay + 1) if scans > 0}) or [1]


def _hold_on(b: Behaviour) -> None:
    """Until the claim is violated, or would not be in this world however long it stayed."""
    b.hold(b.horizon, settle=True)
    b.hold(b.judge.missing if b.judge.run else 1)
