"""`interlock inject`."""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Container, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from interlock.cli.inject_outputs import Suggested, Wanted, outputs, refusal
from interlock.cli.inject_proof_tests import SleepersTests, load, tests_of
from interlock.cli.opened import opened_text
from interlock.cli.render import BUILT_OTHERWISE, Progress, count_text, print_json, tell
from interlock.cli.status import Exit
from interlock.cli.study_file import file_digest
from interlock.draw.page import CAUTION
from interlock.explain.injection import harm
from interlock.explain.ways_out import told_ways_out
from interlock.faults.court import Court
from interlock.faults.effects import Effect, FaultEffect, Sign
from interlock.faults.inject import Study
from interlock.faults.inject import inject as study_of
from interlock.faults.journal import Journal
from interlock.faults.judge import BUDGET
from interlock.faults.parallel import Bench, BenchError, Cores, Here
from interlock.scheme.model import Scheme
from interlock.split import cores

KEPT = "What was judged is kept: `--resume` goes on."
PAIRS_SHOWN = 12  # of a claim, on a terminal; --json has all


def inject(
    file: Path,
    size: int,
    *,
    jobs: int | None,
    cluster: str,
    resume: bool,
    budget: int,
    wanted: Wanted,
    as_json: bool,
) -> int:
    """Judge every claim under every fault set up to a size. `jobs`: processes here; None, as 0, for one a core.
    `cluster`: the address of a dask scheduler whose workers judge instead."""
    refused = refusal(wanted, size)
    if cluster and jobs is not None:
        refused = "--jobs and --cluster: a study is judged either here or on a cluster; keep one of them"
    if refused:
        sys.stderr.write(f"{refused}\n")
        return Exit.BAD_INPUT
    scheme, source = opened_text(file, as_json=as_json)
    if not scheme.claims:
        sys.stderr.write(f"{file} has no requirements\n")
        return Exit.BAD_INPUT
    digest = file_digest(file)  # of what was read, whatever becomes of the file while sets are judged
    court, line = Court(scheme, budget or BUDGET), Progress()
    try:
        with _bench(court, jobs, cluster) as bench, journal_of(file, court, size, resume=resume) as journal:
            if resume:
                sys.stderr.write(
                    f"{count_text(journal.kept, 'answer')} taken up again\n" if journal else "nothing to resume\n"
                )
            study = study_of(scheme, size, bench, journal=journal, progress=partial(bar, line), aside=load)
            if journal is not None and not study.interrupted:
                journal.done()
    except BenchError as error:
        line.done()
        sys.stderr.write(f"{error}\n")
        return Exit.BAD_INPUT
    try:
        given = outputs(scheme, study, wanted)
    except OSError as error:
        sys.stderr.write(f"{error.filename} cannot be written: {error.strerror or error}\n")
        return Exit.BAD_INPUT
    tests = tests_of(scheme, study, jobs or cores())
    suggested = Suggested()
    if wanted.suggest and not study.interrupted:
        from interlock.cli.inject_suggest import suggestions

        suggested = suggestions(scheme, source, study, jobs=jobs or cores(), budget=budget or BUDGET)
    if as_json:
        print_json(study_json(file, digest, scheme, study, tests) | given.data | suggested.data)
    else:
        tell([*_told(scheme, study, tests), *given.lines, *suggested.lines, f"{CAUTION} {BUILT_OTHERWISE}"])
    if suggested.interrupted:
        sys.stderr.write("interrupted before all changes were tried and proved: what was found until then is told\n")
        return Exit.INTERRUPTED
    if study.interrupted:
        where = f" {KEPT}" if journal else ""
        sys.stderr.write(f"interrupted with {count_text(study.waiting, 'set')} not judged.{where}\n")
        return Exit.INTERRUPTED
    undecided = any(c.undecided for c in study.cut_sets)
    single = any(e.effect is Effect.VIOLATES for e in study.effects)
    return Exit.FINDING if single or undecided else Exit.GOOD


@contextmanager
def _bench(court: Court, jobs: int | None, cluster: str) -> Iterator[Bench]:
    """Where the sets are judged. Raises BenchError."""
    if cluster:
        from interlock.faults.cluster import Cluster

        with Cluster(court, cluster) as there:
            yield there
    else:
        yield Here(court) if jobs == 1 else Cores(court, jobs or cores())


