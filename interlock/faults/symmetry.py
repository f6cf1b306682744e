"""Claims that are the same but for names are judged once.

Two branch circuits with a contact each, stopped by the same rules, differ in nothing that a verdict looks at:
exchanging their names, and those of their outputs, turns the scheme into itself. What is true of a claim on the one
under a set of faults is then true of the claim on the other under the set with these names exchanged. (Symmetry
reduction: Emerson and Sistla 1996.)
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

from interlock.faults.cutsets import Names, by_size
from interlock.faults.cutsets_search import CutSets, Undecided
from interlock.records import replace
from interlock.scheme.model import AnyOf, Claim, Condition, Fault, Output, Path, Rule, Scheme
from interlock.scheme.words import Signal

Exchange = Mapping[str, str]  # names with the names that stand in their place, both ways round


@dataclass(frozen=True, slots=True)
class Mirror:
    """A claim stands for another: `claim`, by its place in the scheme, and for each fault of the catalogue the one that
    does there what it does here."""

    claim: int
    faults: Mapping[str, str]

    def mirrored(self, found: CutSets) -> CutSets:
        """What was found of the claim, said of the other: nothing of that had to be judged."""
        names = Names(self.faults)

        def turned(faults: Iterable[str]) -> int:
            return names.mask(self.faults[name] for name in faults)

        undecided = {turned(u.faults): u.reason for u in found.undecided}
        return CutSets(
            names.family(turned(cut) for cut in found.minimal),
            tuple(Undecided(names.members(mask), undecided[mask]) for mask in sorted(undecided, key=by_size)),
            0,
            names.members(turned(found.near)),
            found.done,
        )


def mirrors(scheme: Scheme) -> dict[int, Mirror]:
    """The claims that another one before them stands for, by their places."""
    found: dict[int, Mirror] = {}
    place = {claim.name: number for number, claim in enumerate(scheme.claims)}
    for exchange in exchanges(scheme):
        faults = _turned_faults(scheme.faults, exchange)
        if faults is None:
            continue
        for number, claim in enumerate(scheme.claims):
            turned = _turned_claim(claim, exchange)
            other = place.get(turned.name, number)
            if other > number and number not in found and other not in found and scheme.claims[other] == turned:
                found[other] = Mirror(number, faults)
    return found


def exchanges(scheme: Scheme) -> Iterator[Exchange]:
    """The exchanges of two paths and of their outputs that turn the scheme into itself, its requirements and its faults
    left aside."""
    kinds: dict[object, list[Path]] = {}
    for path in scheme.paths.values():
        outputs = [scheme.outputs[name] for name in path.outputs]
        if outputs and all(output.drives == (path.name,) for output in outputs):
            kind = path.flow, path.behind, path.started_by, tuple(map(_kind, outputs))
            kinds.setdefault(kind, []).append(path)
    for alike in kinds.values():
        for one, other in combinations(alike, 2):
            pairs = [(one.name, other.name), *zip(one.outputs, other.outputs, strict=True)]
            exchange = dict(pairs) | {b: a for a, b in pairs}
            if _stays(scheme, exchange):
                yield exchange


def _kind(output: Output) -> object:
    """All of an output but its name and what is written about it."""
    o = output
    return o.unit, o.contact, o.runs_when, o.energised_when, o.stops_within, o.starts_within


def _stays(scheme: Scheme, exchange: Exchange) -> bool:
    """Whether all other parts stay what they are: nothing is behind one of the two alone, or told by its contact, and
    each rule treats both alike."""
    return (
        not any(path.behind in exchange for path in scheme.paths.values())
        and not any(line.output in exchange for line in scheme.lines.values())
        and all(_acts(rule, {}) == _acts(rule, exchange) for rule in scheme.rules.values())
    )


def _acts(rule: Rule, exchange: Exchange) -> object:
    """What of a rule can name a path, in no order."""
    return (
        exchange.get(rule.watched, rule.watched) if rule.watches is Signal.PATH else "",
        frozenset(_turned_conditions(rule.only_while, exchange)),
        frozenset((exchange.get(t.path, t.path), _turned_modes(t.when, exchange)) for t in rule.blocks),
        frozenset(exchange.get(path, path) for path in rule.starts),
    )


def _turned_conditions(conditions: Iterable[Condition], exchange: Exchange) -> tuple[Condition, ...]:
    return tuple(
        replace(c, name=exchange[c.name]) if c.signal is Signal.PATH and c.name in exchange else c for c in conditions
    )


def _turned_modes(modes: AnyOf, exchange: Exchange) -> AnyOf:
    return tuple(_turned_conditions(alternative, exchange) for alternative in modes)


def _turned_claim(claim: Claim, exchange: Exchange) -> Claim:
    return replace(
        claim,
        path=exchange.get(claim.path, claim.path),
        conditions=_turned_conditions(claim.conditions, exchange),
        any_of=_turned_modes(claim.any_of, exchange),
    )


def _turned_faults(catalogue: Mapping[str, Fault], exchange: Exchange) -> dict[str, str] | None:
    """For each fault the one that it is turned into; None where the catalogue lacks one."""
    does = {_does(fault, {}): name for name, fault in catalogue.items()}
    turned = {name: does.get(_does(fault, exchange), "") for name, fault in catalogue.items()}
    return turned if set(turned.values()) == set(catalogue) else None


def _does(fault: Fault, exchange: Exchange) -> frozenset[object]:
    """All of a fault but its name."""
    return frozenset(
        (single.part, single.mode, frozenset(exchange.get(p, p) for p in single.parts), single.error)
        for single in fault.single()
    )
