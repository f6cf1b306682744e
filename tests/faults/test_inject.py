"""Whole studies: effects by hand on the bench and edits of it, what is left out, interruptions and their resumption."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from interlock.faults.court import Answers, Batch, Court
from interlock.faults.effects import Effect, Sign
from interlock.faults.inject import Study, inject
from interlock.faults.journal import Journal
from interlock.faults.judge import BUDGET, Answer, Judge
from interlock.faults.parallel import Cores, Here
from interlock.proof.index import Index
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from tests.support.bench import BENCH, edited


def studied(scheme: Scheme, size: int) -> Study:
    return inject(scheme, size, Here(Court(scheme, BUDGET)))


@pytest.fixture(scope="module")
def bench() -> Scheme:
    return loads(BENCH, "bench.yaml")


@pytest.fixture(scope="module")
def pairs(bench: Scheme) -> Study:
    return studied(bench, 2)


def effect_of(study: Study, fault: str) -> tuple[Effect, dict[Sign, list[str]]]:
    found = next(e for e in study.effects if e.fault == fault)
    signs: dict[Sign, list[str]] = {}
    for reveal in found.revealed_by:
        signs.setdefault(reveal.sign, []).append(reveal.name)
    return found.effect, signs


SERVED = ["charging_served/bench_charger"]


@pytest.mark.parametrize(
    ("fault", "effect", "signs"),
    [
        ("K1.welded", Effect.VIOLATES, {}),
        ("K1.wire_broken", Effect.REVEALED, {Sign.CLAIM: SERVED}),
        ("probe.open", Effect.REVEALED, {Sign.SENSOR: ["probe"], Sign.CLAIM: SERVED}),
        ("low_tap.shorted", Effect.REVEALED, {Sign.SENSOR: ["low_tap"]}),
        # the lamp stays dark and no requirement says that it must be lit
        ("K2.wire_broken", Effect.DORMANT, {}),
        ("monitor_discharge_ok.broken", Effect.DORMANT, {}),
        # the button is seen pressed while nobody presses it; releasing it is the edge
        ("reset_button.inverted", Effect.DORMANT, {}),
    ],
)
def test_each_fault_leads_to_what_is_found_by_hand(
    pairs: Study, fault: str, effect: Effect, signs: dict[Sign, list[str]]
) -> None:
    assert effect_of(pairs, fault) == (effect, signs)


def test_no_fault_of_the_bench_is_undecided(pairs: Study) -> None:
    assert not [c for c in pairs.cut_sets if c.undecided]
    assert all(e.effect is not Effect.UNDECIDED for e in pairs.effects)


def test_a_second_stop_in_series_takes_a_weld_out_of_the_single_points_and_makes_it_a_sleeper() -> None:
    twice = loads(
        edited(
            (
                "  K2: {drives",
                "  K3: {drives: [bench_charger], contact: normally_open, runs_when: closed}\n  K2: {drives",
            )
        )
    )
    study = studied(twice, 2)
    assert effect_of(study, "K1.welded") == (Effect.DORMANT, {})
    found = next(e for e in study.effects if e.fault == "K1.welded")
    partners = {p.fault: p.claims for p in found.partners}
    both = ("frozen_charge/bench_charger", "overfull_charge/bench_charger")
    assert partners["K3.welded"] == partners["K3.ignored"] == both
    number = [c.name for c in twice.claims].index("frozen_charge/bench_charger")
    assert ("K1.welded", "K3.welded") in study.cut_sets[number].minimal


def test_a_part_that_no_path_depends_on_is_harmless_beside_any_other_fault() -> None:
    """A second probe is watched by a rule that only sounds an alarm. Exchanged with the first one it counts."""
    sensor = "  spare: {measures: {coldest_cell: -1 to 1 K}, valid: -35 to 90 degC}\n"
    rule = "  spare_low: {watches: spare, trips: below 0 degC, clears: above 1 degC, alarm: cold}\n"
    text = edited(("  low_tap:", f"{sensor}  low_tap:"), ("  hot_stop:", f"{rule}  hot_stop:"))
    scheme = loads(text[: text.index("cases:")])
    study = studied(scheme, 1)
    assert effect_of(study, "spare_low.omitted")[0] is Effect.HARMLESS
    assert effect_of(study, "spare.stuck")[0] is Effect.DORMANT, "beside an exchange with the probe it counts"
    assert effect_of(study, "spare.open") == (Effect.REVEALED, {Sign.SENSOR: ["spare"], Sign.ALARM: ["spare_low"]})


def test_a_sensor_whose_open_lead_reads_a_plausible_value_is_not_revealed_by_it() -> None:
    scheme = loads(edited(("    valid: -35 to 90 degC", "    valid: -35 to 90 degC\n    open_reads: 20 degC")))
    effect, signs = effect_of(studied(scheme, 1), "probe.open")
    assert effect is Effect.VIOLATES
    assert signs == {}


def test_a_stuck_sensor_shows_once_it_is_stale() -> None:
    scheme = loads(edited(("    valid: -35 to 90 degC", "    valid: -35 to 90 degC\n    stale_after: 5 s")))
    effect, signs = effect_of(studied(scheme, 1), "probe.stuck")
    assert (effect, signs) == (Effect.REVEALED, {Sign.SENSOR: ["probe"], Sign.CLAIM: SERVED})


def test_an_excluded_fault_is_in_no_cut_set() -> None:
    scheme = loads(BENCH + "faults:\n  K1.welded: {excluded: a contactor with mirror contacts}\n")
    study = studied(scheme, 1)
    assert "K1.welded" not in {e.fault for e in study.effects}
    assert all(("K1.welded",) not in c.minimal for c in study.cut_sets)


def test_the_result_does_not_depend_on_the_number_of_processes(bench: Scheme, pairs: Study) -> None:
    cores = Cores(Court(bench, BUDGET), 2)
    handed_out = 0

    class Counting:
        def answers(self, batches: Sequence[Batch]) -> Iterator[Answers]:
            nonlocal handed_out
            handed_out = max(handed_out, len(batches))
            return cores.answers(batches)

    assert inject(bench, 2, Counting()) == pairs
    assert handed_out > 4, "enough of them that other processes were asked"


class Stopping:
    """A place where judging is interrupted after so many batches."""

    def __init__(self, court: Court, after: int) -> None:
        self.court, self.left = court, after

    def answers(self, batches: Sequence[Batch]) -> Iterator[Answers]:
        for batch in batches:
            if not self.left:
                raise KeyboardInterrupt
            self.left -= 1
            yield self.court.answers(batch)


@pytest.mark.parametrize("after", [0, 1, 7, 11])
def test_an_interrupted_study_says_what_is_missing_and_goes_on_to_the_same_result(
    bench: Scheme, pairs: Study, tmp_path: Path, after: int
) -> None:
    path, court = tmp_path / "deep" / "journal", Court(bench, BUDGET)
    with Journal(path, "this", list(bench.faults), resume=False) as journal:
        part = inject(bench, 2, Stopping(court, after), journal=journal)
    assert part.interrupted
    assert part.waiting > 0
    if after < 11:  # by then every single fault has been judged, and pairs alone are missing
        assert {e.effect for e in part.effects} & {Effect.UNDECIDED}
    with Journal(path, "this", list(bench.faults), resume=True) as journal:
        assert journal.kept == part.judged
        assert inject(bench, 2, Here(court), journal=journal) == pairs
    judged_again = Stopping(court, 0)
    with Journal(path, "this", list(bench.faults), resume=True) as journal:
        assert inject(bench, 2, judged_again, journal=journal) == pairs, "all of it was kept"


def test_a_journal_cut_off_anywhere_gives_back_its_whole_lines(bench: Scheme, pairs: Study, tmp_path: Path) -> None:
    path, court, names = tmp_path / "journal", Court(bench, BUDGET), list(bench.faults)
    with Journal(path, "this", names, resume=False) as journal:
        assert inject(bench, 2, Here(court), journal=journal) == pairs
    content = path.read_bytes()
    rng = random.Random(7)
    for _ in range(12):
        path.write_bytes(content[: rng.randrange(len(content))] + rng.choice([b"", b"\xff", b"{}\n", b"\t00000000\n"]))
        with Journal(path, "this", names, resume=True) as journal:
            kept = journal.kept
            assert kept <= pairs.judged
            assert inject(bench, 2, Here(court), journal=journal) == pairs
        assert path.read_bytes()[-1:] == b"\n"


def test_another_studys_journal_is_not_taken_up(bench: Scheme, tmp_path: Path) -> None:
    path, names = tmp_path / "journal", list(bench.faults)
    with Journal(path, "this", names, resume=False) as journal:
        inject(bench, 1, Here(Court(bench, BUDGET)), journal=journal)
    with Journal(path, "this", names, resume=True) as journal:
        assert journal.kept > 0
    with Journal(path, "that", names, resume=True) as journal:
        assert journal.kept == 0


def run(*words: str, folder: Path) -> subprocess.Popen[str]:
    env = {**os.environ, "XDG_CACHE_HOME": str(folder)}
    command = [sys.executable, "-m", "interlock", "inject", *words, "--json", "--jobs", "1"]
    return subprocess.Popen(command, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_killed_at_any_moment_the_study_is_resumed_to_the_same_bytes(tmp_path: Path) -> None:
    scheme = tmp_path / "bench.yaml"
    scheme.write_text(BENCH, encoding="utf-8")
    words = (str(scheme), "--size", "3")
    started = time.monotonic()
    whole = run(*words, folder=tmp_path / "whole")
    expected = whole.communicate()[0]
    took = time.monotonic() - started
    assert json.loads(expected)["complete"] is True
    rng = random.Random(3)
    for attempt in range(2):
        cache = tmp_path / f"cache{attempt}"
        killed = 0
        for _ in range(12):
            process = run(*words, "--resume", folder=cache)
            started = time.monotonic()
            try:
                # Beside other tests the first run may have been slow: one that ends first says how long it takes now.
                process.wait(rng.uniform(0.3, 0.9) * took)
                took = min(took, time.monotonic() - started)
            except subprocess.TimeoutExpired:
                process.send_signal(signal.SIGKILL)
                killed += process.wait() == -signal.SIGKILL
            process.communicate()
            if killed == 3:
                break
        assert killed == 3
        kept = list((cache / "interlock").glob("*.journal")) if (cache / "interlock").exists() else []
        resumed = run(*words, "--resume", folder=cache)
        out, err = resumed.communicate()
        assert out == expected, err
        assert resumed.returncode == whole.returncode == 1
        assert not kept or "taken up again" in err
        assert not list((cache / "interlock").glob("*.journal")), "a finished study leaves nothing behind"


def test_an_exchange_that_closes_a_loop_has_no_meaning() -> None:
    """The stop that goes by the permit is told on a line of its own: where it reads that line in the permit's place, it
    would wait for itself. The catalogue leaves such an exchange out; asked for, it is neither violated nor undecided,
    however often."""
    echo = ("  reset_button: external", "  echo: {low_when: [full_stop]}\n  reset_button: external")
    told = "\n".join(
        f'  told_{n}: {{unit: {unit}, watches: echo, trips: off, clears: on, alarm: "full"}}'
        for n, unit in enumerate(("board", "cell_monitor"))
    )
    scheme = loads(edited(echo, ("\npaths:", f"{told}\n\npaths:")), "bench.yaml")
    exchanged = scheme.fault("monitor_charge_ok~echo.swapped")
    assert exchanged is not None
    assert exchanged.name not in scheme.faults
    judge = Judge(Index(scheme), next(c for c in scheme.claims if c.name == "overfull_charge/bench_charger"))
    for _ in range(2):
        ruling = judge.rule([exchanged])
        assert (ruling.answer, ruling.reason) == (Answer.MEANINGLESS, "full_stop → full_stop")
