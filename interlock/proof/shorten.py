"""A real run made shorter: parts left out and holds cut down as long as the claim stays violated, for some rounds.

Everything is tried on the whole cone, so what is left is a real run; it need not be the shortest there is. (Greedy
reduction, after Zeller and Hildebrandt 2002, "Simplifying and isolating failure-inducing input".)
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from msgspec import Struct

from interlock.proof.replay import Choice, Played, Player, Run
from interlock.proof.system import System

ROUNDS = 6


class Part(Struct, frozen=True):
    """One world for some scans."""

    choice: Choice
    scans: int


def shortened(full: System, run: Run, wanted: int) -> Run:
    """A run that ends with `wanted` bad scans in a row and takes no more scans than this one up to there."""
    parts = _merged(run.played)
    best = _played(full, parts, wanted)
    if best is None:  # something in it hangs on how its scans were dealt out: as it is
        return run
    for _ in range(ROUNDS):
        tried = (_played(full, trial, wanted) for trial in _trials(best))
        shorter = next((found for found in tried if found and _length(found) < _length(best)), None)
        if shorter is None:
            break
        best = _cut_down(full, shorter, wanted)
    player = Player(full)
    for part in _calmed(full, _cut_down(full, best, wanted), wanted):
        _hold(player, part, wanted)
    return player.run


def _calmed(full: System, parts: list[Part], wanted: int) -> list[Part]:
    """The run with fewer changes of the world where one of two neighbours will do for both, and no more scans."""
    i = 0
    while i + 1 < len(parts):
        one, other = parts[i], parts[i + 1]
        found = None
        for choice in (one.choice, other.choice):
            if found is None and not one.choice.onset and not other.choice.onset:
                found = _played(full, [*parts[:i], Part(choice, one.scans + other.scans), *parts[i + 2 :]], wanted)
                if found is not None and (_length(found) > _length(parts) or len(found) >= len(parts)):
                    found = None
        if found is None:
            i += 1
        else:
            parts, i = found, 0
    return parts


def _merged(played: Sequence[Played]) -> list[Part]:
    """Scans of the same world taken together; an onset keeps its scan to itself."""
    parts: list[Part] = []
    for p in played:
        if parts and parts[-1].choice is p.choice and not p.choice.onset:
            parts[-1] = Part(p.choice, parts[-1].scans + p.scans)
        else:
            parts.append(Part(p.choice, p.scans))
    return parts


def _length(parts: Sequence[Part]) -> int:
    return sum(part.scans for part in parts)


def _trials(parts: Sequence[Part]) -> Iterator[list[Part]]:
    """The run without one of its parts, or without two that follow each other, the longest first."""
    order = sorted(range(len(parts)), key=lambda i: -parts[i].scans)
    for i in order:
        yield [*parts[:i], *parts[i + 1 :]]
    for i in range(len(parts) - 1):
        yield [*parts[:i], *parts[i + 2 :]]


def _cut_down(full: System, parts: list[Part], wanted: int) -> list[Part]:
    """Each hold in turn, from the last, cut by halves to fewer scans that will do (one of fewer still may do as well: a
    longer hold is not always as good)."""
    for i in range(len(parts) - 1, -1, -1):
        if i >= len(parts) or parts[i].choice.onset:
            continue
        low, high = 0, parts[i].scans
        shorter = parts
        while low < high:
            middle = (low + high) // 2
            found = _played(full, _with(parts, i, middle), wanted)
            if found is not None and _length(found) < _length(parts):
                high, shorter = middle, found
            else:
                low = middle + 1
        parts = shorter
    return parts


def _with(parts: Sequence[Part], i: int, scans: int) -> list[Part]:
    held = [Part(parts[i].choice, scans)] if scans else []
    return [*parts[:i], *held, *parts[i + 1 :]]


def _played(full: System, parts: Sequence[Part], wanted: int) -> list[Part] | None:
    """The parts up to the scan at which the row of bad scans is long enough; None where it never is, or where the
    faults can't come and go like that."""
    player = Player(full)
    kept: list[Part] = []
    for part in parts:
        done = _hold(player, part, wanted)
        if done is None:
            return None
        kept.append(Part(part.choice, done))
        if player.run.bad_run >= wanted:
            return kept
    if not kept or kept[-1].choice.onset:
        return None
    # the last world may have to be held a little longer
    done = _hold(player, Part(kept[-1].choice, wanted - player.run.bad_run), wanted)
    if done is None or player.run.bad_run < wanted:
        return None
    return [*kept[:-1], Part(kept[-1].choice, kept[-1].scans + done)]


def _hold(player: Player, part: Part, wanted: int) -> int | None:
    """Play a part until enough scans in a row are bad, and say how many scans that took; None where the faults can't be
    as its world has them."""
    done = 0
    while done < part.scans and player.run.bad_run < wanted:
        if not _fits(player, part.choice):
            return None
        sticking = any(player.places[i] == 1 for i in range(len(player.full.sensors)))
        done += player.until(part.choice, 1 if sticking or part.choice.onset else part.scans - done, wanted)
    return done


def _fits(player: Player, choice: Choice) -> bool:
    """Whether the faults can be as the world has them at the next scan."""
    full = player.full
    if not full.plan.service:
        return True
    due = player.due()
    return any(
        new == choice.config
        and onset == choice.onset
        and tuple(i for i in range(len(full.sensors)) if ends >> i & 1) == due
        for new, onset, _, _, ends in full.config_moves(player.config)
    )
