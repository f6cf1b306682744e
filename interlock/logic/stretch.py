"""Long stretches of one unchanging world, run in few steps: between two events only counters move.

A scan is *quiet* when it left everything but counters as it was. While the world stays the same, so does every scan
after it, until some counter reaches its limit. All counters can then be moved at once to just before the first.
"""

from __future__ import annotations

from collections.abc import Iterator

from interlock.logic.scan import LONG_AGO, Engine, Seen, World
from interlock.scheme.words import State


def stretches(engine: Engine, world: World, scans: int, *, settle: bool = False) -> Iterator[tuple[Seen, int]]:
    """Run `scans` scans of one world; yields what was seen and for how many scans (timers: those of the first of them).

    The last stretch is one real scan, so that its timers are those of the end. `world` cycles no unit.
    `settle`: end as soon as nothing more can change while the world stays as it is.
    """
    left = scans
    while left > 0:
        still, counters = _still(engine), _counters(engine)
        seen = engine.scan(world)
        left -= 1
        skipped = 0
        if left > 1 and _still(engine) == still:
            moved = [now - then for now, then in zip(_counters(engine), counters, strict=True)]
            room = [r for r, step in zip(_room(engine), moved, strict=True) if step]
            if settle and min(room, default=LONG_AGO) == LONG_AGO:
                left = 0
            skipped = max(0, min([left - 1, *room]))
            _move(engine, [skipped * step for step in moved])
            left -= skipped
        yield seen, 1 + skipped


def run_for(engine: Engine, world: World, scans: int) -> Seen | None:
    """Run `scans` scans of one world and give what was seen at the last; None for no scans."""
    last = None
    for seen, _ in stretches(engine, world, scans):
        last = seen
    return last


def _still(engine: Engine) -> tuple[object, ...]:
    """Everything one scan leaves to the next, counters only by what they decide."""
    return (
        [m.state for m in engine.machines.values()],
        [None if c is None else c > 0 for c in engine.override.values()],
        set(engine._dead),
        set(engine.stuck),
        dict(engine.seen_off),
        dict(engine.sent),
        dict(engine.on),
        dict(engine.energised),
        dict(engine.closed),
        [engine.since_run[n] <= o.stops_within.scans for n, o in engine.scheme.outputs.items()],
        [engine.since_stop[n] <= o.starts_within.scans for n, o in engine.scheme.outputs.items()],
    )


def _counters(engine: Engine) -> list[int]:
    """Every counter, in a fixed order: timers, overrides, ages of stuck readings, scans since told to run, to stop."""
    return [
        *(m.timer for m in engine.machines.values()),
        *(c or 0 for c in engine.override.values()),
        *(age for _, age in engine.stuck.values()),
        *engine.since_run.values(),
        *engine.since_stop.values(),
    ]


def _room(engine: Engine) -> list[int]:
    """For each counter: how many more scans it can move before it decides something."""
    scheme = engine.scheme
    room = []
    for name, machine in engine.machines.items():
        rule = scheme.rules[name]
        delay = rule.trips.delay if machine.state is State.PICKING_UP else rule.clears.delay
        room.append(delay.scans - 1 - machine.timer)
    for name, count in engine.override.items():
        limit = scheme.rules[name].override_at_most
        room.append(limit.scans - count if limit and count and count <= limit.scans else LONG_AGO)
    for name, (_, age) in engine.stuck.items():
        stale = scheme.sensors[name].stale_after
        room.append(stale.scans - 1 - age if stale and age < stale.scans else LONG_AGO)
    outputs = scheme.outputs.values()
    room += [_within(engine.since_run[o.name], o.stops_within.scans) for o in outputs]
    room += [_within(engine.since_stop[o.name], o.starts_within.scans) for o in outputs]
    return room


def _within(since: int, within: int) -> int:
    return within - since if since <= within else LONG_AGO


def _move(engine: Engine, by: list[int]) -> None:
    """Move each counter, in the order of `_counters`."""
    steps = iter(by)
    for machine in engine.machines.values():
        machine.timer += next(steps)
    for name, count in engine.override.items():
        step = next(steps)
        engine.override[name] = count if count is None else count + step
    engine.stuck = {name: (value, age + next(steps)) for name, (value, age) in engine.stuck.items()}
    for table in (engine.since_run, engine.since_stop):
        for name in table:
            table[name] = min(LONG_AGO, table[name] + next(steps))
