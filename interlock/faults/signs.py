"""What would show a fault without anyone looking for it: a reading that is invalid for certain."""

from __future__ import annotations

from interlock.logic.faultset import FaultSet
from interlock.scheme.model import Fault, Interval, Scheme, SensorError
from interlock.scheme.words import Mode, Part


def sensors_lost(scheme: Scheme, fault: Fault) -> tuple[str, ...]:
    """The sensors whose reading is invalid under that fault, from some scan after its onset on, in every behaviour, and
    is not so without it; in the scheme's order."""
    faults = FaultSet.of(fault.single())
    errors = {(f.mode, part): f.error for f in fault.single() for part in f.parts if f.error}
    return tuple(
        name
        for name, sensor in scheme.sensors.items()
        if _lost(scheme, faults, errors, name) and not _beyond(scheme, sensor.measures, sensor.valid)
    )


def _lost(scheme: Scheme, faults: FaultSet, errors: dict[tuple[Mode, str], tuple[SensorError, ...]], name: str) -> bool:
    """Whether the input's reading is invalid in the end: by its element's lead or age, or by where its values lie."""
    at_input, element = scheme.sensors[name], scheme.sensors[faults.source(Part.SENSOR, name)]
    for mode, value in ((Mode.SHORTED, element.shorted_reads), (Mode.OPEN, element.open_reads)):
        if faults.has(mode, element.name):
            return value is None or value not in at_input.valid
    if faults.has(Mode.STUCK, element.name) and element.stale_after:
        return True
    present = {e.quantity: e for e in element.measures}
    for mode in (Mode.MISPLACED, Mode.DRIFTED):
        if faults.has(mode, element.name):
            present |= {e.quantity: e for e in errors[mode, element.name]}
    return _beyond(scheme, tuple(present.values()), at_input.valid)


def _beyond(scheme: Scheme, measures: tuple[SensorError, ...], valid: Interval) -> bool:
    """Whether no reading that the spans of what is measured allow is valid."""
    spans = [(scheme.quantities[e.quantity].span, e.interval) for e in measures]
    low = max(span.low + error.low for span, error in spans)
    high = min(span.high + error.high for span, error in spans)
    return high < valid.low or low > valid.high
