"""What `interlock prove` costs: the hut, delays of any length, spin on the same claims, a large plant.

Run `python tests/benchmarks/bench_prove.py [--only hut|large|spin] [--repeats N]` in an environment with `.[dev]`;
spin's part needs the programs `spin` and `gcc`. About six minutes on an idle machine, of which spin takes five.

* hut: the command `interlock prove rules/alpine_hut.yaml`, whole processes from start to end, by the clock on the wall
  and in processor time; then the same file with every time but the scan × 100, in turns with the first. The ratio is
  that of the medians. Both must come to the same verdicts.
* large: the same command on 2,000 rules on 400 paths, with the peak memory of its process.
* spin: one claim at a time, the healthy claims of the reference's bench and of the hut. spin: writing the model, `spin
  -a`, `gcc -O1`, the runs of the verifier. The prover: a whole verdict with margins and trace, in this process. spin
  explores each state of each delay, so all times but the scan are divided for both (rounded up to whole scans), by one
  number for a scheme; what it does not finish in its time stands apart, with the time it had. Where it does finish, the
  longest runs must be equal, and all its processes are run again for the median.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from interlock.proof.prove import Outcome, prove  # noqa: E402
from interlock.scheme.model import Claim, Rule, Scheme  # noqa: E402
from interlock.scheme.read import load  # noqa: E402
from tests.support.large import large_scheme  # noqa: E402
from tests.support.spin_model import Opinion, Timing, scaled, timed  # noqa: E402

HUT = ROOT / "rules" / "alpine_hut.yaml"
HUT_S, LONGER = 1.0, 1.5  # the goals
LARGE_S, LARGE_MIB = 60, 1024
SPIN = 20
SCHEMES = (("interlock/reference/bench.yaml", 300), ("rules/alpine_hut.yaml", 300))  # and by what times are divided
TIME = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?)(?= (?:ms|s|min|h)\b)")


@dataclass(frozen=True)
class Process:
    """One whole process: seconds on the wall and of the processor, the most memory it had, its exit status."""

    wall_s: float
    cpu_s: float
    peak_mib: float
    status: int


def proved(file: Path) -> Process:
    """`interlock prove FILE`, its output thrown away."""
    with open(os.devnull, "w", encoding="utf-8") as nowhere:
        started = time.perf_counter()
        child = subprocess.Popen([sys.executable, "-m", "interlock", "prove", str(file)], cwd=ROOT, stdout=nowhere)
        _, status, used = os.wait4(child.pid, 0)
        wall = time.perf_counter() - started
    child.returncode = os.waitstatus_to_exitcode(status)
    return Process(wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, child.returncode)


def verdicts(file: Path) -> dict[str, str]:
    """Each claim's verdict, as the command gives it."""
    command = [sys.executable, "-m", "interlock", "prove", "--json", str(file)]
    said = json.loads(subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False).stdout)
    return {claim["claim"]: claim["verdict"] for claim in said["claims"]}


def spread(values: Iterable[float]) -> str:
    """The median, and what it lies between."""
    known = sorted(values)
    return f"{statistics.median(known):.2f} s ({known[0]:.2f} to {known[-1]:.2f})"


def slower(text: str, factor: int) -> str:
    """A scheme's text with every time but the scan multiplied."""
    return "\n".join(
        line if line.startswith("scan:") else TIME.sub(lambda found: f"{Decimal(found[1]) * factor:f}", line)
        for line in text.splitlines()
    )


def hut(repeats: int, folder: Path) -> bool:
    """The hut as it is and with long delays; whether the goals are met."""
    long = folder / "alpine_hut_x100.yaml"
    long.write_text(slower(HUT.read_text(encoding="utf-8"), 100), encoding="utf-8")
    own, other = load(HUT), load(long)
    ratios = {b.trips.delay.scans / a.trips.delay.scans for a, b in _rules(own, other) if a.trips.delay.scans}
    assert ratios == {100}, "all delays are a hundred times as long"
    as_written, with_long = [], []
    for _ in range(repeats):
        as_written.append(proved(HUT))
        with_long.append(proved(long))
    found = verdicts(HUT)
    alike = found == verdicts(long)
    for name, runs in (("as written", as_written), ("times x 100", with_long)):
        print(f"  hut, {name}: wall {spread(r.wall_s for r in runs)}, processor {spread(r.cpu_s for r in runs)}")
    wall = statistics.median(r.wall_s for r in as_written)
    ratio = statistics.median(r.wall_s for r in with_long) / wall
    cpu = statistics.median(r.cpu_s for r in with_long) / statistics.median(r.cpu_s for r in as_written)
    counts = ", ".join(f"{n} {v}" for v in sorted(set(found.values())) for n in [list(found.values()).count(v)])
    print(f"  hut: {len(found)} claims ({counts}), the same with times x 100: {'yes' if alike else 'NO'}")
    print(f"  hut: {wall:.2f} s (goal under {HUT_S:g} s)")
    print(f"  times x 100 against as written: {ratio:.2f} (goal under {LONGER:g}); in processor time {cpu:.2f}")
    return alike and wall < HUT_S and ratio < LONGER


def _rules(one: Scheme, other: Scheme) -> Iterable[tuple[Rule, Rule]]:
    return zip(one.rules.values(), other.rules.values(), strict=True)


