"""Large schemes are checked in a fraction of the time a person would notice, and deep ones at all."""

from __future__ import annotations

from time import perf_counter

from interlock.check.run import check
from interlock.records import replace
from interlock.scheme.model import Scheme, Target
from interlock.scheme.read import loads
from tests.check.found import found
from tests.support.large import large_scheme

# Bounds ten times what this takes on two busy cores; what is asked of the whole command is measured by the benchmarks.
MOST_S = 3.0


def seconds(scheme: Scheme) -> float:
    start = perf_counter()
    check(scheme)
    return perf_counter() - start


def test_two_thousand_rules_on_four_hundred_paths_take_no_time() -> None:
    scheme = loads(large_scheme(2000, 400))
    assert seconds(scheme) < MOST_S


def test_time_grows_with_the_size_of_the_scheme_and_not_with_its_square() -> None:
    small, large = (loads(large_scheme(n, n // 5)) for n in (400, 1600))
    seconds(small)
    few, many = (min(seconds(s) for _ in range(3)) for s in (small, large))
    assert many < 12 * few, "four times the size, and less than sixteen times the time"


def test_rules_that_all_block_all_take_as_long_as_they_have_targets() -> None:
    scheme = loads(large_scheme(500, 100))
    everything = tuple(Target(path, (), "all") for path in scheme.paths)
    tangled = replace(scheme, rules={n: replace(r, blocks=everything) for n, r in scheme.rules.items()})
    assert seconds(tangled) < MOST_S


def test_a_chain_of_fifteen_hundred_rules_is_followed_to_its_end() -> None:
    count = 1500
    rules = "\n".join(
        f"  r{i}: {{watches: r{i - 1}, trips: active, clears: clear, alarm: on}}" for i in range(1, count)
    )
    text = f"""
scheme: A long chain
scan: 100 ms
quantities: {{cell: {{span: 0 to 80 degC}}}}
sensors: {{probe: {{measures: {{cell: -1 to 1 K}}, valid: -40 to 90 degC}}}}
rules:
  r0: {{watches: probe, trips: above LIMIT degC, clears: below 30 degC, on_invalid: INVALID, alarm: warm}}
{rules}
  last: {{watches: r{count - 1}, trips: active, clears: clear, blocks: fan}}
paths: {{fan: {{flow: none}}}}
outputs: {{K1: {{drives: fan, contact: normally_open, runs_when: closed}}}}
requirements: {{hot: {{never_running: fan, while: {{cell: above 45 degC}}, longer_than: 9 s}}}}
"""
    assert found(text.replace("LIMIT", "44").replace("INVALID", "trip")) == []
    assert found(text.replace("LIMIT", "45").replace("INVALID", "trip")) == [("error-over-limit", "r0")]
    assert found(text.replace("LIMIT", "44").replace("INVALID", "clear")) == [("lost-reading-runs", "probe")]
