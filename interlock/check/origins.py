"""Where a chain must start, or what it must pass, to answer a condition."""

from __future__ import annotations

from interlock.check.truths import Truths
from interlock.scheme.model import Condition, Scheme
from interlock.scheme.words import Signal

Origin = tuple[Signal, str]


class Origins:
    """What a chain that answers a condition can start from, or pass."""

    def __init__(self, scheme: Scheme, truths: Truths) -> None:
        measuring: dict[str, list[str]] = {}
        for sensor in scheme.sensors.values():
            for error in sensor.measures:
                measuring.setdefault(error.quantity, []).append(sensor.name)
        combining: dict[str, list[str]] = {}
        for reading in scheme.readings.values():
            for name in reading.sensors:
                combining.setdefault(name, []).append(reading.name)
        near: dict[str, dict[str, None]] = {q: {q: None} for q in scheme.quantities}
        for one, other in truths.tied:
            if one in near and other in near:
                near[one][other] = near[other][one] = None
        self._combining = combining
        self._values: dict[str, list[Origin]] = {}
        for q, quantities in near.items():
            sensors = dict.fromkeys(s for other in quantities for s in measuring.get(other, ()))
            readings = dict.fromkeys(r for s in sensors for r in combining.get(s, ()))
            self._values[q] = [(Signal.SENSOR, s) for s in sensors] + [(Signal.READING, r) for r in readings]
        self._confirming: dict[str, list[Origin]] = {}
        for line in scheme.lines.values():
            for path in scheme.outputs[line.output].drives if line.output else ():
                self._confirming.setdefault(path, []).append((Signal.LINE, line.name))

    def reading(self, sensor: str) -> list[Origin]:
        """What a sensor's reading is seen as: itself, and the derived readings it is part of."""
        return [(Signal.SENSOR, sensor), *((Signal.READING, r) for r in self._combining.get(sensor, ()))]

    def of(self, condition: Condition) -> list[Origin]:
        """Sensors and readings for a quantity; for a path also the lines that confirm its outputs."""
        if condition.signal is Signal.QUANTITY:
            return self._values[condition.name]
        own = (condition.signal, condition.name)
        return [own, *self._confirming.get(condition.name, ())] if condition.signal is Signal.PATH else [own]
