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


class ManyScenarios:
    """A program being run `count` times side by side. Integers are int64, booleans bool, arrays of shape (count,).

    `state` holds one array for each slot and may be set. Raises TooLargeError where the scheme's numbers need more
    than 64 bits.
    """

    def __init__(self, program: Program, count: int) -> None:
        self.program, self.count = program, count
        self._scan = array_function(program)
        self.state: list[Array] = [self._full(slot.initial, slot.boolean) for slot in program.slots]
        self._constant_slots = self._constants([slot.next for slot in program.slots])
        self._constant_observations = self._constants([o.node for o in program.observations])

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
        following, observed = self._scan(self.state, given)
        self.state, observations = list(following), list(observed)
        for i, full in self._constant_slots:
            self.state[i] = full
        for i, full in self._constant_observations:
            observations[i] = full
        return observations

    def _full(self, value: int, boolean: bool) -> Array:
        full: Array = np.full(self.count, value, bool if boolean else np.int64)
        full.flags.writeable = False
        return full

    def _constants(self, numbers: Sequence[int]) -> list[tuple[int, Array]]:
        """Where a list of nodes has constants, which numpy would give as plain numbers."""
        nodes = [self.program.nodes[n] for n in numbers]
        return [(i, self._full(n.value, n.boolean)) for i, n in enumerate(nodes) if n.op is Op.CONST]
