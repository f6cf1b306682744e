"""What a scheme will consist of, worked out from the answers before anything is written."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from interlock.scheme.units import MICRO, time_text
from interlock.start.answers import Answers
from interlock.start.chemistry import PRESETS, Preset
from interlock.start.devices import Device, LoadKind, SourceKind, Switching
from interlock.start.thresholds import Thresholds


@dataclass(frozen=True, slots=True)
class PlannedOutput:
    """One output: its name, the path it drives, how that is switched; `dumps` for the output of a dump load."""

    name: str
    path: str
    way: Switching
    dumps: bool = False


DUMP_SWITCHING = Switching(200, 100, "released, it lets the dump load run: a dead board leaves no turbine unloaded")
PRECHARGE_SWITCHING = Switching(200, 200, "through the resistor that fills the inverter's capacitors")


@dataclass(frozen=True)
class Plan:
    """Names and figures that several sections share."""

    answers: Answers

    @property
    def preset(self) -> Preset:
        """The chemistry's usual limits."""
        return PRESETS[self.answers.chemistry]

    @cached_property
    def limits(self) -> Thresholds:
        """The thresholds for temperatures."""
        return self.answers.limits

    # --- devices

    @cached_property
    def turbines(self) -> tuple[Device, ...]:
        """Sources that must never be left unloaded; each has a dump load."""
        return self.answers.of_kind(SourceKind.HYDRO, SourceKind.WIND)

    @cached_property
    def precharged(self) -> tuple[Device, ...]:
        """Inverters whose contactor may close only on filled capacitors."""
        return tuple(d for d in self.answers.of_kind(LoadKind.INVERTER) if d.contactor)

    @cached_property
    def heaters(self) -> tuple[Device, ...]:
        """Heaters of the cells: rules start them."""
        return self.answers.of_kind(LoadKind.HEATER)

    @cached_property
    def called(self) -> tuple[Device, ...]:
        """Generators that a low charge level starts: it takes a shunt and a start input."""
        return tuple(d for d in self.answers.of_kind(SourceKind.GENERATOR) if d.remote and self.answers.shunt)

    @cached_property
    def supplies(self) -> tuple[Device, Device] | None:
        """The shore charger and the generator that never run together, or None."""
        if not self.answers.one_at_a_time:
            return None
        return self.answers.of_kind(SourceKind.SHORE)[0], self.answers.of_kind(SourceKind.GENERATOR)[0]

    @property
    def break_us(self) -> int:
        """How long one of the two supplies must have been told to stop before the other may start."""
        assert self.supplies is not None
        return max(d.stops_ms for d in self.supplies) * 1_000 + 2 * MICRO

    # --- names

    @cached_property
    def probes(self) -> tuple[str, ...]:
        """The probes' names."""
        count = self.answers.probes
        return ("probe",) if count == 1 else tuple(f"probe_{i}" for i in range(1, count + 1))

    @property
    def coldest(self) -> str:
        """What tells of the coldest cell."""
        return "probe" if self.answers.probes == 1 else "coldest_reading"

    @property
    def warmest(self) -> str:
        """What tells of the hottest cell."""
        return "probe" if self.answers.probes == 1 else "warmest_reading"

    @property
    def users(self) -> str:
        """The group of all loads that rules stop: not the built-in one where a dump load must run on."""
        return "users" if self.turbines else "loads"

    @cached_property
    def load_paths(self) -> tuple[str, ...]:
        """All load paths, pre-charge included."""
        return tuple(name for d in self.answers.loads for name in self._with_precharge(d))

    @cached_property
    def comfort(self) -> tuple[str, ...]:
        """The load paths that go first when charge runs low: all that are not essential. A cell heater stays: without
        it a cold pack could not be charged again."""
        return tuple(n for d in self.answers.loads if not self.lasts(d) for n in self._with_precharge(d))

    @cached_property
    def last(self) -> tuple[str, ...]:
        """The load paths that go last."""
        return tuple(n for d in self.answers.loads if self.lasts(d) for n in self._with_precharge(d))

    def lasts(self, device: Device) -> bool:
        """Whether a load is among the last to go."""
        return device.essential or device.kind is LoadKind.HEATER

    def _with_precharge(self, device: Device) -> tuple[str, ...]:
        return (f"{device.name}_precharge", device.name) if device in self.precharged else (device.name,)

    # --- outputs

    @cached_property
    def outputs(self) -> tuple[PlannedOutput, ...]:
        """All outputs: R for a relay on a remote input, K for a contactor, each numbered in the devices' order."""
        found: list[PlannedOutput] = []
        counts = {"R": 0, "K": 0}

        def add(letter: str, path: str, way: Switching, *, dumps: bool = False) -> None:
            counts[letter] += 1
            found.append(PlannedOutput(f"{letter}{counts[letter]}", path, way, dumps))

        for device in (*self.answers.sources, *self.answers.loads):
            if device in self.precharged:
                add("K", f"{device.name}_precharge", PRECHARGE_SWITCHING)
            if device.remote and device.facts.remote:
                add("R", device.name, device.facts.remote)
            if device.contactor:
                add("K", device.name, device.facts.contactor)
            if device in self.turbines:
                add("K", f"{device.name}_dump_load", DUMP_SWITCHING, dumps=True)
        return tuple(found)

    def first_output(self, path: str) -> str:
        """The first output that drives a path."""
        return next(o.name for o in self.outputs if o.path == path)

    # --- figures as written

    @property
    def scan_us(self) -> int:
        """One scan."""
        return self.answers.scan_ms * 1_000


def volts(millivolts: int) -> str:
    """A cell voltage: `3.40 V`."""
    return f"{millivolts // 1000}.{millivolts % 1000 // 10:02d} V"


def ms_text(ms: int) -> str:
    """A time given in milliseconds."""
    return time_text(ms * 1_000)
