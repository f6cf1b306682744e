"""The connections of an installation: each part of the scheme with a terminal or a wire, and the photographs of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import PurePath

from interlock.scheme.grammar import nearest
from interlock.scheme.model import Scheme

# Formats that a plain viewer of any system opens, and is likely to open in ten years.
PICTURES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".pdf")
WHOLE = "overview"  # what a photograph of the whole installation is called


@dataclass(frozen=True, slots=True)
class Connection:
    """One part with a label for people: `kind` is sensor, line or output; an absent label is ""."""

    part: str
    kind: str
    terminal: str
    wire: str

    @property
    def labels(self) -> tuple[str, ...]:
        """What a photograph of it may be tied to."""
        return tuple(label for label in (self.terminal, self.wire, self.part) if label)

    def words(self) -> str:
        """`K1, output: terminal X3.1, wire W21`."""
        said = [f"terminal {self.terminal}" if self.terminal else "", f"wire {self.wire}" if self.wire else ""]
        return f"{self.part}, {self.kind}: {', '.join(s for s in said if s)}"


class LabelError(ValueError):
    """A photograph that can't be tied to a connection: what, and what to do."""

    def __init__(self, message: str, help_text: str) -> None:
        super().__init__(message)
        self.help = help_text


def connections(scheme: Scheme) -> tuple[Connection, ...]:
    """The parts with a label, in the scheme's order."""
    return tuple(c for c in _parts(scheme) if c.terminal or c.wire)


def unlabelled(scheme: Scheme) -> tuple[str, ...]:
    """The sensors, lines and outputs that no photograph can be tied to, for want of a label."""
    return tuple(c.part for c in _parts(scheme) if not (c.terminal or c.wire))


def _parts(scheme: Scheme) -> Iterable[Connection]:
    for kind, parts in (("sensor", scheme.sensors), ("line", scheme.lines), ("output", scheme.outputs)):
        for name, part in parts.items():
            yield Connection(name, kind, part.terminal, part.wire)


def tied(label: str, known: Iterable[Connection]) -> tuple[str, ...]:
    """The parts a label stands for: one label may be on several. Raises LabelError where nothing bears it."""
    known = tuple(known)
    found = tuple(c.part for c in known if label in c.labels)
    if not found:
        labels = [each for c in known for each in c.labels]
        raise LabelError(
            f"nothing in the scheme bears the label `{label}`",
            nearest(label, labels) or "name a `terminal:` or `wire:` of the scheme, or the part itself",
        )
    return found


def labels_of_name(file: str, known: Iterable[Connection]) -> tuple[str, ...]:
    """The labels a file's name begins with: `X3.1+X3.2 inside.jpg` shows two; () for one that begins with `overview`.

    A label ends where a letter, a digit or a full stop followed by one can't go on with it. Raises LabelError.
    """
    known = tuple(known)
    stem = PurePath(file).stem
    if stem.lower().startswith(WHOLE):
        return ()
    labels = sorted({label for c in known for label in c.labels}, key=lambda label: (-len(label), label))
    found: list[str] = []
    rest = stem
    while True:
        label = next((each for each in labels if rest.startswith(each) and _ends(rest[len(each) :])), None)
        if label is None:
            raise LabelError(
                f"the name of {file} begins with no label of the scheme",
                f"call it by a terminal, a wire or a part, such as `{known[0].labels[0] if known else 'X1.1'}.jpg`, or"
                f" `{WHOLE} ….jpg` where it shows the whole",
            )
        found.append(label)
        rest = rest[len(label) :]
        if not rest.startswith("+"):
            return tuple(dict.fromkeys(found))
        rest = rest[1:]


def _ends(rest: str) -> bool:
    """Whether a label may end before this: `X1.1` is not the beginning of `X1.10` or of `X1.1.2`."""
    return not rest or not (rest[0].isalnum() or (rest[0] == "." and rest[1:2].isalnum()))


def without_photograph(known: Iterable[Connection], photographs: Mapping[str, Iterable[str]]) -> tuple[Connection, ...]:
    """The connections that no photograph shows; `photographs` gives the parts each file shows."""
    shown = {part for parts in photographs.values() for part in parts}
    return tuple(c for c in known if c.part not in shown)
