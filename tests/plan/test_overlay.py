"""Loops carried out side by side: each as it would be by itself, and nothing given two things at once."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from interlock.plan.candidates import Candidates
from interlock.plan.compose import Taken, draft, with_looks
from interlock.plan.hypotheses import Hypothesis
from interlock.plan.loops import NeverRests, Run, Trials
from interlock.plan.overlay import Job, Overlay
from interlock.plan.planner import Planner, silent
from interlock.plan.stimuli import Stimuli
from interlock.plan.uses import uses
from interlock.scheme.model import Scheme
from interlock.scheme.read import load, loads
from interlock.scheme.units import MICRO
from tests.support.random_schemes import SMALL, random_scheme_text

RULES = Path(__file__).parents[2] / "rules"


def overlay_of(scheme: Scheme, rng: random.Random) -> Overlay:
    """Some single changes of a scheme as loops, with what each tells of some faults."""
    stimuli = Stimuli(scheme)
    faults = [f for f in scheme.faults.values() if f.installation][:12]
    trials = Trials(stimuli, (Hypothesis("", ()), *(Hypothesis(f.name, (f,)) for f in faults)))
    candidates = Candidates(trials, silent)
    singles = candidates.singles()
    runs: list[Run] = [trials.begun, *trials.run([(s,) for s in rng.sample(singles, min(7, len(singles)))])]
    which = list(range(1, len(trials.hypotheses)))
    jobs = [Job(trials, r, [max(1, p.settles) for p in r.phases], which, begins=n == 0) for n, r in enumerate(runs)]
    return Overlay(trials, jobs, which, {})


@pytest.mark.parametrize("seed", range(10))
def test_each_loop_takes_its_course_whatever_is_beside_it(seed: int) -> None:
    rng = random.Random(seed)
    scheme = loads(random_scheme_text(rng, SMALL), f"random {seed}")
    try:
        overlay = overlay_of(scheme, rng)
    except NeverRests:
        pytest.skip("it never rests")
    placed = overlay.best()
    whole = overlay.seconds(placed)
    assert placed[0] == 0
    assert overlay.least <= whole <= sum(job.seconds for job in overlay.jobs)
    taken = overlay.phases(placed)
    assert sum(t.seconds for t in taken) == whole
    home = overlay.trials.home
    begun = 0
    for phase in taken:
        given: dict[tuple[str, int], object] = {}
        pressed = set()
        for n, job in enumerate(overlay.jobs):
            for p, run in enumerate(job.run.phases):
                if job.starts[p] <= begun - placed[n] < job.starts[p + 1]:
                    away: list[tuple[str, int, object]] = [
                        *(("sensor", i, v) for i, v in enumerate(run.spot.given) if v != home.given[i]),
                        *(("line", i, v) for i, v in enumerate(run.spot.lines) if v is not home.lines[i]),
                    ]
                    for kind, i, value in away:
                        assert (kind, i) not in given  # no other loop has it
                        given[kind, i] = value
                    if run.spot.press is not None and job.starts[p] == begun - placed[n]:
                        pressed.add(run.spot.press)
        assert {phase.spot.press} - {None} == pressed
        for i, value in enumerate(phase.spot.given):
            assert value == given.get(("sensor", i), home.given[i])
        for i, on in enumerate(phase.spot.lines):
            assert on is given.get(("line", i), home.lines[i])
        begun += phase.seconds


def test_what_is_seen_at_a_look_does_not_depend_on_the_looks_before_it() -> None:
    rng = random.Random(3)
    overlay = overlay_of(load(RULES / "survey_launch.yaml"), rng)
    trials = overlay.trials
    taken = [
        Taken(t.spot, tuple(sorted({1, max(1, t.seconds // 2), *t.looks})), t.told)
        for t in overlay.phases(overlay.best())
    ]
    whole = draft(trials, taken, hypotheses=trials.hypotheses)
    fewer, kept, at = [], set[int](), 0
    for phase in taken:
        chosen = [n for n in range(len(phase.looks)) if rng.random() < 0.5 or n == len(phase.looks) - 1]
        kept |= {at + n for n in chosen}
        at += len(phase.looks)
        fewer.append(Taken(phase.spot, tuple(phase.looks[n] for n in chosen), phase.told))
    one, other = with_looks(whole, kept), draft(trials, fewer, hypotheses=trials.hypotheses)
    assert at - len(kept) > 5
    assert one.steps == other.steps
    assert one.places == other.places
    assert (one.values == other.values).all()
    assert (one.tells == other.tells).all()


def test_an_input_is_left_alone_until_the_chain_of_rules_behind_it_has_let_go() -> None:
    """On the launch the thruster's lever leads to thruster_busy (30 s) and from there to thruster_limit (270 s)."""
    scheme = load(RULES / "survey_launch.yaml")
    trials = Trials(Stimuli(scheme), (Hypothesis("", ()),))
    assert trials.chains["thruster_lever"] * scheme.scan_us == 300 * MICRO
    lever = trials.stimuli.external.index("thruster_lever")
    assert uses(trials, trials.begun, begins=True)["line", lever].more >= 300


def test_what_goes_on_after_power_up_is_known() -> None:
    """A lever's rest that is longer than it should be still runs when a healthy installation is at rest."""
    planner = Planner(load(RULES / "survey_launch.yaml"))
    restless = {planner.hypotheses[i].name for i in planner.trials.restless}
    assert "thruster_limit.clear_delay_long" in restless
    assert "" not in restless
