"""Levels, nodes, the builder and the emitters: each operator means the same in every form."""

from __future__ import annotations

import itertools
import random
import re
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.logic.builder import Builder
from interlock.logic.compiled import scan_function
from interlock.logic.emit import ARRAYS, SCALAR, Dialect, function_source
from interlock.logic.levels import Levels
from interlock.logic.lower_readings import comparators
from interlock.logic.many import ManyScenarios, TooLargeError
from interlock.logic.program import MEANING, Input, InputKind, Observe, Op, Program, Slot, SlotKind
from interlock.scheme.words import State

INTEGERS, BOOLEANS = 3, 3  # inputs of the random programs below; integers from -5 to 5


@pytest.mark.parametrize(("trip", "clear"), list(itertools.product((0, 1, 2, 7), repeat=2)))
def test_each_state_and_timer_has_a_level_of_its_own(trip: int, clear: int) -> None:
    levels = Levels(trip, clear, manual=True)
    states = [(State.CLEAR, 0), (State.TRIPPED, 0), (State.AWAITING_RESET, 0)]
    states += [(State.PICKING_UP, timer) for timer in range(trip)]
    states += [(State.DROPPING_OFF, timer) for timer in range(clear)]
    coded = {levels.level(*state): state for state in states}
    assert sorted(coded) == list(range(levels.top + 1))
    assert all(levels.state(level) == state for level, state in coded.items())
    assert all(state.active == (level >= levels.awaiting) for level, (state, _) in coded.items())


def test_a_level_rises_toward_tripped() -> None:
    levels = Levels(3, 2, manual=True)
    rising = [(State.CLEAR, 0), *((State.PICKING_UP, t) for t in range(3)), (State.AWAITING_RESET, 0)]
    rising += [(State.DROPPING_OFF, 1), (State.DROPPING_OFF, 0), (State.TRIPPED, 0)]
    assert [levels.level(*state) for state in rising] == list(range(8))


@pytest.mark.parametrize("op", Op)
def test_every_operator_has_a_meaning_and_a_form_in_every_dialect(op: Op) -> None:
    leaf = op in (Op.CONST, Op.INPUT, Op.STATE)
    assert (MEANING[op] is None) is leaf
    for dialect in (SCALAR, ARRAYS):
        assert (op in dialect.forms) is not leaf


def random_program(rng: random.Random) -> tuple[Program, set[Op]]:
    """A program of random nodes with a few slots, everything observed; and the operators it has."""
    b = Builder()
    integers = [b.input(Input(InputKind.ELEMENT, f"i{k}", -5, 5)) for k in range(INTEGERS)]
    booleans = [b.input(Input(InputKind.LINE, f"b{k}")) for k in range(BOOLEANS)]
    counter = b.slot(Slot(SlotKind.AGE, "n", False, -4, 4, 0))
    flag = b.slot(Slot(SlotKind.ON, "f", True, 0, 1, 1))
    integers += [counter, *(b.constant(v) for v in (-1, 0, 2))]
    booleans += [flag, b.true, b.false]
    for _ in range(40):
        p, q, r = (rng.choice(booleans) for _ in range(3))
        x, y = (rng.choice(integers) for _ in range(2))
        number = [
            b.add(x, y),
            b.scale(x, rng.choice((-2, -1, 0, 1, 3))),
            b.smaller(x, y),
            b.larger(x, y),
            b.select(p, x, y),
            b.count((p, q, r)),
        ]
        truth = [
            b.negate(p),
            b.both(p, q, r),
            b.any_of(p, q, r),
            b.at_most(x, y),
            b.equal(x, y),
            b.equal(p, q),
            b.select(p, q, r),
        ]
        if rng.random() < 0.5:
            integers.append(b.smaller(b.larger(rng.choice(number), b.constant(-50)), b.constant(50)))
        else:
            booleans.append(rng.choice(truth))
    b.leave(counter, b.smaller(b.larger(integers[-1], b.constant(-4)), b.constant(4)))
    b.leave(flag, booleans[-1])
    for k, node in enumerate(dict.fromkeys([*integers, *booleans])):
        b.observe(Observe.LEVEL, f"o{k}", node)
    program = b.finish({})
    return program, {node.op for node in program.nodes}


