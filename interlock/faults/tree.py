"""A fault tree: basic events, and gates over them and over each other. Monotone: nothing is negated.

Gates and events go by name, so a subtree that several gates name is one and the same subtree.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from interlock.scheme.words import Word

CutSet = tuple[str, ...]
Family = tuple[CutSet, ...]


class TreeError(ValueError):
    """What is given is no fault tree; the text says why, for people."""


class GateKind(Word):
    """When a gate's output occurs."""

    AND = "and"  # all inputs occur; without inputs: always
    OR = "or"  # at least one input occurs; without inputs: never
    AT_LEAST = "at_least"  # at least `needs` of the inputs occur


@dataclass(frozen=True, slots=True)
class Gate:
    """One gate: the names of its inputs, each once. `needs` is how many of them an AT_LEAST gate takes, else 0."""

    name: str
    kind: GateKind
    inputs: tuple[str, ...]
    needs: int = 0


@dataclass(frozen=True, slots=True)
class Tree:
    """A fault tree. `gates` go by name; every name in their inputs that is no gate is a basic event.

    Raises TreeError for an unknown top, an input named twice by one gate, a number of needed inputs that a gate does
    not have, and gates that depend on themselves.
    """

    top: str
    gates: Mapping[str, Gate]

    def __post_init__(self) -> None:
        for name, gate in self.gates.items():
            _judge(name, gate)
        list(self.upwards())

    def events(self) -> tuple[str, ...]:
        """The basic events below the top, in the order in which a reader going through the tree meets them."""
        found: dict[str, None] = {}
        seen: set[str] = set()
        waiting = [self.top]
        while waiting:
            name = waiting.pop()
            if name in seen:
                continue
            seen.add(name)
            if name in self.gates:
                waiting.extend(reversed(self.gates[name].inputs))
            else:
                found[name] = None
        return tuple(found)

    def upwards(self) -> Iterator[Gate]:
        """The gates below and at the top, each once, after all the gates it names."""
        done: set[str] = set()
        begun: dict[str, None] = {}
        waiting = [(self.top, False)]
        while waiting:
            name, expanded = waiting.pop()
            if name not in self.gates or name in done:
                continue
            if expanded:
                done.add(name)
                begun.pop(name)
                yield self.gates[name]
                continue
            if name in begun:
                loop = [*begun][[*begun].index(name) :]
                raise TreeError(f"gates depend on themselves: {' <- '.join([*loop, name])}")
            begun[name] = None
            waiting.append((name, True))
            waiting.extend((i, False) for i in reversed(self.gates[name].inputs) if i not in done)


def _judge(name: str, gate: Gate) -> None:
    if gate.name != name:
        raise TreeError(f"the gate {gate.name!r} goes by another name, {name!r}")
    if len(set(gate.inputs)) < len(gate.inputs):
        twice = next(i for i in gate.inputs if gate.inputs.count(i) > 1)
        raise TreeError(f"the gate {name!r} names {twice!r} more than once")
    if gate.kind is GateKind.AT_LEAST:
        if not 1 <= gate.needs <= len(gate.inputs):
            raise TreeError(
                f"the gate {name!r} needs {gate.needs} of {len(gate.inputs)} inputs; expected 1 to {len(gate.inputs)}"
            )
    elif gate.needs:
        raise TreeError(f"the gate {name!r} takes {gate.kind} of its inputs: a number of needed inputs has no meaning")


def from_data(top: str, gates: Mapping[str, tuple[str, Iterable[str]]]) -> Tree:
    """A tree from plain data: for each gate a word and its inputs. The word is `and`, `or`, or a number: `2` of them.

    Raises TreeError.
    """
    made: dict[str, Gate] = {}
    for name, (word, inputs) in gates.items():
        if word.isdecimal():
            made[name] = Gate(name, GateKind.AT_LEAST, tuple(inputs), int(word))
        elif word in ("and", "or"):
            made[name] = Gate(name, GateKind(word), tuple(inputs))
        else:
            raise TreeError(f"the gate {name!r} is {word!r}; expected `and`, `or` or a number of inputs it needs")
    return Tree(top, made)


def from_cut_sets(top: str, family: Iterable[Iterable[str]]) -> Tree:
    """The tree of two levels of a family of cut sets: the top occurs when all events of one of them do.

    Single events stand directly under the top. An empty family never occurs; a family with an empty set always does.
    The gates of larger sets are called `TOP.1`, `TOP.2` and so on. Raises TreeError when an event has such a name.
    """
    gates: dict[str, Gate] = {}
    inputs: dict[str, None] = {}
    events: dict[str, None] = {}
    for cut_set in family:
        members = tuple(dict.fromkeys(cut_set))
        events.update(dict.fromkeys(members))
        if len(members) == 1:
            inputs[members[0]] = None
            continue
        name = f"{top}.{len(gates) + 1}"
        gates[name] = Gate(name, GateKind.AND, members)
        inputs[name] = None
    gates[top] = Gate(top, GateKind.OR, tuple(inputs))
    no_clash(gates, events)
    return Tree(top, gates)


def no_clash(gates: Iterable[str], events: Iterable[str]) -> None:
    """Raises TreeError when an event has the name of a gate."""
    names = set(gates)
    clash = next((event for event in events if event in names), None)
    if clash is not None:
        raise TreeError(f"the event {clash!r} has the name of a gate")
