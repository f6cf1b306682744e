"""The cautions that stand first on every sheet. They are common practice of the trade, no source."""

from __future__ import annotations

from typing import NamedTuple


class Caution(NamedTuple):
    """A caution: its word and what it asks."""

    word: str
    says: str


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "Isolate",
        "Main switch open, locked and labelled, and every charge source disconnected by itself, for all wiring work "
        "and wherever a step allows it. Prove dead with a meter that was proved on a live source before and after.",
    ),
    Caution(
        "Fault current",
        "A battery cannot be switched off. A dropped spanner carries thousands of amperes: cover what is live, use "
        "insulated tools, wear no rings, watch or chain.",
    ),
    Caution(
        "Arcs",
        "A direct current under load draws an arc that does not go out by itself. Never pull a plug, a fuse or a "
        "terminal that carries current; shade or disconnect solar panels first.",
    ),
    Caution(
        "Gas",
        "Cells that are overcharged, charged when frozen, or overheated vent flammable and poisonous gas, and "
        "lead-acid batteries in the same room give off hydrogen. Ventilate, keep flames and sparks away; at a hiss, "
        "a smell or swelling leave and call for help.",
    ),
    Caution(
        "Protective equipment",
        "Eye and face protection, gloves insulating for the voltage at hand, covered arms; an extinguisher within "
        "reach; never alone.",
    ),
    Caution(
        "Local code and licensed practice",
        "What may be worked on, by whom and how is decided by local code and by those licensed to do it, not by this "
        "sheet.",
    ),
    Caution(
        "The maker's manual",
        "Where the manual of a device or the datasheet of a cell says otherwise, it rules: stop, correct the scheme.",
    ),
)
NO_CERTIFICATE = "An aid to engineering judgement; this sheet certifies nothing."

# What stands before these where an installation is tested: the tests pretend, and move no energy.
TESTING: tuple[Caution, ...] = (
    Caution(
        "Nothing is really charged or drained",
        "Every cold, hot, full or empty pack on this sheet is pretended at a sensor's input. Never cool, heat, charge "
        "or drain a pack to carry out a step. Where a step lets a source or a load run, keep its power circuit open if "
        "its own input can be seen without.",
    ),
    Caution(
        "Pretended readings hide real ones",
        "While an element is replaced its protection is gone: watch the pack yourself, do not leave, and put every "
        "element back and see its true reading before anything is energised.",
    ),
    Caution(
        "Stop where a step fails",
        "A step that fails is a finding, not a nuisance: stop, make safe, find the cause, and begin again at step 1 "
        "after any change of wiring.",
    ),
)
