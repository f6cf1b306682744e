"""Records: those compared without some of their fields, such as where in its file a thing stands; and a changed copy of
any record, be it a struct or a dataclass."""

from __future__ import annotations

from functools import cache
from operator import attrgetter
from typing import Any, ClassVar, TypeVar

from msgspec import Struct, structs

R = TypeVar("R")


class Aside(Struct, frozen=True, eq=False):
    """Equality and hash leave out the fields named in `aside`; for the rest it is a struct as any other."""

    aside: ClassVar[tuple[str, ...]] = ("place",)

    def __eq__(self, other: object) -> bool:
        if other.__class__ is not self.__class__:
            return NotImplemented
        compared = _compared(self.__class__)
        return bool(compared(self) == compared(other))

    def __ne__(self, other: object) -> bool:
        # a struct has one of its own, which would go by identity
        return not self == other

    def __hash__(self) -> int:
        return hash(_compared(self.__class__)(self))


@cache
def _compared(kind: type[Aside]) -> attrgetter[Any]:
    """What gets the fields that count: a value where it is one field, else a tuple of them."""
    return attrgetter(*(name for name in kind.__struct_fields__ if name not in kind.aside))


def replace(record: R, /, **changes: Any) -> R:
    """A copy with these fields changed, as `copy.replace` makes one from Python 3.13 on. Raises TypeError for a field
    that it has not."""
    if isinstance(record, Struct):
        return structs.replace(record, **changes)
    from dataclasses import replace as changed

    return changed(record, **changes)  # type: ignore[type-var]
