"""What is missing in vectors is spliced into them: nothing that they showed or killed is lost, and hardly a scan is
added where they wait anyhow."""

from __future__ import annotations

from itertools import islice

import pytest

from interlock.export.unit import UnitCode, unit_code
from interlock.records import replace
from interlock.scheme.read import loads
from interlock.vectors.generate import generate, shown_by
from interlock.vectors.record import Run
from interlock.vectors.score import Fate, kills, scored
from interlock.vectors.strengthen import strengthened
from tests.support.bench import BENCH


@pytest.fixture(scope="module")
def board() -> UnitCode:
    return unit_code(loads(BENCH), "board", "bench.yaml")


@pytest.fixture(scope="module")
def whole(board: UnitCode) -> Run:
    (run,) = generate(board).runs
    return run


def without_limits(run: Run, step: int) -> Run:
    """The run with every probe reading that is a step from a limit of cold_stop moved a degree further: it trips and
    clears all the same, and its limits may be anywhere in between."""
    moved = {3_000_000 - step: 2_000_000, 5_000_000 + step: 6_000_000, 3_000_000: 4_000_000, 5_000_000: 4_000_000}
    vectors = [
        replace(
            v, readings={n: moved.get(x, x) if n == "probe" and x is not None else x for n, x in v.readings.items()}
        )
        for v in run.vectors
    ]
    return Run(tuple(vectors))


def test_limits_that_vectors_leave_open_are_spliced_into_their_waits(board: UnitCode, whole: Run) -> None:
    weak = without_limits(whole, board.steps.of["probe"])
    fates = list(scored(board, [weak]))
    survivors = [f for f in fates if f.fate is Fate.SURVIVED]
    assert {f.mutant.rule for f in survivors} == {"cold_stop"}
    assert len(survivors) >= 4  # each of two limits a step up and a step down
    (strong,), now = strengthened(board, [weak], fates, most=19_999)
    assert {f.fate for f in now} <= {Fate.KILLED, Fate.EQUIVALENT}
    for before, after in zip(fates, now, strict=True):
        if before.fate is Fate.KILLED:
            assert kills(board, before.mutant, [strong]) is not None
        assert after.at is None or kills(board, after.mutant, [strong]) == after.at
    assert shown_by(board, [weak]) <= shown_by(board, [strong])
    # their histories would be runs of hundreds of scans each
    assert all(sum(stretch.scans for stretch in f.history) > 100 for f in survivors)
    assert len(strong.vectors) - len(weak.vectors) < 100


def test_without_room_in_a_run_what_can_t_be_spliced_is_a_run_more(board: UnitCode, whole: Run) -> None:
    start = Run(whole.vectors[:40])
    fates = [f for f in islice(scored(board, [start]), 20) if f.fate is Fate.SURVIVED][::3]
    assert len(fates) >= 4
    runs, now = strengthened(board, [start], fates, most=len(start.vectors))
    assert len(runs) > 1
    assert len(runs[0].vectors) == len(start.vectors)
    assert {f.fate for f in now} <= {Fate.KILLED, Fate.EQUIVALENT}
    (longer, *_), _ = strengthened(board, [start], fates, most=19_999)
    assert len(longer.vectors) > len(start.vectors)
