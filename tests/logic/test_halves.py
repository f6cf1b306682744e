"""A program in two halves is the program."""

from __future__ import annotations

import random

import numpy as np
import pytest

from interlock.logic.compiled import compile_scheme
from interlock.logic.halves import halves
from interlock.logic.many import TooLargeError
from interlock.logic.program import Observe
from interlock.scheme.read import loads
from tests.support.random_schemes import SMALL, TINY, random_scheme_text

COUNT = 6


@pytest.mark.parametrize("seed", range(15))
def test_what_inputs_alone_decide_and_the_rest_together_are_the_scan_node_by_node(seed: int) -> None:
    rng = random.Random(seed)
    scheme = loads(random_scheme_text(rng, SMALL if seed % 3 else TINY), f"random {seed}")
    compiled = compile_scheme(scheme, list(scheme.faults.values())[:6], switched=True)
    told = (Observe.MAY_RUN, Observe.LINE, Observe.ALARM, Observe.LEVEL)
    program = compiled.restricted((o.kind, o.name) for o in compiled.observations if o.kind in told)
    try:
        both = halves(program)
    except TooLargeError:
        pytest.skip("numbers too large for arrays")
    inputs = [[rng.randint(i.low, i.high) for i in program.inputs] for _ in range(COUNT)]
    states = [program.initial] * COUNT
    arrays = [np.array(values) for values in zip(*states, strict=True)]
    for i, slot in enumerate(program.slots):
        arrays[i] = arrays[i].astype(bool if slot.boolean else np.int64)
    given = [
        np.array(values).astype(bool if declared.boolean else np.int64)
        for declared, values in zip(program.inputs, zip(*inputs, strict=True), strict=True)
    ]
    still = both.still(given)
    for _ in range(12):
        following, seen = both.scan(arrays, still)
        arrays = [np.broadcast_to(a, (COUNT,)) for a in following]
        seen = [np.broadcast_to(a, (COUNT,)) for a in seen]
        by_node = [program.interpret(state, own) for state, own in zip(states, inputs, strict=True)]
        states = [state for state, _ in by_node]
        assert [tuple(int(a[n]) for a in arrays) for n in range(COUNT)] == states
        assert [tuple(int(a[n]) for a in seen) for n in range(COUNT)] == [told_ for _, told_ in by_node]