def large(repeats: int, folder: Path) -> bool:
    """A large plant; whether the goals are met."""
    file = folder / "large.yaml"
    file.write_text(large_scheme(2000, 400), encoding="utf-8")
    scheme = load(file)
    runs = [proved(file) for _ in range(repeats)]
    wall, peak = statistics.median(r.wall_s for r in runs), max(r.peak_mib for r in runs)
    print(f"  {len(scheme.rules)} rules on {len(scheme.paths)} paths, {len(scheme.claims)} claims: wall", end=" ")
    print(f"{spread(r.wall_s for r in runs)}, processor {spread(r.cpu_s for r in runs)}, at most {peak:.0f} MiB")
    print(f"  {wall:.1f} s (goal under {LARGE_S} s), {peak:.0f} MiB (goal under {LARGE_MIB} MiB)")
    return all(r.status == 0 for r in runs) and wall < LARGE_S and peak < LARGE_MIB


# --- spin


@dataclass(frozen=True)
class Measured:
    """One claim: median seconds of both, and whether they agree."""

    spin: Timing
    spin_s: float
    prover_s: float
    agree: bool


def measure(scheme: Scheme, claim: Claim, seconds: float, repeats: int) -> Measured:
    """The claim by both; spin is asked again only where it finished."""
    spins = [timed(scheme, claim, seconds=seconds)]
    if spins[0].opinion is not None:
        spins += [timed(scheme, claim, seconds=seconds) for _ in range(repeats - 1)]
    took = []
    for _ in range(repeats):
        started = time.perf_counter()
        found = prove(scheme, claim)
        took.append(time.perf_counter() - started)
    opinion = spins[0].opinion
    same = opinion is None or _figure(scheme, claim, opinion) == (
        "vacuous" if found.outcome is Outcome.VACUOUS else str(None if found.endless else found.scans)
    )
    return Measured(spins[0], statistics.median(s.total_s for s in spins), statistics.median(took), same)


def _figure(scheme: Scheme, claim: Claim, opinion: Opinion) -> str:
    return "vacuous" if opinion.verdict(scheme, claim) == "vacuous" else str(opinion.n)


def spin(name: str, divisor: int, seconds: float, repeats: int) -> bool:
    """The claims of a scheme by both; whether they agree and the goal is met where spin finished."""
    scheme = scaled(load(ROOT / name), divisor)
    prove(scheme, scheme.claims[0])  # imports and first calls are not the claims'
    print(f"  {name}, times / {divisor}:")
    done: list[Measured] = []
    rest: list[Measured] = []
    for claim in scheme.claims:
        one = measure(scheme, claim, seconds, repeats)
        (done if one.spin.opinion else rest).append(one)
        states = f"{one.spin.opinion.states} states" if one.spin.opinion else f"not within {seconds:g} s"
        print(
            f"    {claim.name}: spin {one.spin.generate_s:.2f} + {one.spin.compile_s:.2f} + {one.spin.run_s:.2f} s,"
            f" {states}; prover {1000 * one.prover_s:.1f} ms; ratio {one.spin_s / one.prover_s:.0f}"
            f"{'' if one.agree else '; THEY DIFFER'}",
            flush=True,
        )
    good = all(one.agree for one in done)
    for what, some in (("finished by spin", done), (f"that spin leaves after {seconds:g} s each", rest)):
        spin_s, prover_s = sum(m.spin_s for m in some), sum(m.prover_s for m in some)
        if some:
            least = "" if some is done else "at least "
            print(f"    {len(some)} of {len(scheme.claims)} claims {what}: spin {spin_s:.1f} s, prover", end=" ")
            print(f"{prover_s:.3f} s, ratio {least}{spin_s / prover_s:.0f} (goal {SPIN})")
        good = good and (some is rest or spin_s >= SPIN * prover_s)
    return good


PARTS = ("hut", "large", "spin")


def main() -> int:
    """Print the figures; 0 where every goal is met and all agree, else 1."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--only", choices=PARTS, action="append", help="this part alone; may be repeated")
    options.add_argument("--repeats", type=int, default=5, help="how often each is run for its median")
    options.add_argument("--seconds", type=float, default=3, help="the time that spin's verifier is given for a claim")
    options.add_argument("--divisor", type=int, help="by what spin's part divides the times")
    given = options.parse_args()
    parts: Sequence[str] = given.only or PARTS
    load_now = os.getloadavg()[0]
    print(
        f"Python {platform.python_version()}, {os.cpu_count()} processors, load {load_now:.1f} at the start;", end=" "
    )
    print(f"medians of {given.repeats} runs (least to most)")
    good = True
    with tempfile.TemporaryDirectory(prefix="bench_prove") as folder:
        for title, part, run in (
            ("interlock prove, whole processes, all claims with margins:", "hut", hut),
            ("a large plant, whole processes:", "large", large),
        ):
            if part in parts:
                print(title, flush=True)
                good = run(given.repeats, Path(folder)) and good
    if "spin" in parts:
        print("spin (model written + spin -a, compiled, run; median of the sums) against the prover, claim by claim:")
        for name, divisor in SCHEMES:
            good = spin(name, given.divisor or divisor, given.seconds, given.repeats) and good
    print("all goals met" if good else "NOT ALL GOALS MET")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
