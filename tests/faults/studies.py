"""The bench, with rates, an exclusion and a common cause, studied for the tests of what people read from it."""

from __future__ import annotations

from functools import cache

from interlock.faults.court import Court
from interlock.faults.inject import Study, inject
from interlock.faults.parallel import Here
from interlock.proof.prove import BUDGET
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from tests.support.bench import edited

FAULTS = """faults:
  probe.stuck: {rate: 2e-6 per h, source: an example}
  K1.welded: {rate: 1e-6 per h, source: an example}
  K2.welded: {rate: 3e-6 per h, source: an example}
  board.frozen: {rate: 5e-7 per h, source: an example}
  reset_button.inverted: {excluded: "the button, with its lead, was tried at commissioning."}
  wet_connector: {together: [probe.open, K1.wire_broken]}

cases:"""

# A second contactor in series with the charger's, on the cell monitor: either contact alone may weld.
SERIES = (
    ("  K2: {drives: [lamp_circuit]", "  K3: {unit: cell_monitor, drives: [bench_charger], contact: normally_open,\n"
     "       runs_when: closed, stops_within: 100 ms}\n  K2: {drives: [lamp_circuit]"),
    ("clears: below 3.40 V for 30 s}", "clears: below 3.40 V for 30 s, blocks: bench_charger}"),
)  # fmt: skip


@cache
def bench(size: int = 1) -> tuple[Scheme, Study]:
    """The bench under sets of up to so many faults."""
    return _studied(edited(("cases:", FAULTS)), size)


@cache
def in_series() -> tuple[Scheme, Study]:
    """The bench with two contactors in series for its charger, under pairs: each contact then waits for the other."""
    more = FAULTS.replace("  K2.welded", "  K3.welded: {rate: 2e-6 per h, source: an example}\n  K2.welded")
    return _studied(edited(("cases:", more), *SERIES), 2)


def _studied(text: str, size: int) -> tuple[Scheme, Study]:
    scheme = loads(text, "bench.yaml")
    return scheme, inject(scheme, size, Here(Court(scheme, BUDGET)))
