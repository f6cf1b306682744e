"""The kinds of charge source and load, how each is usually switched, and what is to be known about it.

Times are what such devices usually take (common practice, no source): the written file says so, and the device's manual
or a stopwatch gives the true ones.
"""

from __future__ import annotations

from dataclasses import dataclass

from interlock.scheme.words import Word


class SourceKind(Word):
    """Kinds of charge source."""

    SOLAR = "solar"
    SHORE = "shore"
    GENERATOR = "generator"
    ALTERNATOR = "alternator"
    HYDRO = "hydro"
    WIND = "wind"

    @property
    def turbine(self) -> bool:
        """True for a machine that must never be left without a load."""
        return self in (SourceKind.HYDRO, SourceKind.WIND)


class LoadKind(Word):
    """Kinds of load."""

    INVERTER = "inverter"
    DC_BRANCH = "dc_branch"
    CONVERTER = "converter"
    HEATER = "heater"


Kind = SourceKind | LoadKind


@dataclass(frozen=True, slots=True)
class Switching:
    """One way of stopping a device: how long it may run on and take to start (ms), and what to know about it."""

    stops_ms: int
    starts_ms: int
    says: str


@dataclass(frozen=True, slots=True)
class KindFacts:
    """A kind of device: what it is, the name it gets when it has none, its usual switching, and its ways of switching
    (`remote` None where a remote input must not be relied on)."""

    says: str
    name: str
    usually_remote: bool
    remote: Switching | None
    contactor: Switching


FACTS: dict[Kind, KindFacts] = {
    SourceKind.SOLAR: KindFacts(
        "solar charge controller",
        "solar",
        True,
        Switching(1_000, 30_000, "the controller's remote input; it ramps down and up"),
        Switching(
            200,
            30_000,
            "a contactor rated for the array's direct current, on the array's side: many controllers do not survive "
            "losing the battery while the sun shines",
        ),
    ),
    SourceKind.SHORE: KindFacts(
        "charger on shore or grid power",
        "shore_charger",
        True,
        Switching(2_000, 10_000, "the charger's remote input"),
        Switching(500, 10_000, "a contactor in the charger's supply, not between charger and battery"),
    ),
    SourceKind.GENERATOR: KindFacts(
        "generator with a charger",
        "generator_charger",
        True,
        Switching(3_000, 60_000, "starts the set and its charger; the set cranks and warms up before it takes load"),
        Switching(500, 10_000, "a contactor in the charger's supply, not between charger and battery"),
    ),
    SourceKind.ALTERNATOR: KindFacts(
        "alternator",
        "alternator",
        True,
        Switching(
            1_000, 500, "in the field lead, or the regulator's enable input; the field takes a second to die away"
        ),
        Switching(
            1_000,
            500,
            "a contactor in the field lead, never in the output: cut off from its battery under load an alternator "
            "throws 79 to 101 V into a 12 V system and 151 to 202 V into a 24 V one (test levels of ISO 16750-2)",
        ),
    ),
    SourceKind.HYDRO: KindFacts(
        "water turbine",
        "hydro_turbine",
        False,
        None,
        Switching(200, 200, "parts the turbine from the pack; the dump load takes over in the same moment"),
    ),
    SourceKind.WIND: KindFacts(
        "wind turbine",
        "wind_turbine",
        False,
        None,
        Switching(200, 200, "parts the turbine from the pack; the dump load takes over in the same moment"),
    ),
    LoadKind.INVERTER: KindFacts(
        "inverter",
        "inverter",
        True,
        Switching(500, 2_000, "the inverter's remote input"),
        Switching(200, 2_000, "a contactor that closes only after its capacitors were filled through a resistor"),
    ),
    LoadKind.DC_BRANCH: KindFacts(
        "branch of direct-current loads",
        "dc_branch",
        False,
        Switching(200, 200, "the remote input of the branch's own switch"),
        Switching(200, 200, "a contactor, behind the branch's fuse"),
    ),
    LoadKind.CONVERTER: KindFacts(
        "converter to another voltage",
        "converter",
        True,
        Switching(200, 1_000, "the converter's remote input"),
        Switching(200, 1_000, "a contactor ahead of the converter"),
    ),
    LoadKind.HEATER: KindFacts(
        "heater of the cells",
        "cell_heater",
        False,
        Switching(500, 500, "the heater controller's remote input"),
        Switching(200, 200, "a contactor, with a thermal cut-out of the heater's own in series"),
    ),
}
assert set(FACTS) == {*SourceKind, *LoadKind}, {*SourceKind, *LoadKind} - set(FACTS)


@dataclass(frozen=True, slots=True)
class Device:
    """One source or load: how it is switched (`remote`, `contactor`, or both in series), and for loads whether it is
    among the last to go when charge runs low."""

    name: str
    kind: Kind
    remote: bool
    contactor: bool
    essential: bool = False

    @property
    def facts(self) -> KindFacts:
        """What is known about its kind."""
        return FACTS[self.kind]

    @property
    def switching(self) -> tuple[Switching, ...]:
        """Its outputs' ways of switching: the remote input first."""
        found = [self.facts.remote] if self.remote and self.facts.remote else []
        return (*found, *([self.facts.contactor] if self.contactor else []))

    @property
    def stops_ms(self) -> int:
        """How long it may run on: as long as the quickest of its outputs in series."""
        return min(way.stops_ms for way in self.switching)

    @property
    def starts_ms(self) -> int:
        """How long it may take to start: as long as the slowest of them."""
        return max(way.starts_ms for way in self.switching)
