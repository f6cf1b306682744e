"""The prover against spin on the same claims: the bench of the reference and the hut.

Run `python tests/benchmarks/bench_prove.py [--seconds S] [--divisor D]`. spin's time is that of writing the model,
generating, compiling and running its verifier, for one claim alone; the prover's is that of a whole verdict, margins
and trace included. spin explores each state of each delay, so all times but the scan are divided for both (rounded up
to whole scans), by the least of a few divisors at which spin finishes in its time. Where it does, the longest runs must
be equal. The goal is a ratio of at least 20, over the claims that spin finishes.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from interlock.proof.prove import Outcome, prove  # noqa: E402
from interlock.scheme.model import Claim, Scheme  # noqa: E402
from interlock.scheme.read import load  # noqa: E402
from tests.support.spin_model import Opinion, Timing, scaled, timed  # noqa: E402

GOAL = 20
SCHEMES = ("interlock/reference/bench.yaml", "rules/alpine_hut.yaml")
DIVISORS = (1, 30, 300)


@dataclass(frozen=True)
class Measured:
    """One claim at one divisor: seconds of both, and whether they agree."""

    divisor: int
    spin: Timing
    prover_s: float
    agree: bool


def measure(scheme: Scheme, number: int, divisors: tuple[int, ...], seconds: float) -> Measured:
    """The claim at the least divisor at which spin finishes; at the last one where it never does."""
    for divisor in divisors:
        shorter = scaled(scheme, divisor) if divisor > 1 else scheme
        claim = shorter.claims[number]
        spin = timed(shorter, claim, seconds=seconds)
        if spin.opinion is not None or divisor == divisors[-1]:
            break
    started = time.perf_counter()
    found = prove(shorter, claim)
    took = time.perf_counter() - started
    same = spin.opinion is None or _figure(shorter, claim, spin.opinion) == (
        "vacuous" if found.outcome is Outcome.VACUOUS else str(None if found.endless else found.scans)
    )
    return Measured(divisor, spin, took, same)


def _figure(scheme: Scheme, claim: Claim, opinion: Opinion) -> str:
    return "vacuous" if opinion.verdict(scheme, claim) == "vacuous" else str(opinion.n)


def main() -> int:
    """Print each claim and the ratios; 0 where the goal is reached and all agree, else 1."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seconds", type=float, default=3, help="the time that spin's verifier is given for a claim")
    options.add_argument("--divisor", type=int, help="the only divisor to try")
    given = options.parse_args()
    divisors = (given.divisor,) if given.divisor else DIVISORS
    good = True
    for name in SCHEMES:
        scheme = load(ROOT / name)
        prove(scheme, scheme.claims[0])  # imports and first calls are not the claims'
        print(f"{scheme.title} ({name})")
        done: list[Measured] = []
        rest: list[Measured] = []
        for number, claim in enumerate(scheme.claims):
            one = measure(scheme, number, divisors, given.seconds)
            (done if one.spin.opinion else rest).append(one)
            states = f"{one.spin.opinion.states} states" if one.spin.opinion else f"not within {given.seconds:g} s"
            print(
                f"  {claim.name}: delays / {one.divisor}; spin {one.spin.generate_s:.2f} + {one.spin.compile_s:.2f}"
                f" + {one.spin.run_s:.2f} s, {states}; prover {1000 * one.prover_s:.1f} ms;"
                f" ratio {one.spin.total_s / one.prover_s:.0f}{'' if one.agree else '; THEY DIFFER'}",
                flush=True,
            )
            good = good and one.agree
        for what, some in (("finished by spin", done), ("left unfinished by spin: at least", rest)):
            spin_s, prover_s = sum(m.spin.total_s for m in some), sum(m.prover_s for m in some)
            if some:
                ratio = f"spin {spin_s:.1f} s, prover {prover_s:.3f} s, ratio {spin_s / prover_s:.0f}"
                print(f"  {len(some)} claims {what}: {ratio}")
            good = good and spin_s >= GOAL * prover_s
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
