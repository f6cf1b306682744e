"""Further runs: what one run leaves is shown by another, planned for that alone; and what an interrupt leaves."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from interlock.cli.render import Progress
from interlock.cli.status import Exit
from interlock.cli.vectors import vectors
from interlock.export.unit import UnitCode, unit_code
from interlock.scheme.read import load, loads
from interlock.vectors.bound import bound
from interlock.vectors.generate import further_run, generate, with_runs
from interlock.vectors.goals import Goal, GoalKind, Goals
from interlock.vectors.inputs import Inputs
from interlock.vectors.planner import Planner
from interlock.vectors.record import Run, read_json_lines
from interlock.vectors.spine import Hold, spine
from interlock.vectors.timeline import tracked
from tests.support.quick import QUICK_BENCH

HUT = Path(__file__).parents[2] / "rules" / "alpine_hut.yaml"


@cache
def board() -> UnitCode:
    return unit_code(loads(QUICK_BENCH), "board", "bench.yaml")


def _ran_out(holds: tuple[Hold, ...], below: float, above: float) -> tuple[int, int]:
    """The most scans on end below and above two values."""
    longest, now = [0, 0], [0, 0]
    for hold in holds:
        for i, met in enumerate((hold.value < below, hold.value > above)):
            now[i] = now[i] + hold.scans if met else 0
            longest[i] = max(longest[i], now[i])
    return longest[0], longest[1]


def test_the_charge_level_s_shortest_way_has_the_delays_of_the_hut_side_by_side() -> None:
    """By hand: 15 min below 30 % (generator_call trips), 10 min above 55 % (comfort_shed clears while the generator is
    still called, so the first of them not above 60 %), the last 5 min of these above 60 % (the call ends, a little
    later), 5 min below 40 % (comfort_shed trips): 30 min and a few seconds, of which the bound is 30 min."""
    inputs = Inputs(unit_code(load(HUT), "board", "hut.yaml"))
    (lane,) = [lane for lane in inputs.lanes if lane.sensors == ("shunt",)]
    holds = spine(inputs, lane)
    assert bound(inputs.code).scans <= sum(hold.scans for hold in holds) <= 18_200
    assert _ran_out(holds, 30_000, 60_000) >= (9000, 3000)
    assert _ran_out(holds, 40_000, 55_000) >= (9000, 6000)
    assert holds[-1].value < 40_000
    assert holds[-1].scans >= 3000
    middle = next(hold for hold in holds if 55_000 < hold.value <= 60_000)
    assert middle.scans >= 3000  # comfort_shed is clear for a while before the call has ended


def test_what_is_put_in_between_leaves_all_that_follows_as_it_was_so_much_later() -> None:
    planner = Planner(board(), 5000)
    track = planner.plan()
    planner.most = 2 * track.needed
    drive = next(d for d in planner.drives.of("cold_stop", True) if d.lane.sensors)
    moments = [m for m in planner.moments() if track.needed // 3 < m < track.needed]
    assert len(moments) > 20
    for moment in moments[::5]:
        put = planner.prolonged(drive, moment)
        assert put is not None
        longer = tracked(planner.watcher, put.plan, track.rest)
        by = max(put.plan.patches) - max(track.plan.patches)
        assert by > drive.delay
        assert all(longer.given(s) == track.given(s) for s in range(moment))
        assert all(longer.given(s + by) == track.given(s) for s in range(moment, track.needed))
        assert put.plan.cycles == {c + by if c >= moment else c for c in track.plan.cycles}
        # meanwhile nothing but the lane is touched, and the lane is back before all goes on
        lane, held = set(drive.lane.places), track.given(moment - 1)
        for given in (longer.given(s) for s in range(moment, moment + by)):
            assert all(value == held[i] for i, value in enumerate(given) if i not in lane)
        assert all(longer.given(moment + by - 1)[i] == track.given(moment)[i] for i in lane)
        reached = planner.watcher.slot["cold_stop"], planner.watcher.levels["cold_stop"].awaiting
        assert any(longer.before(s).slots[reached[0]] >= reached[1] for s in range(moment, moment + by + 1))


def shown(run: Run) -> set[Goal]:
    """What a run shows by itself, counted again from its scans."""
    code = board()
    first = generate(code)
    return set(with_runs(code, first, [run]).reached)


def test_a_further_run_shows_what_it_was_made_for_in_fewer_scans_than_all_takes() -> None:
    code = board()
    wanted = tuple(
        goal
        for goal in Goals(code).all
        if goal.kind is GoalKind.BESIDE or (goal.kind is GoalKind.DELAY and goal.rule == "cold_stop")
    )
    run = further_run(code, wanted, 5000, lambda _: None)
    assert run is not None
    assert set(wanted) <= shown(run)
    assert len(run.vectors) < generate(code).scans


def test_no_further_run_is_made_where_there_is_no_room_for_it() -> None:
    code = board()
    assert further_run(code, Goals(code).all, 20, lambda _: None) is None


def test_vectors_that_someone_interrupts_are_those_planned_by_then() -> None:
    said = 0

    def interrupt(_: str) -> None:
        nonlocal said
        said += 1
        if said == 6:
            raise KeyboardInterrupt

    planned = generate(board(), progress=interrupt)
    whole = generate(board())
    assert planned.interrupted
    assert not whole.interrupted
    assert 0 < len(planned.reached) < len(whole.reached)
    assert set(planned.reached) == shown(planned.runs[0])
    assert all("interrupted" in planned.why[goal].says for goal in planned.missed)


def test_an_interrupted_command_tells_and_writes_what_it_had(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    said = 0

    def interrupt(_self: Progress, _words: str) -> None:
        nonlocal said
        said += 1
        if said == 6:
            raise KeyboardInterrupt

    monkeypatch.setattr(Progress, "say", interrupt)
    scheme, to = tmp_path / "bench.yaml", tmp_path / "board.jsonl"
    scheme.write_text(QUICK_BENCH)
    assert vectors(scheme, "board", to, None, as_json=False) == Exit.INTERRUPTED
    out, err = capsys.readouterr()
    (run,) = read_json_lines(iter(to.read_text().splitlines()))
    assert f"these are the {len(run.vectors)} scans that were planned by then" in err
    assert "not shown when it was interrupted" in out
    assert "mutants" not in out


def test_a_line_of_progress_is_no_longer_than_the_terminal_is_wide(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A line that wraps can't be taken back: only its last row would be cleared."""
    monkeypatch.setenv("COLUMNS", "30")
    progress = Progress()
    progress.shown = True
    progress.say("19,474 scans, 76 goals left: hot_last_stop: transition")
    progress.say("short")
    lines = capsys.readouterr().err.split("\r\x1b[K")
    assert lines == ["", "19,474 scans, 76 goals left:…", "short"]
