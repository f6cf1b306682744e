"""Planning the demo schemes: how long it takes, what the sheet takes beside the obvious one, and whether each fault
that it is said to find shows on the readable engine. Exits with 1 where a goal is missed."""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from interlock.plan.obvious import obvious
from interlock.plan.planner import Planner
from interlock.scheme.read import load
from tests.plan.test_sheet import not_told

GOAL_S = 20.0


def main() -> int:
    """Plan each demo scheme."""
    missed = 0
    for name in sys.argv[1:] or ("survey_launch", "alpine_hut"):
        scheme = load(Path(__file__).parents[2] / "rules" / f"{name}.yaml")
        begun, cpu = time.perf_counter(), time.process_time()
        planner = Planner(scheme)
        sheet = planner.sheet()
        took, used = time.perf_counter() - begun, time.process_time() - cpu
        plain = obvious(planner.candidates)
        told = {h.name: True for h in planner.hypotheses[1:]}
        for n, h in enumerate(planner.hypotheses[1:], 1):
            told[h.name] &= bool(plain.found[n])
        lost = sorted({n for n, is_told in told.items() if is_told} - set(sheet.finds))
        print(f"{name}: {took:.1f} s, {used:.1f} s of processor time (goal {GOAL_S:.0f} s)")
        print(f"  obvious: {plain.seconds / 60:.1f} min, {plain.steps} steps, {sum(told.values())} faults found")
        print(f"  planned: {sheet.minutes} min, {len(sheet.steps)} steps, {len(sheet.finds)} faults found")
        print(f"  found only by the obvious one: {', '.join(lost) or 'none'}")
        wrong = not_told(scheme, planner, sheet)
        print(f"  said to be found and not shown by the readable engine: {', '.join(wrong) or 'none'}")
        half = 2 * sheet.seconds <= plain.seconds and 2 * len(sheet.steps) <= plain.steps
        missed += took > GOAL_S or bool(wrong) or bool(lost) or not half
    return int(bool(missed))


if __name__ == "__main__":
    sys.exit(main())