@settings(max_examples=200, deadline=None)
@given(st.randoms(use_true_random=False))
def test_every_form_of_a_random_program_gives_the_same(rng: random.Random) -> None:
    program, _ = random_program(rng)
    scan, many, state = scan_function(program), ManyScenarios(program, 3), [program.initial] * 3
    for _ in range(5):
        worlds = [[rng.randint(-9, 9) if not d.boolean else rng.random() < 0.5 for d in program.inputs] for _ in state]
        told = many.scan([np.array(column) for column in zip(*worlds, strict=True)] if program.inputs else [])
        for k, inputs in enumerate(worlds):
            following, meant = program.interpret(state[k], inputs)
            assert scan(state[k], inputs) == (following, meant)
            assert [int(values[k]) for values in told] == list(meant)
            assert [int(values[k]) for values in many.state] == list(following)
            for o, value in zip(program.observations, meant, strict=True):
                assert program.nodes[o.node].low <= value <= program.nodes[o.node].high
            state[k] = following


def test_random_programs_use_every_operator() -> None:
    used = set().union(*(random_program(random.Random(seed))[1] for seed in range(20)))
    assert used == set(Op)


WORLDS = list(itertools.product((-5, -1, 0, 1, 5), (-5, 0, 2), (0, 1), (0, 1)))  # of x, y, p and q below


@dataclass(frozen=True)
class Known:
    """A node and what it must give in each of WORLDS."""

    node: int
    values: tuple[int, ...]


@pytest.mark.parametrize("seed", range(60))
def test_folding_changes_no_value(seed: int) -> None:
    """The same random expressions, built with all simplifications, and computed beside it in every world."""
    rng = random.Random(seed)
    b = Builder()
    names = ("x", "y", "p", "q")
    ranges = {"x": (-5, 5), "y": (-5, 2)}
    inputs = [
        b.input(Input(InputKind.ELEMENT, n, *ranges[n]) if n in ranges else Input(InputKind.LINE, n)) for n in names
    ]
    of_inputs = [Known(node, tuple(world[k] for world in WORLDS)) for k, node in enumerate(inputs)]
    numbers = of_inputs[:2] + [Known(b.constant(v), (v,) * len(WORLDS)) for v in (-5, 0, 1, 2)]
    truths = of_inputs[2:] + [Known(b.truth(bool(v)), (v,) * len(WORLDS)) for v in (0, 1)]
    wanted: list[Known] = []
    for _ in range(60):
        (p, q, r), (x, y) = rng.choices(truths, k=3), rng.choices(numbers, k=2)
        on_truths = list(zip(p.values, q.values, r.values, strict=True))
        on_numbers = list(zip(x.values, y.values, strict=True))
        truth = [
            Known(b.negate(p.node), tuple(1 - a for a in p.values)),
            Known(b.both(p.node, q.node, r.node), tuple(a & c & d for a, c, d in on_truths)),
            Known(b.any_of(p.node, q.node, r.node), tuple(a | c | d for a, c, d in on_truths)),
            Known(b.equal(p.node, q.node), tuple(int(a == c) for a, c, _ in on_truths)),
            Known(b.select(p.node, q.node, r.node), tuple(c if a else d for a, c, d in on_truths)),
            Known(b.at_most(x.node, y.node), tuple(int(a <= c) for a, c in on_numbers)),
            Known(b.equal(x.node, y.node), tuple(int(a == c) for a, c in on_numbers)),
        ]
        chosen = list(zip(p.values, on_numbers, strict=True))
        number = [
            Known(b.add(x.node, y.node), tuple(a + c for a, c in on_numbers)),
            Known(b.minus(x.node, y.node), tuple(a - c for a, c in on_numbers)),
            Known(b.scale(x.node, -3), tuple(-3 * a for a in x.values)),
            Known(b.smaller(x.node, y.node), tuple(min(both) for both in on_numbers)),
            Known(b.larger(x.node, y.node), tuple(max(both) for both in on_numbers)),
            Known(b.select(p.node, x.node, y.node), tuple(a if t else c for t, (a, c) in chosen)),
        ]
        truths.append(rng.choice(truth))
        numbers.append(rng.choice(number))
        wanted += truth + number
    for k, known in enumerate(wanted):
        b.observe(Observe.LEVEL, str(k), known.node)
    program = b.finish({})
    for k, world in enumerate(WORLDS):
        by_name = dict(zip(names, world, strict=True))
        _, told = program.interpret((), [by_name[declared.name] for declared in program.inputs])
        assert list(told) == [known.values[k] for known in wanted]


