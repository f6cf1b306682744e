"""The order of rules within one scan: each after all it depends on."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter

from interlock.scheme.model import Rule
from interlock.scheme.words import Signal


class LoopError(ValueError):
    """Rules wait for each other within one scan; `rules` names the loop, its first rule again at the end."""

    def __init__(self, rules: Sequence[str]) -> None:
        super().__init__(" → ".join(rules))
        self.rules = tuple(rules)


def in_order(
    rules: Mapping[str, Rule],
    senders: Mapping[str, Sequence[str]],
    source: Callable[[str, str], str] = lambda _unit, line: line,
) -> tuple[str, ...]:
    """The rules so that each stands after all it depends on within one scan; else as the scheme has them.

    `senders`: the rules that send each line. `source(unit, line)`: the line whose wire that unit's input is on. Raises
    LoopError.
    """
    place = {name: i for i, name in enumerate(rules)}
    graph: dict[str, list[str]] = {}
    for rule in rules.values():
        before = [rule.watched] if rule.watches is Signal.RULE else []
        for line in (rule.watched if rule.watches is Signal.LINE else "", rule.reset_by):
            if line in senders:
                before += senders[source(rule.unit, line)]
        graph[rule.name] = sorted((name for name in before if name in rules), key=place.__getitem__)
    sorter = TopologicalSorter(graph)
    try:
        sorter.prepare()
    except CycleError as error:
        loop: list[str] = error.args[1]
        first = loop.index(min(loop, key=place.__getitem__))
        turned = loop[first:-1] + loop[: first + 1] if first < len(loop) - 1 else loop
        raise LoopError(turned) from error
    ordered: list[str] = []
    while sorter.is_active():
        ready = sorted(sorter.get_ready(), key=place.__getitem__)
        ordered.extend(ready)
        sorter.done(*ready)
    return tuple(ordered)
