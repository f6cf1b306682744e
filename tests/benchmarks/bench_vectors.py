"""Vectors of every unit of both schemes: how many scans, what they show, which mistakes in the rules they catch.

Run `python tests/benchmarks/bench_vectors.py`: some minutes. Goals: fewer than 20,000 scans for a unit in all, and
every mistake that is not proved to change nothing caught by the vectors. `--only launch` for one scheme.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from interlock.export.unit import unit_code  # noqa: E402
from interlock.scheme.read import load  # noqa: E402
from interlock.vectors.generate import MOST, generate  # noqa: E402
from interlock.vectors.score import Fate, scored  # noqa: E402
from interlock.vectors.strengthen import strengthened  # noqa: E402

SCHEMES = ("alpine_hut", "survey_launch")


def unit(name: str, which: str) -> bool:
    """Print the figures of one unit; whether its goals are reached."""
    code = unit_code(load(ROOT / "rules" / f"{name}.yaml"), which, f"{name}.yaml")
    start = time.process_time()
    vectors = generate(code)
    planned = time.process_time() - start
    goals = len(vectors.reached) + len(vectors.missed)
    why = Counter(str(vectors.why[goal].why) for goal in vectors.missed)
    lengths = ", ".join(f"{len(run.vectors):,}" for run in vectors.runs)
    print(f"{name} {which}: {vectors.scans:,} scans ({lengths}), at least {vectors.bound.scans:,}; {planned:.1f} s")
    print(
        f"  {len(vectors.reached)} of {goals} goals shown; " + (", ".join(f"{n} {w}" for w, n in why.items()) or "all")
    )
    forms = Counter(str(form) for form in vectors.forms.values())
    print("".join(f"    {vectors.why[g].why}: {g}\n" for g in vectors.missed), end="", flush=True)
    print(f"  {len(vectors.forms)} conditions: " + ", ".join(f"{n} {form}" for form, n in forms.items()))
    start = time.process_time()
    fates = list(scored(code, vectors.runs))
    runs, now = strengthened(code, vectors.runs, fates, most=MOST)
    took = time.process_time() - start
    for label, found in (("by the vectors", fates), (f"with {len(runs) - len(vectors.runs)} runs more", now)):
        counts = Counter(str(one.fate) for one in found)
        print(f"  {len(found)} mutants {label}: " + ", ".join(f"{n} {fate}" for fate, n in counts.items()))
    print(f"  {took:.1f} s", flush=True)
    scans = sum(len(run.vectors) for run in runs)
    print(f"  {scans:,} scans in all")
    return scans <= MOST and all(one.fate in (Fate.KILLED, Fate.EQUIVALENT) for one in fates)


def main() -> int:
    """Print all; 0 where every goal is reached, else 1."""
    chosen = [n for n in SCHEMES if "--only" not in sys.argv or sys.argv[-1] in n]
    reached = [unit(n, u) for n in chosen for u in load(ROOT / "rules" / f"{n}.yaml").units]
    return 0 if all(reached) else 1


if __name__ == "__main__":
    sys.exit(main())
