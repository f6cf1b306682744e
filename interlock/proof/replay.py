"""An abstract run made real: the same inputs given to the whole cone, every rule followed, scan by scan with jumps.

Where a free rule was assumed to be what it can't be, the run deviates; the deviations say what must be followed next.
"""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from typing import NamedTuple

from msgspec import Struct, field

from interlock.proof.assumed import assumed
from interlock.proof.bounds import Bounds
from interlock.proof.cells import CLEARS, HOLDS, NEITHER, TRIPS, Group, Span
from interlock.proof.circuit import Circuit
from interlock.proof.components import ACT, Kind, SlotKey
from interlock.proof.emit import Places, Result
from interlock.proof.schedule import Stage
from interlock.proof.system import NOT_STUCK, STALE, Move, System
from interlock.scheme.words import LineForm, Signal

MOST_CHANGES = 100  # in a run gone round and round

WANT_LOW = (CLEARS, NEITHER, HOLDS, TRIPS)
WANT_HIGH = (TRIPS, HOLDS, NEITHER, CLEARS)
WANT_ANY = (CLEARS, NEITHER, TRIPS, HOLDS)


class Choice(Struct, frozen=True):
    """One scan's world: the inputs of the compiled scan, the systems its readings are taken from, what arises."""

    x: tuple[int, ...]
    config: int
    onset: tuple[int, ...]
    solutions: tuple[tuple[Group, Bounds], ...]


class Played(Struct, frozen=True):
    """`scans` scans with the same world."""

    choice: Choice
    scans: int
    bad: bool


class Deviating(NamedTuple):
    """A use of a free rule that was assumed to be what the rule was not. `both`: its input helps and hurts. `active`:
    what was assumed."""

    rule: str
    use: str
    both: bool
    active: bool


class Run(Struct):
    """A real run: what was played, the row of bad scans at its end, and where it deviated."""

    played: list[Played] = field(default_factory=list)
    bad_run: int = 0
    endless: bool = False
    loop: int = 0  # of an endless run: where in `played` the part begins that can be played again and again
    deviations: set[Deviating] = field(default_factory=set)


