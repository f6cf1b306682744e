"""The answers a first scheme is written from, and what is wrong with answers that don't go together."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from interlock.scheme.fields import NAME
from interlock.scheme.units import Kind, value_text
from interlock.scheme.words import BUILT_IN_GROUPS
from interlock.start.chemistry import Chemistry
from interlock.start.devices import Device, LoadKind, SourceKind
from interlock.start.thresholds import NARROWEST, Thresholds, thresholds

SLOWEST_WITH_TURBINE = 200  # ms; unloaded, a turbine reaches twice its speed in about 2 s
LONGEST_NAME = 40  # names derived from a device's must stay names


@dataclass(frozen=True, slots=True)
class Problem:
    """One answer that can't be used: to which question, what is wrong, what to do."""

    question: str
    message: str
    help: str = ""


class AnswersError(Exception):
    """The answers don't make a scheme: all that is wrong with them, in the questions' order."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(f"{p.question}: {p.message}" for p in self.problems))


@dataclass(frozen=True, slots=True)
class Answers:
    """What a first scheme is written from. `scan_ms` in milliseconds; `probe_error` (of the instrument) and
    `probe_offset` (of the warmest or coldest cell from the probe's place) in millionths of a kelvin.

    `monitor`: a cell monitor gives a charge permit and a discharge permit; else the board reads the cell taps itself.
    `button`: overheating waits for a person. `one_at_a_time`: shore charger and generator never run together.
    """

    title: str
    chemistry: Chemistry
    series: int
    scan_ms: int
    probes: int
    probe_error: int
    probe_offset: int
    monitor: bool
    button: bool
    shunt: bool
    sources: tuple[Device, ...]
    loads: tuple[Device, ...]
    one_at_a_time: bool = False

    @property
    def limits(self) -> Thresholds:
        """The thresholds that follow from the chemistry and the probes."""
        return thresholds(self.chemistry, self.probe_error, self.probe_offset)

    def of_kind(self, *kinds: SourceKind | LoadKind) -> tuple[Device, ...]:
        """The devices of these kinds, in their order."""
        return tuple(d for d in (*self.sources, *self.loads) if d.kind in kinds)


# Every name that a written scheme may use for itself.
RESERVED = frozenset(
    (
        "board",
        "cell_monitor",
        "coldest_cell",
        "hottest_cell",
        "lowest_cell",
        "highest_cell",
        "charge_level",
        "probe",
        "low_tap",
        "high_tap",
        "shunt",
        "coldest_reading",
        "warmest_reading",
        "probe_spread",
        "charge_permit",
        "discharge_permit",
        "reset_button",
        "cell_full",
        "cell_empty",
        "full_stop",
        "empty_stop",
        "cold_stop",
        "hot_charge_stop",
        "hot_stop",
        "frost_stop",
        "probes_apart",
        "comfort_shed",
        "last_shed",
        "generator_call",
        "heat_wanted",
        "heater_too_warm",
        "users",
        "comfort_loads",
        "last_loads",
        "frozen_charge",
        "hot_charge",
        "overfull_charge",
        "empty_discharge",
        "hot_discharge",
        "frozen_discharge",
        "comfort_ends",
        "last_loads_end",
        "one_supply",
        "heater_cut_out",
        "charging_served",
        "loads_served",
        "last_loads_served",
        "pack_warmed",
    )
)
_PATTERNS = re.compile(r"[KR]\d+|probe_\d+")
SUFFIXES = (
    "dump_load",
    "precharge",
    "closed",
    "live",
    "dead",
    "first",
    "made",
    "on_pack",
    "loaded",
    "spares_pack",
    "filled",
    "precharged",
    "served",
)


def check_answers(answers: Answers) -> Iterator[Problem]:
    """What is wrong with answers that each could be read: names, and what doesn't go together."""
    for question, devices in (("sources", answers.sources), ("loads", answers.loads)):
        if not devices:
            yield Problem(question, f"no {question} are named", "name at least one")
        for device in devices:
            yield from _name(question, device, answers)
            yield from _switching(question, device)
    yield from _twice(answers)
    turbines = [d.name for d in answers.sources if isinstance(d.kind, SourceKind) and d.kind.turbine]
    if turbines and answers.scan_ms > SLOWEST_WITH_TURBINE:
        yield Problem(
            "scan",
            f"a scan of {answers.scan_ms} ms is too slow for `{turbines[0]}`: unloaded it reaches twice its speed in "
            "about 2 s",
            f"with a turbine, {SLOWEST_WITH_TURBINE} ms at the most",
        )
    limits = answers.limits
    if limits.window < NARROWEST:
        yield Problem(
            "probe_error",
            f"probes this far off leave {value_text(max(limits.window, 0), Kind.TEMPERATURE, difference=True)} between "
            "too cold and too hot to charge",
            "fit better probes, or more of them nearer to the coldest and the hottest cell, and give a smaller "
            "probe_error or probe_offset",
        )
    elif answers.of_kind(LoadKind.HEATER) and limits.heat_room < 0:
        yield Problem(
            "probe_error",
            "probes this far off leave no temperature at which a heater surely helps and surely may run",
            "fit better probes and give a smaller probe_error or probe_offset, or leave the heater out",
        )
    if answers.one_at_a_time:
        counts = [len(answers.of_kind(kind)) for kind in (SourceKind.SHORE, SourceKind.GENERATOR)]
        if counts != [1, 1]:
            yield Problem(
                "one_at_a_time",
                f"it is about one shore charger and one generator; here are {counts[0]} and {counts[1]}",
                "an interlock of just these two is written only for one of each: answer no, and add more by hand",
            )


def _name(question: str, device: Device, answers: Answers) -> Iterator[Problem]:
    name = device.name
    if not NAME.match(name) or len(name) > LONGEST_NAME:
        yield Problem(
            question,
            f"`{name[:LONGEST_NAME]}` can't be a name",
            f"a name is a letter, then letters, digits, _ and -, {LONGEST_NAME} at most",
        )
        return
    others = [d.name for d in (*answers.sources, *answers.loads) if d is not device]
    derived = next((o for o in others for suffix in SUFFIXES if name == f"{o}_{suffix}"), "")
    if name in RESERVED or name in BUILT_IN_GROUPS or _PATTERNS.fullmatch(name):
        yield Problem(question, f"the scheme needs the name `{name}` for itself", f"call it `{name}_1`, say")
    elif derived:
        yield Problem(question, f"the scheme may need the name `{name}` for a part of `{derived}`", "choose another")


def _switching(question: str, device: Device) -> Iterator[Problem]:
    if device.remote and device.facts.remote is None:
        yield Problem(
            question,
            f"`{device.name}` is a {device.facts.says}: a remote input that stops it would leave it unloaded",
            "give it a contactor: a dump load takes over whenever that opens",
        )
    elif not device.remote and not device.contactor:
        yield Problem(question, f"nothing can stop `{device.name}`", "give it a remote input or a contactor")
    if device.essential and device.kind in SourceKind:
        yield Problem(question, f"`{device.name}` is a source: only a load can be essential", "leave the word out")


def _twice(answers: Answers) -> Iterator[Problem]:
    counts = Counter(d.name for d in (*answers.sources, *answers.loads))
    for name, count in counts.items():
        if count > 1:
            question = "sources" if any(d.name == name for d in answers.sources) else "loads"
            yield Problem(question, f"`{name}` is named {count} times", "give each a name of its own: NAME=KIND")
