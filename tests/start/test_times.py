"""Every time in a written scheme, worked out by hand or stated once more: a slip of a digit must not go unseen.

The delays themselves are common practice, no source: long enough for what passes by itself, short enough for what
does not. Requirements leave more than the delays take, so that no proof fails for a delay written somewhat longer.
"""

from __future__ import annotations

import pytest

from interlock.logic.scan import Engine, World
from interlock.proof.index import Index
from interlock.proof.prove import prove
from interlock.scheme.model import Scheme
from tests.start.test_written import SETS, written

# Seconds to trip and to clear, by the rule's name without its device's.
DELAYS = {
    "cell_full": (1, 30),
    "cell_empty": (5, 60),  # a starting motor's dip passes
    "full_stop": (0, 1),
    "empty_stop": (0, 1),
    "cold_stop": (2, 60),
    "hot_charge_stop": (5, 300),
    "frost_stop": (5, 300),
    "hot_stop": (5, 300),
    "probes_apart": (300, 300),
    "generator_call": (300, 300),
    "comfort_shed": (60, 600),
    "last_shed": (60, 300),
    "shore_charger_dead": (2, 300),
    "shore_charger_first": (0, None),  # None: as long as the two supplies take to part
    "shore_charger_made": (0, None),
    "generator_charger_made": (0, None),
    "hydro_turbine_on_pack": (0.5, 0),
    "wind_turbine_on_pack": (0.5, 0),
    "inverter_precharged": (0, 3),  # five time constants: 5 x 40 ohm x 15 mF
    "big_precharged": (0, 3),
    "heat_wanted": (10, 120),
    "heater_too_warm": (5, 60),
}
# The slower of the two may run on for so many seconds after it was told to stop, and 2 s more.
PARTING = {"every device": 3 + 2, "no monitor, no button": 2 + 2}

# Seconds that each requirement allows.
ALLOWED = {
    "frozen_charge": 10,
    "hot_charge": 15,
    "overfull_charge": 10,
    "empty_discharge": 15,
    "frozen_discharge": 15,
    "hot_discharge": 15,
    "heater_cut_out": 15,
    "comfort_ends": 120,
    "last_loads_end": 120,
    "one_supply": 0,
    "hydro_turbine_loaded": 1,
    "hydro_turbine_spares_pack": 2,
    "wind_turbine_loaded": 1,
    "wind_turbine_spares_pack": 2,
    "inverter_filled": 0.5,
    "big_filled": 0.5,
    "charging_served": 480,
    "shore_charger_served": 480,
    "generator_charger_served": 720,  # a generator that is called: it also waits for its call, 5 min
    "loads_served": 720,  # with a shunt: comfort loads come back after 10 min
    "last_loads_served": 480,
    "pack_warmed": 480,
}
OTHERWISE = {
    ("no monitor, no button", "generator_charger_served"): 480,
    ("no monitor, no button", "loads_served"): 480,
    ("nothing asked", "loads_served"): 480,
    ("as coarse as can be", "loads_served"): 480,
}


@pytest.mark.parametrize("name", SETS)
def test_every_delay_of_a_written_rule_is_as_long_as_it_should_be(name: str) -> None:
    _, _, scheme = written(SETS[name])
    for rule in scheme.rules.values():
        trips, clears = DELAYS[rule.name]
        assert rule.trips.delay.us == trips * 1_000_000, rule.name
        assert rule.clears.delay.us == (PARTING[name] if clears is None else clears) * 1_000_000, rule.name


@pytest.mark.parametrize("name", SETS)
def test_every_requirement_allows_what_it_should(name: str) -> None:
    _, _, scheme = written(SETS[name])
    for claim in scheme.claims:
        allowed = OTHERWISE.get((name, claim.requirement), ALLOWED[claim.requirement])
        assert claim.longer_than.us == allowed * 1_000_000, claim.name


def test_each_of_these_times_stands_in_some_written_scheme() -> None:
    schemes = [written(given)[2] for given in SETS.values()]
    assert {r for s in schemes for r in s.rules} == set(DELAYS)
    assert {c.requirement for s in schemes for c in s.claims} == set(ALLOWED)