@contextmanager
def journal_of(file: Path, court: Court, size: int, *, resume: bool) -> Iterator[Journal | None]:
    """The journal of this study, in the user's cache; None, with a word, where none can be kept. Where the bench fails,
    says that what was judged is kept."""
    from interlock import __version__

    study = hashlib.sha256(f"{__version__}\n{size}\n{court.budget}\n".encode() + file.read_bytes()).hexdigest()
    home = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    path = Path(home) / "interlock" / f"inject-{study[:16]}.journal"
    try:
        journal = Journal(path, study, list(court.scheme.faults), resume=resume)
    except OSError as error:
        sys.stderr.write(f"{path} cannot be written ({error.strerror or error}): an interrupted study starts anew\n")
        yield None
        return
    with journal:
        try:
            yield journal
        except BenchError as error:
            raise BenchError(f"{error}. {KEPT}") from error


def bar(line: Progress, judged: int, wanted: int) -> None:
    """How far a study is, on a line of a terminal."""
    width = 30
    done = width * judged // max(1, wanted)
    line.say(f"[{'=' * done}{' ' * (width - done)}] {judged} of {wanted} sets judged")
    if judged >= wanted:
        line.done()


# --- as data


def study_json(file: Path, digest: str, scheme: Scheme, study: Study, tests: SleepersTests) -> dict[str, Any]:
    """The study as plain data."""
    return {
        "scheme": str(file),
        "scheme_digest": digest,
        "size": study.size,
        "complete": not study.interrupted,
        "faults": [_effect_json(scheme, effect) | tests.data(effect) for effect in study.effects],
        "proof_tests": tests.common(),
        "cut_sets": {
            claim.name: [list(cut) for cut in found.minimal]
            for claim, found in zip(scheme.claims, study.cut_sets, strict=True)
        },
        "rests_on": {claim.name: list(found.near) for claim, found in zip(scheme.claims, study.cut_sets, strict=True)},
        "judged": study.judged,
        "sets": study.sets,
        "undecided": [
            {"claim": claim.name, "faults": list(u.faults), "reason": u.reason}
            for claim, found in zip(scheme.claims, study.cut_sets, strict=True)
            for u in found.undecided
        ],
        "not_judged": study.waiting,
        "not_protected": [c.name for c in scheme.not_protected],
        "excluded": [{"fault": e.fault, "reason": e.reason} for e in scheme.excluded],
        "rates": {name: {"per_hour": r.per_hour, "source": r.source} for name, r in scheme.rates.items()},
    }


def _effect_json(scheme: Scheme, effect: FaultEffect) -> dict[str, Any]:
    return {
        "fault": effect.fault,
        "arises": "at installation" if scheme.faults[effect.fault].installation else "in service",
        "effect": str(effect.effect),
        "violates": list(effect.violates),
        "revealed_by": [r.name for r in effect.revealed_by],
        "undecided": list(effect.undecided),
        "dangerous_with": [{"fault": p.fault, "claims": list(p.claims)} for p in effect.partners],
    }


# --- for people


def _told(scheme: Scheme, study: Study, tests: SleepersTests) -> Iterator[str]:
    yield from _single_points(scheme, study)
    yield from _combinations(scheme, study)
    yield from _sleeping(scheme, study, tests)
    yield from _rest(scheme, study)


def _single_points(scheme: Scheme, study: Study) -> Iterator[str]:
    """Those that can arise in service, each with what helps; then mistakes of installation, in a line each."""
    healthy = [c for c, f in zip(scheme.claims, study.cut_sets, strict=True) if () in f.minimal]
    for claim in healthy:
        yield f"{claim.name} is violated without any fault: see `interlock prove`."
    known = {c.name for c in healthy}
    found = [e for e in study.effects if e.effect is Effect.VIOLATES]
    mistakes = [e for e in found if scheme.faults[e.fault].installation]
    arising = [e for e in found if not scheme.faults[e.fault].installation]
    yield f"Single points of failure: {len(found)} of {count_text(len(study.effects), 'fault')}"
    yield f"That can arise in service: {len(arising)}"
    for effect in arising:
        yield from _single_point(scheme, study, effect, known)
    yield (
        f"Mistakes of installation: {len(mistakes)}. They are there from the beginning or never: a test before the pack"
        " is first energised has to find each of them"
    )
    for effect in mistakes:
        said = harm(scheme, effect, known)
        if said:
            yield f"  {effect.fault}: {said}."