def lengthened(run: Run, wanted: int) -> Run:
    """An endless run, gone round until it ends with so many bad scans in a row; as it is where that takes more changes
    than anyone would read, or where it ends."""
    again = run.played[run.loop :]
    if not run.endless or run.bad_run >= wanted or not again:
        return run
    scans = sum(p.scans for p in again)
    rounds = -(-(wanted - run.bad_run) // scans)
    if rounds * len(again) > MOST_CHANGES:
        return run
    return Run([*run.played, *again * rounds], run.bad_run + rounds * scans, True, run.loop)


class Player:
    """The whole cone as an explicit state."""

    def __init__(self, full: System) -> None:
        self.full = full
        self.config, self.places = full.start
        self.timers = [0] * len(self.places)
        self.delays = [c.delays for c in full.layout.comps]
        self.run = Run()
        self._choices: dict[object, Choice | None] = {}

    def again(self) -> Player:
        """The same player, to go on from here apart from this one."""
        twin = Player(self.full)
        twin.config, twin.places, twin.timers = self.config, self.places, list(self.timers)
        twin.run = Run(list(self.run.played), self.run.bad_run)
        return twin

    def state(self) -> tuple[int, Places, tuple[int, ...]]:
        """Everything that matters for what comes."""
        return self.config, self.places, tuple(self.timers)

    def idle(self) -> bool:
        """Whether no timer runs."""
        return not self.full.running[self.places]

    def play(self, choice: Choice, scans: int, bad_wanted: bool, watch: Deviation | None) -> bool:
        """Give the same world for a number of scans; False where a wanted bad scan was not."""
        left = scans
        while left > 0:
            result, stays = self._step(choice)
            bad = result[4]
            if watch is not None:
                watch.look(result[5])
            if bad_wanted and not bad:
                return False
            jump = 1 + (self._let_go_by(left - 1) if stays else 0)
            self._note(choice, jump, bad)
            left -= jump
        return True

    def until(self, choice: Choice, scans: int, wanted: int) -> int:
        """Give the same world for a number of scans, or until so many in a row were bad; how many it took."""
        done = 0
        while done < scans and self.run.bad_run < wanted:
            result, stays = self._step(choice)
            left = scans - done - 1
            if result[4]:
                left = min(left, wanted - self.run.bad_run - 1)
            jump = 1 + (self._let_go_by(left) if stays else 0)
            self._note(choice, jump, result[4])
            done += jump
        return done

    def settle(
        self, choice: Choice, pulses: Sequence[Choice], watch: Deviation | None, kept: Mapping[int, int]
    ) -> bool:
        """Hold a world until nothing changes any more; then press the reset buttons (`pulses`: seen off, seen on) and
        hold it again. False where that moves a component out of the place it should keep (`kept`)."""
        for world in (choice, *pulses, choice) if pulses else (choice,):
            for _ in range(1000):
                before = all(self.places[i] == p for i, p in kept.items())
                result, stays = self._step(world)
                self._note(world, 1, result[4])
                if watch is not None:
                    watch.look(result[5])
                if before and any(self.places[i] != p for i, p in kept.items()):
                    return False
                if world is not choice:
                    break
                if stays:
                    if self.idle():
                        break
                    jump = self._let_go_by()
                    if jump:
                        self._note(world, jump, result[4])
        return True

    def _note(self, choice: Choice, scans: int, bad: bool) -> None:
        self.run.bad_run = self.run.bad_run + scans if bad else 0
        self.run.played.append(Played(choice, scans, bad))

    def _let_go_by(self, *most: int) -> int:
        """After a scan that changed nothing but timers: let as many more go by as come before the next event; how many
        that were."""
        running = self.full.running[self.places]
        scans = min((*most, *(delay - 1 - self.timers[i] for i, delay in running)))
        for i, _ in running:
            self.timers[i] += scans
        return scans

    def _step(self, choice: Choice) -> tuple[Result, bool]:
        ends = 0
        for i, delay in self.full.running[self.places]:
            if self.timers[i] + 1 >= delay:
                ends |= 1 << i
        config = self.full.configs[choice.config]
        result = self.full.compiled(config.arisen).step(self.places, ends, choice.x)
        places = result[0]
        stuck = len(self.full.sensors)
        if stuck:
            places = self._stuck_places(choice, ends) + places[stuck:]
        again, still = result[2], result[3]
        stays = places == self.places and not again and not still and choice.config == self.config
        timers = [0] * len(places)
        for i, _ in self.full.running[places]:
            if places[i] == self.places[i] and not again >> i & 1:
                timers[i] = self.timers[i] + (not still >> i & 1)
        self.timers, self.places, self.config = timers, places, choice.config
        return result, stays

    def _stuck_places(self, choice: Choice, ends: int) -> Places:
        config = self.full.configs[choice.config]
        found = []
        for i in range(len(self.full.sensors)):
            if config.stuck[i] == STALE:
                found.append(2)
            elif config.stuck[i] == NOT_STUCK or not self.delays[i][1]:
                found.append(0)
            else:
                found.append(1)
        del ends
        return tuple(found)

    def due(self) -> tuple[int, ...]:
        """The stuck sensors that go stale at the next scan."""
        return tuple(
            i for i in range(len(self.full.sensors)) if self.places[i] == 1 and self.timers[i] + 1 >= self.delays[i][1]
        )


class Deviation:
    """Compares what a free rule was assumed to be with what it is."""

    def __init__(self, abstract: System, full: System, arisen: int, x: Sequence[int], places: Places, run: Run) -> None:
        circuit = abstract.circuits[arisen]
        inputs = dict(zip(abstract.compiled(arisen).inputs, x, strict=True))
        probes = full.compiled(arisen).probes
        self.run = run
        self.assumed: list[tuple[int, bool, int, str, str]] = []
        for use, acts, sign in assumed(circuit, inputs, places):
            forced = circuit.bools.get(("forced", use.rule)) if use.use != ACT else None
            value = acts and (forced is None or bool(inputs[circuit.alias.get(forced, forced)]))
            probe = probes.get(("act" if use.use == ACT else "force", use.rule), -1)
            self.assumed.append((probe, value, sign, use.rule, use.use))
        self.now: set[Deviating] = set()

    def look(self, probes: Sequence[bool]) -> None:
        """Note the uses whose rule is not what was assumed, to the bad scan's harm."""
        self.now = set()
        for probe, value, sign, rule, use in self.assumed:
            actual = bool(probes[probe]) if probe >= 0 else False
            if actual != value and (sign == 0 or (sign > 0) == value):
                self.now.add(Deviating(rule, use, sign == 0, value))
        self.run.deviations |= self.now


def wishes(full: System, arisen: int, abstract: Circuit, inputs: Mapping[str, int], places: Places) -> dict[str, bool]:
    """For rules of the whole cone: whether they had better be active. What follows from the signs of the cone alone is
    worked out once."""
    circuit = full.circuits[arisen]
    scheme = circuit.scheme
    known = full.wished.get(arisen)
    found, lines = ({}, {}) if known is None else (dict(known[0]), dict(known[1]))

    def push(rule: str, want: bool) -> None:
        if rule in found:
            return
        found[rule] = want
        record = scheme.rules[rule]
        test = record.trips.test if want else record.clears.test
        if record.watches is Signal.RULE:
            push(record.watched, bool(test))
        elif record.watches is Signal.LINE:
            line = scheme.lines[record.watched]
            if line.form.sent:
                for sender in line.rules:
                    push(sender, bool(test) is (line.form is LineForm.HIGH_WHEN))
            elif line.form is LineForm.EXTERNAL:
                lines.setdefault(line.name, bool(test))

    if known is None:
        full.signs()
        for key, i in circuit.layout.place.items():
            if circuit.layout.comps[i].kind is Kind.RULE:
                sign = circuit.one_sign(f"a{i}")
                if sign in (1, -1):
                    push(key[1], sign > 0)
        full.wished[arisen] = dict(found), dict(lines)
    for rule, value in abstract.abstraction.fixed.items():
        push(rule, value)
    for use, acts, _ in assumed(abstract, inputs, places):
        push(use.rule, acts)
    found.update({f"line {n}": v for n, v in lines.items()})
    return found


def _holds(outer: Span, inner: Span) -> bool:
    """Whether a span lies within another."""
    return (outer.low is None or (inner.low is not None and inner.low >= outer.low)) and (
        outer.high is None or (inner.high is not None and inner.high <= outer.high)
    )


class Realiser:
    """Turns the inputs of an abstract scan into a world for the whole cone."""

    def __init__(self, abstract: System, full: System) -> None:
        self.abstract, self.full = abstract, full
        self._known: dict[object, Choice | None] = {}

    def choice(
        self,
        now: int,
        stale: tuple[int, ...],
        config: int,
        onset: tuple[int, ...],
        x: tuple[int, ...],
        places: Places,
        wish: tuple[tuple[int, ...], Places] | None = None,
    ) -> Choice | None:
        """The world for one scan. `now`: the whole cone's configuration before it; `config`, `onset`, `x`, `places`:
        the abstract scan's. `wish`: what the other rules had better be is taken from this scan instead. None where the
        whole cone has no such scan."""
        key = (now, stale, config, onset, x, places, wish)
        if key not in self._known:
            self._known[key] = self._choice(now, stale, config, onset, x, *(wish or (x, places)))
        return self._known[key]

    def _choice(
        self,
        now: int,
        stale: tuple[int, ...],
        config: int,
        onset: tuple[int, ...],
        x: tuple[int, ...],
        wish_x: tuple[int, ...],
        places: Places,
    ) -> Choice | None:
        arisen = self.abstract.configs[config].arisen
        a = self.abstract.circuits[arisen]
        given = dict(zip(self.abstract.compiled(arisen).inputs, x, strict=True))
        asked = dict(zip(self.abstract.compiled(arisen).inputs, wish_x, strict=True))
        want = wishes(self.full, arisen, a, asked, places)
        for new, full_onset, _, _, ends in self.full.config_moves(now):
            if self.full.configs[new].arisen != arisen or not self._alike(config, onset, new, full_onset):
                continue
            if tuple(i for i in range(len(self.full.sensors)) if ends >> i & 1) != stale:
                continue
            choice = _solved(self.full, (a, given), want, new, full_onset)
            if choice is not None:
                return choice
        return None

    def pulses(self, choice: Choice) -> list[Choice]:
        """The same world with the reset lines that the abstract scan leaves open off, then on."""
        return pulses(self.full, choice, self.abstract.circuits[self.full.configs[choice.config].arisen].bools)

    def _alike(self, config: int, onset: tuple[int, ...], new: int, full_onset: tuple[int, ...]) -> bool:
        if onset != full_onset:
            return False
        for i, (a, b) in enumerate(zip(self.abstract.configs[config].stuck, self.full.configs[new].stuck, strict=True)):
            if (a < 0 or b < 0) and a != b:
                return False
            if a >= 0 and not _holds(self.abstract.spans[i][a], self.full.spans[i][b]):
                return False
        outside, inside = self.abstract.apart(config), self.full.apart(new)
        return all(_holds(outer, inside.get(pair, Span(None, None))) for pair, outer in outside.items())


def world(full: System, config: int, want: Mapping[str, bool]) -> Choice | None:
    """A world of the whole cone, its rules as wanted where they can be (`line NAME`: an external line)."""
    return _solved(full, None, want, config, ())


def pulses(full: System, choice: Choice, given: Container[tuple[str, ...]] = ()) -> list[Choice]:
    """The same world with the reset lines that are not `given` off, then on."""
    arisen = full.configs[choice.config].arisen
    bools = full.circuits[arisen].bools
    keys = [("line", line) for line in full.index.resets]
    names = [bools[key] for key in keys if key in bools and key not in given]
    found = []
    for level in (0, 1) if names else ():
        inputs = zip(full.compiled(arisen).inputs, choice.x, strict=True)
        x = tuple(level if n in names else v for n, v in inputs)
        found.append(Choice(x, choice.config, choice.onset, choice.solutions))
    return found


def _solved(
    full: System,
    abstract: tuple[Circuit, Mapping[str, int]] | None,
    want: Mapping[str, bool],
    new: int,
    onset: tuple[int, ...],
) -> Choice | None:
    """A world of the whole cone in which an abstract scan's inputs are what they are, if one is given."""
    slots: dict[SlotKey, int] = {}
    bools: dict[tuple[str, ...], int] = {}
    if abstract is not None:
        a, given = abstract
        slots = {slot: given[name] for slot, name in a.slots.items()}
        bools = {key: given[a.alias.get(name, name)] for key, name in a.bools.items()}
    arisen = full.configs[new].arisen
    f = full.circuits[arisen]
    full.signs()
    values: dict[str, int] = {}
    solutions: list[tuple[Group, Bounds]] = []
    for group in full.groups_at(new, onset):
        fixed: list[tuple[int, Sequence[int]]] = []
        loose: list[tuple[int, Sequence[int]]] = []
        for i, slot in enumerate(group.slots):
            if slot in slots:
                if slot[0] == "truth" and not slots[slot]:
                    continue
                fixed.append((i, (slots[slot],)))
            elif slot[0] == "truth":
                continue
            else:
                wish = want.get(str(slot[1]))
                loose.append((i, WANT_ANY if wish is None else WANT_HIGH if wish else WANT_LOW))
        found = group.first([*fixed, *loose])
        if found is None:
            return None
        for i, slot in enumerate(group.slots):
            values[f.slots[slot]] = found[0][i]
        solutions.append((group, found[1]))
    for key, name in f.bools.items():
        if key in bools:
            values[name] = bools[key]
        elif key[0] == "line" and f"line {key[1]}" in want:
            values[name] = int(want[f"line {key[1]}"])
        else:
            values[name] = int(f.one_sign(name) == 1)
    return Choice(tuple(values[n] for n in full.compiled(arisen).inputs), new, onset, tuple(solutions))


def replay(
    abstract: System,
    full: System,
    plan: Sequence[Stage],
    loop: frozenset[int] = frozenset(),
    *,
    settling: bool = True,
    begun: Player | None = None,
    enough: int | None = None,
) -> Run:
    """Play a schedule on the whole cone, from power-up or from where it was `begun`.

    `settling`: where the abstract run can wait, wait until every other rule has come to rest. `loop`: for an endless
    run, the stages at which the loop begins anew; the run is endless when the whole cone is then in a state it was in
    before. The last stage alone: it stays there. `enough`: play no further once more scans in a row than that were bad.
    """
    player, realiser = begun.again() if begun else Player(full), Realiser(abstract, full)
    run = player.run
    first_bad = next((k for k, s in enumerate(plan) if s.node.bad), len(plan))
    bad: Move | None = None
    if first_bad < len(plan):
        stage = plan[first_bad]
        bad = stage.node.stays if stage.stay and stage.node.stays else stage.to.move if stage.to else None
    settle_at = frozenset(k for k in range(first_bad) if _idle(abstract, plan[k])) if settling else frozenset()
    seen: dict[object, int] = {}
    for k, stage in enumerate(plan):
        node = stage.node
        if enough is not None and run.bad_run > enough:
            return run
        if k in loop:
            state = player.state()
            if state in seen:
                run.endless, run.loop = True, seen[state]
                return run
            seen[state] = len(run.played)
        if node.stays and stage.stay and not _hold(player, realiser, stage, node.bad, stage.stay):
            return run
        if node.stays and k in settle_at and not player.due():
            stays = node.stays
            wish = (bad.inputs, bad.places) if bad is not None and bad.config == stays.config else None
            choice = realiser.choice(player.config, (), stays.config, (), stays.inputs, stays.places, wish)
            if choice is not None:
                arisen = abstract.configs[stays.config].arisen
                watch = Deviation(abstract, full, arisen, stays.inputs, stays.places, run)
                where = full.layout.place
                kept = {
                    where[c.key]: p for c, p in zip(abstract.layout.comps, node.places, strict=True) if c.key in where
                }
                kept = {i: p for i, p in kept.items() if full.layout.comps[i].kind is Kind.RULE}
                settled = player.settle(choice, realiser.pulses(choice), watch, kept)
                run.deviations = set(watch.now)
                if not settled:
                    return run
        move = stage.to.move if stage.to else None
        if move is not None and stage.to is not None:
            choice = realiser.choice(player.config, player.due(), move.config, move.onset, move.inputs, move.places)
            if choice is None:
                return run
            watch = Deviation(abstract, full, abstract.configs[move.config].arisen, move.inputs, stage.to.places, run)
            if not player.play(choice, 1, stage.to.bad, watch):
                run.deviations = watch.now or run.deviations
                return run
    if loop == {len(plan) - 1}:
        longest = max((d for c in full.layout.comps for d in c.delays), default=0) + 1
        for _ in range(len(full.layout.comps) + 2):
            if not _hold(player, realiser, plan[-1], True, longest):
                return run
            state = player.state()
            if state in seen:
                run.endless, run.loop = True, seen[state]
                return run
            seen[state] = len(run.played)
    return run


def _idle(abstract: System, stage: Stage) -> bool:
    """Whether the abstract run can wait here as long as it likes."""
    delays = (c.delays[p] for c, p in zip(abstract.layout.comps, stage.node.places, strict=True))
    return stage.node.stays is not None and not any(delays)


def _hold(player: Player, realiser: Realiser, stage: Stage, bad: bool, scans: int) -> bool:
    stays = stage.node.stays
    assert stays is not None
    abstract, full = realiser.abstract, realiser.full
    left = scans
    while left > 0:
        due = player.due()
        choice = realiser.choice(player.config, due, stays.config, (), stays.inputs, stays.places)
        if choice is None:
            return False
        watch = Deviation(abstract, full, abstract.configs[stays.config].arisen, stays.inputs, stays.places, player.run)
        sticking = any(player.places[i] == 1 for i in range(len(full.sensors)))
        span = 1 if sticking else left
        if not player.play(choice, span, bad, watch):
            player.run.deviations = watch.now or player.run.deviations
            return False
        left -= span
    return True