@pytest.mark.parametrize("count", range(1, 11))
def test_the_comparators_sort(count: int) -> None:
    """A network that sorts all zeros and ones sorts everything (Knuth, The Art of Computer Programming 3, 5.3.4 Z)."""
    network = list(comparators(count))
    for values in itertools.product((0, 1), repeat=count):
        ordered = list(values)
        for i, j in network:
            assert i < j
            ordered[i], ordered[j] = min(ordered[i], ordered[j]), max(ordered[i], ordered[j])
        assert ordered == sorted(values)


def test_an_input_beyond_its_range_counts_as_its_end() -> None:
    b = Builder()
    b.observe(Observe.NUMERATOR, "x", b.input(Input(InputKind.ELEMENT, "x", -5, 5)))
    program = b.finish({})
    for value, counts in ((-(10**18), -5), (-6, -5), (-5, -5), (5, 5), (6, 5), (10**18, 5)):
        assert program.interpret((), (value,))[1] == (counts,)
        assert scan_function(program)((), (value,))[1] == (counts,)
        assert ManyScenarios(program, 2).scan([value])[0].tolist() == [counts, counts]


@pytest.mark.parametrize(("times", "fits"), [(2**62 - 1, True), (2**62, False)])
def test_numbers_that_need_more_than_64_bits_are_refused_side_by_side(times: int, fits: bool) -> None:
    b = Builder()
    b.observe(Observe.NUMERATOR, "x", b.scale(b.input(Input(InputKind.ELEMENT, "x", 0, 2)), times))
    program = b.finish({})
    assert scan_function(program)((), (2,))[1] == (2 * times,)
    if fits:
        assert ManyScenarios(program, 1).scan([2])[0].tolist() == [2 * times]
    else:
        with pytest.raises(TooLargeError, match="more than 64 bits"):
            ManyScenarios(program, 1)


@pytest.mark.parametrize("dialect", [SCALAR, ARRAYS])
def test_emitted_source_holds_no_word_but_its_own(dialect: Dialect) -> None:
    b = Builder()
    line = b.input(Input(InputKind.LINE, "__import__('os').abort()"))
    level = b.slot(Slot(SlotKind.ON, "s; exit()", True, 0, 1, 0))
    b.leave(level, b.any_of(level, line))
    b.observe(Observe.ON, "x = 1\n", b.both(level, line))
    words = set(re.findall(r"[^\W\d]\w*", function_source(b.finish({}), dialect)))
    assert {re.sub(r"\d+$", "", word) for word in words} <= {
        *("def", "scan", "s", "x", "v", "return", "and", "or", "not", "if", "else", "del"),
        *("True", "False", "where", "minimum", "maximum"),
    }


def test_a_deep_expression_is_no_deeper_than_python_can_read() -> None:
    b = Builder()
    x, y = (b.input(Input(InputKind.ELEMENT, name, 0, 5)) for name in "xy")
    node = x
    for _ in range(3000):
        node = b.minus(y, node)
    b.observe(Observe.NUMERATOR, "x", b.add(node, x))
    program = b.finish({})
    assert len(program.nodes) > 6000
    assert program.interpret((), (3, 1))[1] == (6,)
    assert scan_function(program)((), (3, 1))[1] == (6,)
    assert ManyScenarios(program, 1).scan([3, 1])[0].tolist() == [6]
