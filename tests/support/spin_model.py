"""Claims judged by spin: a scheme, a claim and a fault set as a Promela model, generated, compiled and run.

Needs the programs `spin` (Debian: spin) and a C compiler. Several jobs share one model, so that they share one
compilation: each is a proctype of its own, and the one to run is named when the verifier is started.

Two exhaustive runs tell the longest run of bad scans exactly. The first looks for an acceptance cycle: the process may
commit itself to bad scans only, so a cycle of them is a run without end. Where there is none, the second counts, and
reports the highest count of all reachable states.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from interlock.records import replace
from interlock.scheme.model import Claim, Delay, Fault, Scheme, Trigger
from tests.support.spin_cells import NotEncoded
from tests.support.spin_write import Process

__all__ = ["Job", "NotEncoded", "Opinion", "SpinError", "Timing", "fits", "judge", "judge_all", "scaled", "timed"]

_HEAD = """c_decl { extern void note(int, int); extern void longest(int); };
c_code {
  static int met_seen = 0, may_seen = 0, longest_seen = 0;
  void note(int met, int may)
  { if (met && !met_seen) { met_seen = 1; printf("MET\\n"); }
    if (may && !may_seen) { may_seen = 1; printf("MAY\\n"); } }
  void longest(int run)
  { if (run > longest_seen) { longest_seen = run; printf("RUN %d\\n", run); }
    if (run > 32000) { printf("RUN too long to count\\n"); exit(3); } }
};
"""
_INIT = """init { byte job, endless;
  c_code { Pinit->job = atoi(getenv("SPIN_JOB")); Pinit->endless = atoi(getenv("SPIN_ENDLESS")); };
  if
%s
  fi
}
"""
# One process: no partial order to reduce. Locals of a process have no bounds worth a check at each step.
_COMPILE = ("-w", "-DNOREDUCE", "-DNOFAIR", "-DNOBOUNDCHECK", "-DMEMLIM=1500")
_DEPTHS = (50_000, 2_000_000, 40_000_000)  # steps of the depth-first search: its stack is laid out before it starts


class SpinError(Exception):
    """spin, the compiler or the verifier failed, or the search did not finish: what it said. Never a verdict."""


@dataclass(frozen=True)
class Job:
    """One question: this claim of this scheme under these faults."""

    scheme: Scheme
    claim: Claim
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True)
class Opinion:
    """n: the longest run of bad scans, None where it has no end. `condition_met`, `path_could`: seen in any behaviour.

    `states`: those stored by the run that counted (0 where there was no need to count).
    """

    n: int | None
    condition_met: bool
    path_could: bool
    states: int

    def verdict(self, scheme: Scheme, claim: Claim) -> str:
        """holds, violated or vacuous."""
        if not (self.condition_met and self.path_could):
            return "vacuous"
        return "holds" if self.n is not None and fits(scheme, claim, self.n) else "violated"


@dataclass(frozen=True)
class Timing:
    """Wall-clock seconds of one job alone, and what it found (None: not within the time)."""

    generate_s: float
    compile_s: float
    run_s: float
    opinion: Opinion | None

    @property
    def total_s(self) -> float:
        """Generate, compile and run."""
        return self.generate_s + self.compile_s + self.run_s


def fits(scheme: Scheme, claim: Claim, n: int) -> bool:
    """Whether a longest run of n bad scans is within what the claim allows."""
    return (n + claim.adds_a_scan) * scheme.scan_us <= claim.longer_than.us


def model_text(jobs: Sequence[Job]) -> str:
    """The Promela text of some jobs. Raises NotEncoded."""
    return _whole([Process(job.scheme, job.claim, job.faults, i).text() for i, job in enumerate(jobs)])


def _whole(processes: Sequence[str]) -> str:
    starts = "\n".join(f"  :: job == {i} -> run job{i}(endless)" for i in range(len(processes)))
    return _HEAD + "\n".join(processes) + "\n" + _INIT % starts


def judge(scheme: Scheme, claim: Claim, faults: Sequence[Fault] = ()) -> Opinion:
    """One claim alone. Raises NotEncoded, SpinError."""
    return judge_all([Job(scheme, claim, tuple(faults))])[0]


def judge_all(jobs: Sequence[Job], *, seconds: float = 120) -> list[Opinion]:
    """Several jobs in one model, so that they share one compilation; those with the very same text (a fault of a part
    that the claim does not depend on) are run once. Raises NotEncoded, SpinError."""
    if not jobs:
        return []
    texts = [Process(job.scheme, job.claim, job.faults, 0).text() for job in jobs]
    alone = dict(zip(texts, jobs, strict=True))
    with tempfile.TemporaryDirectory(prefix="spin") as folder:
        _generate(Path(folder), model_text(list(alone.values())))
        _compile(Path(folder))
        found = {text: _run(Path(folder), i, seconds) for i, text in enumerate(alone)}
    return [found[text] for text in texts]


def timed(scheme: Scheme, claim: Claim, faults: Sequence[Fault] = (), *, seconds: float = 60) -> Timing:
    """One claim alone, each stage with its time; no opinion where the run needs more than `seconds` or its memory.

    The writing of the Promela text counts as generating. Raises NotEncoded, and SpinError where a tool is missing.
    """
    with tempfile.TemporaryDirectory(prefix="spin") as folder:
        started = time.perf_counter()
        _generate(Path(folder), model_text([Job(scheme, claim, tuple(faults))]))
        generated = time.perf_counter()
        _compile(Path(folder), "-O1")
        compiled = time.perf_counter()
        opinion: Opinion | None
        try:
            opinion = _run(Path(folder), 0, seconds)
        except SpinError:
            opinion = None
        return Timing(generated - started, compiled - generated, time.perf_counter() - compiled, opinion)


def scaled(scheme: Scheme, divisor: int) -> Scheme:
    """The scheme with every time but the scan divided, for a checker whose cost grows with the delays. Each is rounded
    up to a whole scan, so that what takes time keeps taking some; exposures, and what is allowed, are others then."""

    def shorter(delay: Delay) -> Delay:
        scans = -(-delay.scans // divisor)
        return Delay(scans * scheme.scan_us, scans)

    def wait(trigger: Trigger) -> Trigger:
        return replace(trigger, delay=shorter(trigger.delay))

    rules = {
        name: replace(
            rule,
            trips=wait(rule.trips),
            clears=wait(rule.clears),
            override_at_most=rule.override_at_most and shorter(rule.override_at_most),
        )
        for name, rule in scheme.rules.items()
    }
    outputs = {
        name: replace(o, stops_within=shorter(o.stops_within), starts_within=shorter(o.starts_within))
        for name, o in scheme.outputs.items()
    }
    sensors = {
        name: replace(s, stale_after=s.stale_after and shorter(s.stale_after)) for name, s in scheme.sensors.items()
    }
    claims = tuple(replace(claim, longer_than=shorter(claim.longer_than)) for claim in scheme.claims)
    return replace(scheme, rules=rules, outputs=outputs, sensors=sensors, claims=claims)


def shown(processes: Sequence[str]) -> list[list[list[int]]]:
    """What scripted processes print: for each, scan by scan, the values. Raises SpinError."""
    with tempfile.TemporaryDirectory(prefix="spin") as folder:
        _generate(Path(folder), _whole(processes))
        _compile(Path(folder))
        said = [_search(Path(folder), i, False, 60) for i in range(len(processes))]
    lines = [[line.split()[2:] for line in one.splitlines() if line.startswith("AT ")] for one in said]
    return [[[int(value) for value in line] for line in one] for one in lines]


# --- the tools


def _tool(names: Iterable[str]) -> str:
    for name in names:
        if found := shutil.which(name):
            return found
    raise SpinError(f"none of {', '.join(names)} is installed (Debian packages: spin, gcc)")


def _generate(folder: Path, text: str) -> None:
    (folder / "model.pml").write_text(text)
    done = subprocess.run([_tool(["spin"]), "-a", "model.pml"], cwd=folder, capture_output=True, text=True, check=False)
    # spin reports faults of the text on stdout, and some with exit status 0
    if done.returncode or "Error" in done.stdout or "rror:" in done.stdout or not (folder / "pan.c").exists():
        raise SpinError(f"spin -a: {done.stdout[-2000:]}{done.stderr[-2000:]}")


def _compile(folder: Path, speed: str = "") -> None:
    """With that much optimisation, else as fast as can be: clang without any takes half the time of gcc without."""
    compiler = [_tool(["gcc", "cc"]), speed] if speed else [_tool(["clang", "gcc", "cc"]), "-O0"]
    done = subprocess.run(
        [*compiler, *_COMPILE, "-o", "pan", "pan.c"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise SpinError(f"the compiler: {done.stderr[-2000:]}")


def _run(folder: Path, job: int, seconds: float) -> Opinion:
    said = _search(folder, job, True, seconds)
    if "acceptance cycle" in said:
        return Opinion(None, condition_met=True, path_could=True, states=0)
    said = _search(folder, job, False, seconds)
    runs = [int(found) for found in re.findall(r"^RUN (\d+)$", said, re.MULTILINE)]
    stored = re.search(r"^\s*(\d+) states, stored", said, re.MULTILINE)
    if stored is None:
        raise SpinError(f"the verifier says nothing of its states: {said[-2000:]}")
    lines = said.splitlines()
    return Opinion(max(runs, default=0), "MET" in lines, "MAY" in lines, int(stored[1]))


def _search(folder: Path, job: int, endless: bool, seconds: float) -> str:
    """One exhaustive run; for endless runs it stops at the first cycle. Raises SpinError where it did not finish."""
    until = time.monotonic() + seconds
    for depth in _DEPTHS:
        said = _searched(folder, job, endless, depth, until - time.monotonic())
        if "acceptance cycle (at depth" in said:
            return said
        if "max search depth too small" in said:
            continue
        for trouble in ("out of memory", "Search not completed", "too long to count"):
            if trouble in said:
                raise SpinError(f"the verifier: {trouble}")
        if "errors: 0" not in said:
            raise SpinError(f"the verifier: {said[-2000:]}")
        return said
    raise SpinError(f"the verifier: over {_DEPTHS[-1]} steps deep")


def _searched(folder: Path, job: int, endless: bool, depth: int, seconds: float) -> str:
    options = ["-E", "-n", "-w18", f"-m{depth}", *(["-a"] if endless else [])]
    environment = {**os.environ, "SPIN_JOB": str(job), "SPIN_ENDLESS": str(int(endless))}
    try:
        done = subprocess.run(
            ["./pan", *options],
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
            env=environment,
            timeout=max(seconds, 0.1),
        )
    except subprocess.TimeoutExpired as late:
        raise SpinError("the verifier ran out of its time") from late
    return done.stdout + done.stderr
