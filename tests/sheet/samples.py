"""Test sheets by hand, for their page: every kind of stimulus and thing looked at; not the shortest, nor complete."""

from __future__ import annotations

from pathlib import Path

from interlock.plan.sheet import CannotFind, Sheet, Step, digest_of
from interlock.scheme.model import Scheme
from interlock.scheme.read import load

HUT_FILE = Path(__file__).parents[2] / "rules" / "alpine_hut.yaml"
SOURCES = ("roof_pv", "turbine_charging", "generator_charger", "valley_charger")
LOADS = ("comfort_circuits", "inverter", "rescue_radio", "smoke_detection")


def expected(*running: str) -> dict[str, str]:
    """These paths running, the other sources and loads stopped."""
    return {path: "running" if path in running else "stopped" for path in (*SOURCES, *LOADS)}


def hut_sheet() -> tuple[Scheme, Sheet]:
    """The hut from its first power-up to a lost probe."""
    scheme = load(HUT_FILE)
    loads = ("rescue_radio", "smoke_detection", "comfort_circuits", "inverter")
    charging = ("roof_pv", "turbine_charging")
    steps = (
        Step(
            {
                "floor_probe": "12 degC", "wall_probe": "13 degC", "low_tap": "3.29 V", "high_tap": "3.31 V",
                "shunt": "75 %", "source_bus_live": "off",
            },
            601,
            {**expected("rescue_radio", "smoke_detection"), "hot_lockout": "sounding", "floor_probe": "valid"},
        ),
        Step({"reset_button": "pressed"}, 31, {**expected(*charging, *loads), "K1": "closed", "charge_permit": "on"}),
        Step({"floor_probe": "1 degC"}, 4, {**expected(*loads), "dump_load": "running"}),
        Step({}, 0, {"generator_charger": "either", "K2": "open"}, at_rest=False),
        Step({"floor_probe": "open"}, 6, {**expected("rescue_radio", "smoke_detection"), "floor_probe": "invalid"}),
    )  # fmt: skip
    return scheme, Sheet(
        scheme.title,
        digest_of(HUT_FILE.read_bytes()),
        steps,
        ("floor_probe.open", "K1.welded", "K2.wrong_contact"),
        (
            CannotFind("floor_probe.drifted", "a value put in an element's place tests no element"),
            CannotFind("wall_probe.drifted", "a value put in an element's place tests no element"),
            CannotFind("shunt.stuck", "it takes more steps than were looked at", proved=False),
        ),
        {"cold_stop trips": "1 K", "cold_stop trips after": "2 s"},
    )
