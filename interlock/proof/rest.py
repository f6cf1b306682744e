"""The whole cone come to rest: the world held where every rule lets go, as far as it can, until nothing runs any more.

Most long bad runs begin from there. A search that leaves rules out starts, at power-up, before those could have let go;
started from rest it begins where the whole cone can really be.
"""

from __future__ import annotations

from copy import copy

from interlock.proof.replay import Player, pulses, world
from interlock.proof.system import System
from interlock.scheme.words import LineForm, Signal


def rested(full: System) -> tuple[Player | None, Player | None]:
    """The whole cone at rest, having been played from power-up, None where no world brings it there; then where it is
    after a long time if it did not come to rest, None if it did or no world lets all rules go."""
    scheme = full.index.scheme
    want = dict.fromkeys(scheme.rules, False)
    for rule in scheme.rules.values():
        if rule.watches is Signal.LINE and scheme.lines[rule.watched].form is LineForm.EXTERNAL:
            want.setdefault(f"line {rule.watched}", bool(rule.clears.test))
        if rule.overridden_by:
            want.setdefault(f"line {rule.overridden_by}", False)
    player = Player(full)
    choice = world(full, player.config, want)
    if choice is None:
        return None, None
    player.settle(choice, pulses(full, choice), None, {})
    before = player.state()
    player.play(choice, 1, False, None)
    return (player, None) if player.idle() and player.state() == before else (None, player)


def from_rest(system: System, player: Player) -> System:
    """The same system, begun where the whole cone rests."""
    begun = copy(system)
    where = player.full.layout.place
    places = tuple(player.places[where[c.key]] if c.key in where else 0 for c in system.layout.comps)
    begun.start = (system.start[0], places)
    return begun