@pytest.mark.parametrize(("scan", "allowed_ms"), [("100 ms", 500), ("300 ms", 900), ("700 ms", 2100), ("1 s", 3000)])
def test_an_inverters_pre_charge_may_be_missed_for_its_contactors_time_and_two_scans(
    scan: str, allowed_ms: int
) -> None:
    """The contactor takes 200 ms, which is whole scans; half a second at the least."""
    _, _, scheme = written({"loads": "inverter:contactor", "scan": scan})
    (claim,) = (c for c in scheme.claims if c.requirement == "inverter_filled")
    assert claim.longer_than.us == allowed_ms * 1_000


def test_the_devices_times_and_the_delays_make_up_the_exposures() -> None:
    """By hand, in seconds: for what must not run the trip delay, the device's stopping time and a scan, since truth may
    turn just after one; for what must run the longest clear delay, the device's starting time and the scan of
    power-up."""
    _, _, scheme = written(SETS["every device"])
    index = Index(scheme)
    wanted = {
        "frozen_charge/roof": 2 + 0.2 + 0.1,
        "hot_charge/field": 5 + 0.2 + 0.1,  # of its two ways of stopping the quicker one
        "overfull_charge/alternator": 1 + 1 + 0.1,
        "empty_discharge/dc_branch": 5 + 0.2 + 0.1,
        "heater_cut_out/cell_heater": 5 + 0.2 + 0.1,
        "comfort_ends/inverter": 60 + 0.2 + 0.1,
        "last_loads_end/radio": 60 + 0.2 + 0.1,
        "charging_served/roof": 300 + 30 + 0.1,
        "loads_served/inverter": 600 + 3 + 2 + 0.1,  # its pre-charge before it starts
        "last_loads_served/radio": 300 + 0.2 + 0.1,
        "pack_warmed/cell_heater": 300 + 0.2 + 0.1,
    }
    claims = {c.name: c for c in scheme.claims}
    found = {n: prove(scheme, claims[n], margins=False, trace=False, index=index).exposure_us for n in wanted}
    assert found == {name: round(seconds * 1_000_000) for name, seconds in wanted.items()}


def waits(engine: Engine, scheme: Scheme, world: World, output: str, on: bool) -> int:
    """How many scans of this world pass before an output is on (off)."""
    path = scheme.outputs[output].drives[0]
    unit = scheme.outputs[output].unit
    for scan in range(10_000):
        engine.scan(world)
        if engine.commanded[unit, path] is on:
            return scan
    raise AssertionError(f"{output} stays {'off' if on else 'on'}")


def test_shore_power_that_goes_and_comes_back_is_waited_for_to_the_scan() -> None:
    """By hand, in scans of 100 ms. Gone: 20 until the line is taken for dead and the charger told to stop; its contact
    shows one scan later, and from then on the generator waits 50. Back: 3000 until the line is believed and the
    generator told to stop; its contact shows one scan later, and from then on the charger waits 50."""
    _, _, scheme = written({"sources": "shore, generator", "one_at_a_time": "yes"})
    shore, generator = (scheme.paths[p].outputs[0] for p in ("shore_charger", "generator_charger"))
    engine = Engine(scheme)
    mild = {"probe": 20_000_000, "low_tap": 3_300_000, "high_tap": 3_310_000}
    live = World(mild, {"shore_charger_live": True})
    for scan in range(3_200):
        engine.scan(World(mild, {"shore_charger_live": True, "reset_button": scan == 3_100}))
    assert waits(engine, scheme, live, shore, True) == 0
    dead = World(mild, {"shore_charger_live": False})
    assert waits(engine, scheme, dead, shore, False) == 20
    assert waits(engine, scheme, dead, generator, True) + 1 == 1 + 50  # counted from the scan after the last
    assert waits(engine, scheme, live, generator, False) == 3_000
    assert waits(engine, scheme, live, shore, True) + 1 == 1 + 50
