"""What `interlock inject` costs: a whole study against spin run once for each claim and fault.

Run `python tests/benchmarks/bench_inject.py [--sets N] [--seconds S] [--only SCHEME]` in an environment with `.[dev]`;
needs the programs `spin` and `gcc`. About ten minutes on an idle machine.

The study: every claim under every single fault of a scheme, in this process, by the clock on the wall; its time is
divided by all pairs of a claim and a fault, as it answers them all. spin: writing the model, `spin -a`, `gcc -O1` and
the runs of the verifier for a sample of the pairs, dealt evenly over claims and faults. spin explores each state of
each delay, so all times but the scan are divided for both (rounded up to whole scans), by one number for a scheme;
where spin does not finish within its time, that time is counted. Where it does finish, both must say the same.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import time
from itertools import product
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from interlock.faults.court import Court  # noqa: E402
from interlock.faults.inject import inject  # noqa: E402
from interlock.faults.judge import BUDGET  # noqa: E402
from interlock.faults.parallel import Here  # noqa: E402
from interlock.scheme.read import load  # noqa: E402
from tests.support.spin_model import scaled, timed  # noqa: E402

SCHEMES = {"bench": ("interlock/reference/bench.yaml", 100), "hut": ("rules/alpine_hut.yaml", 300)}
GOAL = 100


def compared(file: str, divisor: int, sets: int, seconds: float) -> bool:
    """One scheme by both; whether they agree and the goal is met."""
    scheme = scaled(load(ROOT / file), divisor)
    started = time.perf_counter()
    study = inject(scheme, 1, Here(Court(scheme, BUDGET)))
    study_s = time.perf_counter() - started
    cut = {c.name: f for c, f in zip(scheme.claims, study.cut_sets, strict=True)}
    pairs = list(product(scheme.claims, scheme.faults.values()))
    open_ = sum(len(f.undecided) for f in study.cut_sets)
    print(f"  {file}, times / {divisor}: {len(pairs)} pairs in {study_s:.2f} s", end="")
    print(f" ({study.judged} judged, {open_} undecided), {1000 * study_s / len(pairs):.2f} ms for each")
    spin_s, finished, differ = 0.0, 0, []
    some = pairs[:: max(1, len(pairs) // sets)][:sets]
    for claim, fault in some:
        taken = timed(scheme, claim, (fault,), seconds=seconds)
        spin_s += taken.total_s
        if taken.opinion is None:
            continue
        finished += 1
        found = cut[claim.name]
        if any(set(u.faults) <= {fault.name} for u in found.undecided):
            continue
        violated = () in found.minimal or (fault.name,) in found.minimal
        if (taken.opinion.verdict(scheme, claim) == "violated") is not violated:
            differ.append(f"{claim.name} under {fault.name}")
    mean, ratio = spin_s / len(some), spin_s / len(some) / (study_s / len(pairs))
    print(f"    spin, {len(some)} of them: {mean:.2f} s for each, {finished} finished within {seconds:g} s each")
    print(f"    ratio {'' if finished == len(some) else 'at least '}{ratio:.0f} (goal {GOAL})")
    for one in differ:
        print(f"    THEY DIFFER: {one}")
    return not differ and ratio >= GOAL


def main() -> int:
    """Exit status 1 where the two differ or the goal is missed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sets", type=int, default=50, help="pairs that spin is given (default 50)")
    parser.add_argument("--seconds", type=float, default=20, help="spin's time for each (default 20)")
    parser.add_argument("--only", choices=SCHEMES, help="one scheme")
    options = parser.parse_args()
    print(f"python {platform.python_version()}, {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    names = [options.only] if options.only else list(SCHEMES)
    good = [compared(*SCHEMES[name], options.sets, options.seconds) for name in names]
    return int(not all(good))


if __name__ == "__main__":
    sys.exit(main())
