"""Many scenarios of one compiled scheme side by side, on numpy arrays."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interlock.logic.emit import ARRAYS, Dialect, function_source
from interlock.logic.program import Op, Program

Array = NDArray[np.int64] | NDArray[np.bool_]
MOST_CACHED = 64


class TooLargeError(ValueError):
    """Numbers of the scheme do not fit the 64 bits in which many scenarios are run."""


@lru_cache(maxsize=MOST_CACHED)
def array_function(
    program: Program, dialect: Dialect = ARRAYS
) -> Callable[[Sequence[Any], Sequence[Any]], tuple[Sequence[Any], Sequence[Any]]]:
    """One scan of a program in a dialect of arrays: `function_source`. Raises TooLargeError."""
    for node in program.nodes:
        if not -(2**63) <= node.low <= node.high < 2**63:
            raise TooLargeError(
                f"a value of this scheme may lie anywhere from {node.low} to {node.high} millionths, more than 64 bits"
                " hold: run its scenarios one by one, or give its sensors narrower valid ranges"
            )
    names: dict[str, Any] = {"where": np.where, "minimum": np.minimum, "maximum": np.maximum}
    exec(compile(function_source(program, dialect), "<compiled scheme>", "exec"), names)  # our own numbers only
    scan: Callable[[Sequence[Any], Sequence[Any]], tuple[Sequence[Any], Sequence[Any]]] = names["scan"]
    return scan


class ArrayScan:
    """One scan of a program on arrays of any length. Raises TooLargeError where the scheme's numbers need more than 64
    bits."""

    def __init__(self, program: Program) -> None:
        self._scan = array_function(program)
        self._initial = [_constant(slot.initial, slot.boolean) for slot in program.slots]
        self._constant_slots = _constants(program, [slot.next for slot in program.slots])
        self._constant_observations = _constants(program, [o.node for o in program.observations])

    def initial(self, count: int) -> list[Array]:
        """An array for each slot at power-up, of shape (count,), not to be written."""
        return [_repeated(value, count) for value in self._initial]

    def __call__(self, count: int, state: Sequence[Array], inputs: Sequence[Array]) -> tuple[list[Array], list[Array]]:
        """The slots after a scan of so many scenarios, and the observations in the program's order. `inputs`: for each
        an array of the right kind, of shape (count,)."""
        following, observed = map(list, self._scan(state, inputs))
        for found, constants in ((following, self._constant_slots), (observed, self._constant_observations)):
            for i, value in constants:
                found[i] = _repeated(value, count)
        return following, observed


def _constants(program: Program, numbers: Sequence[int]) -> list[tuple[int, Array]]:
    """Where a list of nodes has constants, which numpy would give as plain numbers."""
    nodes = [program.nodes[n] for n in numbers]
    return [(i, _constant(n.value, n.boolean)) for i, n in enumerate(nodes) if n.op is Op.CONST]


def _repeated(value: Array, count: int) -> Array:
    """So many times the same, not to be written."""
    found: Any = np.broadcast_to(value, (count,))  # its stubs know no union of kinds
    return found  # type: ignore[no-any-return]


def _constant(value: int, boolean: bool) -> Array:
    made: Array = np.asarray(value, bool if boolean else np.int64)
    return made


class ManyScenarios:
    """A program being run `count` times side by side. Integers are int64, booleans bool, arrays of shape (count,).

    `state` holds one array for each slot and may be set. Raises TooLargeError where the scheme's numbers need more
    than 64 bits.
    """

    def __init__(self, program: Program, count: int) -> None:
        self.program, self.count = program, count
        self._scan = ArrayScan(program)
        self.state = self._scan.initial(count)

    def scan(self, inputs: Sequence[Any]) -> list[Array]:
        """Run one scan. For each input of the program, in order: an array of shape (count,), or one value for all.

        Gives the observations in the program's order. They may share memory with inputs and state: not to be written.
        """
        shape = (self.count,)
        return self.scan_arrays(
            [
                np.broadcast_to(np.asarray(value, bool if declared.boolean else np.int64), shape)
                for declared, value in zip(self.program.inputs, inputs, strict=True)
            ]
        )

    def scan_arrays(self, given: Sequence[Array]) -> list[Array]:
        """As `scan`, of inputs that are arrays of the right kind and shape already."""
        self.state, observations = self._scan(self.count, self.state, given)
        return observations
