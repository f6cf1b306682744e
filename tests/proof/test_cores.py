"""Claims judged on several cores are the claims judged on one."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from pathlib import Path

import pytest

from interlock import split
from interlock.proof import cores
from interlock.proof.prove import Verdict, prove, prove_all
from interlock.scheme.model import Claim, Scheme
from interlock.scheme.read import load
from interlock.scheme.words import Mode

# the runner of these tests may have a thread of its own, which waits meanwhile
pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")

RULES = Path(__file__).parents[2] / "rules"


@pytest.fixture(scope="module")
def hut() -> Scheme:
    return load(RULES / "alpine_hut.yaml")


@pytest.fixture(scope="module")
def alone(hut: Scheme) -> tuple[Verdict, ...]:
    return prove_all(hut)


@pytest.fixture(autouse=True)
def _split(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(split, "can_split", lambda: True)


def is_there(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def claims_of(scheme: Scheme) -> list[Claim]:
    return list(scheme.claims)


def test_verdicts_and_their_order_do_not_depend_on_the_cores(hut: Scheme, alone: tuple[Verdict, ...]) -> None:
    assert tuple(cores.proved(hut, claims_of(hut), jobs=3)) == alone


def test_a_process_that_is_ended_from_outside_costs_time_and_no_verdict(
    hut: Scheme, alone: tuple[Verdict, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    here = os.getpid()

    def ended_at_the_tenth(scheme: Scheme, claim: Claim, *rest: object, **more: object) -> Verdict:
        if os.getpid() != here and claim == hut.claims[9]:
            os.kill(os.getpid(), signal.SIGKILL)
        return prove(scheme, claim, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(cores, "prove", ended_at_the_tenth)
    assert tuple(cores.proved(hut, claims_of(hut), jobs=2)) == alone


@pytest.fixture
def at_work(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[[], list[str]]:
    """Which processes have judged, one for each claim."""

    def noted(scheme: Scheme, claim: Claim, *rest: object, **more: object) -> Verdict:
        (tmp_path / claim.name.replace("/", ".")).write_text(str(os.getpid()))
        return prove(scheme, claim, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(cores, "prove", noted)
    return lambda: [p.read_text() for p in tmp_path.iterdir()]


def test_several_processes_are_at_work(hut: Scheme, at_work: Callable[[], list[str]]) -> None:
    list(cores.proved(hut, claims_of(hut), jobs=2))
    assert str(os.getpid()) not in at_work()
    assert len(set(at_work())) == 2


def test_what_is_raised_there_is_raised_here(hut: Scheme) -> None:
    swaps = [f for f in hut.faults.values() if f.mode is Mode.SWAPPED and "K1" in f.parts][:2]
    with pytest.raises(ValueError, match="K1"):
        list(cores.proved(hut, claims_of(hut), swaps, jobs=2))


def test_no_process_is_left_when_nobody_wants_the_rest(hut: Scheme, monkeypatch: pytest.MonkeyPatch) -> None:
    there: list[int] = []
    fork = os.fork

    def noted() -> int:
        there.append(fork())
        return there[-1]

    monkeypatch.setattr(os, "fork", noted)
    verdicts = cores.proved(hut, claims_of(hut), jobs=2)
    next(verdicts)
    assert len(there) == 2
    assert all(is_there(pid) for pid in there)
    verdicts.close()
    assert not any(is_there(pid) for pid in there)


def test_more_claims_than_tickets_are_handed_out_in_shares(
    hut: Scheme, alone: tuple[Verdict, ...], monkeypatch: pytest.MonkeyPatch, at_work: Callable[[], list[str]]
) -> None:
    monkeypatch.setattr(split, "MOST_TICKETS", 5)
    assert tuple(cores.proved(hut, claims_of(hut), jobs=3)) == alone
    assert str(os.getpid()) not in at_work(), "none was left over"