def _single_point(scheme: Scheme, study: Study, effect: FaultEffect, known: Container[str]) -> Iterator[str]:
    said = harm(scheme, effect, known)
    if said:
        yield f"  {effect.fault}"
        yield f"    {said}."
        yield f"    {told_ways_out(scheme, study, effect)}"
        if effect.revealed_by:
            yield f"    It shows by: {_signs(scheme, effect)}."


_SIGN_WORDS = {
    Sign.SENSOR: "invalid readings of {}",
    Sign.ALARM: "the alarm of {}",
    Sign.CLAIM: "what should run being stopped ({})",
}
assert set(_SIGN_WORDS) == set(Sign), set(Sign) - set(_SIGN_WORDS)


def _signs(scheme: Scheme, effect: FaultEffect) -> str:
    path = {claim.name: claim.path for claim in scheme.claims}
    by_sign: dict[Sign, dict[str, None]] = {}
    for reveal in effect.revealed_by:
        by_sign.setdefault(reveal.sign, {})[path.get(reveal.name, reveal.name)] = None
    return "; ".join(_SIGN_WORDS[sign].format(", ".join(names)) for sign, names in by_sign.items())


def _combinations(scheme: Scheme, study: Study) -> Iterator[str]:
    for claim, found in zip(scheme.claims, study.cut_sets, strict=True):
        larger = [cut for cut in found.minimal if len(cut) > 1]
        if not larger:
            continue
        yield f"{claim.name}: {count_text(len(larger), 'minimal cut set')} of two faults or more"
        yield from (f"  {' + '.join(cut)}" for cut in larger[:PAIRS_SHOWN])
        if len(larger) > PAIRS_SHOWN:
            yield f"  and {len(larger) - PAIRS_SHOWN} more: --json lists them"


def _sleeping(scheme: Scheme, study: Study, tests: SleepersTests) -> Iterator[str]:
    by_effect: dict[Effect, list[FaultEffect]] = {}
    for effect in study.effects:
        by_effect.setdefault(effect.effect, []).append(effect)
    revealed = by_effect.get(Effect.REVEALED, [])
    if revealed:
        yield f"Revealed, and no worse: {count_text(len(revealed), 'fault')}"
        yield from (f"  {e.fault}: {_signs(scheme, e)}" for e in revealed)
    dormant = by_effect.get(Effect.DORMANT, [])
    if dormant:
        seconds = "" if study.size > 1 else "; --size 2 tells with which second faults they are dangerous"
        yield f"Dormant, nothing notices, not proved harmless: {count_text(len(dormant), 'fault')}{seconds}"
        for effect in dormant:
            yield f"  {effect.fault}" + (f": {_waits_for(effect)}" if study.size > 1 else "")
            yield from (f"    {line}" for line in tests.lines(effect))
        yield from (f"  {line}" for line in tests.begin())
    harmless = by_effect.get(Effect.HARMLESS, [])
    if harmless:
        yield "Harmless, proved to change no running path alone or with any one other fault: " + ", ".join(
            e.fault for e in harmless
        )
    undecided = by_effect.get(Effect.UNDECIDED, [])
    if undecided:
        yield f"Undecided: {count_text(len(undecided), 'fault')}"
        yield from (f"  {e.fault}: {', '.join(e.undecided)}" for e in undecided)


def _waits_for(effect: FaultEffect) -> str:
    if effect.partners:
        return "dangerous with " + ", ".join(p.fault for p in effect.partners)
    return "no second fault makes it dangerous"


def _rest(scheme: Scheme, study: Study) -> Iterator[str]:
    for claim, found in zip(scheme.claims, study.cut_sets, strict=True):
        for undecided in found.undecided:
            under = " + ".join(undecided.faults) or "no fault"
            yield f"UNDECIDED  {claim.name} under {under}: {undecided.reason}"
    for claim in scheme.not_protected:
        yield f"unprotected  {claim.name}: nothing switches {claim.path}: {scheme.paths[claim.path].unswitched}"
    for exclusion in scheme.excluded:
        yield f"left out: {exclusion.fault}: {exclusion.reason}"
    yield (
        f"{count_text(len(scheme.claims), 'claim')} under every set of up to {count_text(study.size, 'fault')}: "
        f"{study.judged} judged of {study.sets}, the others follow"
    )
