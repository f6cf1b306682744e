"""The section `faults`: what is left out, added, tied together, or has a rate."""

from __future__ import annotations

from collections.abc import Mapping

from msgspec import Struct

from interlock.records import replace
from interlock.scheme.build_truth import changed_errors, check_admits_all
from interlock.scheme.draft import Draft
from interlock.scheme.fields import NAME, Fields, Named
from interlock.scheme.grammar import nearest
from interlock.scheme.keys import Section
from interlock.scheme.model import Exclusion, Fault, Rate, Sensor, find_fault
from interlock.scheme.source import Place
from interlock.scheme.tree import Entry, MappingNode, SequenceNode, kind_of, shortened
from interlock.scheme.truth import Bounds
from interlock.scheme.words import Mode, Part


class Catalogue(Struct):
    """The faults in force, those left out with their reasons, and the rates."""

    faults: dict[str, Fault]
    excluded: dict[str, Fault]
    exclusions: list[Exclusion]
    rates: dict[str, Rate]

    def find(self, name: str) -> Fault | None:
        """A fault by name, left out or not, a swap named either way round."""
        return find_fault(name, self.faults, self.excluded)


def named_fault(draft: Draft, named: Named, catalogue: Catalogue) -> Fault | None:
    """A fault by name; None (reported) where there is none."""
    fault = catalogue.find(named.text)
    if fault is None:
        known = [*catalogue.faults, *catalogue.excluded]
        draft.log.report(
            "unknown-fault",
            f"there is no fault `{shortened(named.text)}`",
            named.place,
            nearest(named.text, known) or "a fault is PART.mode, such as `K1.welded`, or a common cause's name",
        )
    return fault


def build_faults(
    draft: Draft,
    derived: tuple[dict[str, Fault], dict[str, tuple[Fault, str]]],
    sensors: Mapping[str, Sensor],
    truths: Bounds,
) -> Catalogue:
    """The catalogue after the scheme's own words on it."""
    derivable, meaningless = derived
    catalogue = Catalogue(
        dict(derivable),
        {name: fault for name, (fault, _) in meaningless.items()},
        [Exclusion(name, reason) for name, (_, reason) in meaningless.items()],
        {},
    )
    entries = [entry for entry, _ in draft.entries(Section.FAULTS)]
    read = [(entry, fields) for entry in entries if (fields := _fields(draft, entry))]
    for entry, fields in read:
        if fields.has("like") or fields.has("error"):
            _add(draft, entry, fields, catalogue, sensors, truths)
    for entry, fields in read:
        if fields.has("together"):
            _tie(draft, entry, fields, catalogue)
    for entry, fields in read:
        _leave_out_and_rate(draft, entry, fields, catalogue)
    return catalogue


def _fields(draft: Draft, entry: Entry) -> Fields | None:
    if isinstance(entry.value, SequenceNode):
        draft.log.report(
            "bad-value", f"`{entry.key.text}` holds {kind_of(entry.value)}", entry.value.place, "expected a mapping"
        )
        return None
    fields = draft.fields(Section.FAULTS, entry)
    if fields is None:
        return None
    given = [key for key in ("excluded", "together", "like") if fields.has(key)]
    if len(given) > 1:
        draft.log.report(
            "keys-exclude",
            f"`{fields.name}` has " + " and ".join(f"`{g}`" for g in given),
            fields.key_place(given[1]),
            "keep one of them",
        )
        return None
    if not given and not fields.has("rate") and not fields.has("error"):
        draft.log.report(
            "missing-key", f"`{fields.name}` says nothing", fields.place, "expected excluded, together, like or rate"
        )
        return None
    return fields


def _add(
    draft: Draft,
    entry: Entry,
    fields: Fields,
    catalogue: Catalogue,
    sensors: Mapping[str, Sensor],
    truths: Bounds,
) -> None:
    """`PART.mode: {like: drifted, error: …}`: one more way in which a sensor can be wrong."""
    name = entry.key.text
    part, _, mode = name.rpartition(".")
    like = fields.named("like")
    words = {str(m): m for m in (Mode.DRIFTED, Mode.MISPLACED)}
    acts = words.get(like.text if like else mode)
    if part not in sensors or not NAME.match(mode):
        draft.log.report(
            "unknown-fault", f"`{shortened(name)}` adds a fault to no sensor", fields.place, "name it SENSOR.mode"
        )
        return
    if acts is None:
        draft.log.report(
            "bad-value",
            f"`{name}` does not say how it acts",
            like.place if like else fields.place,
            "like: drifted (arises in service) or like: misplaced (there from installation)",
        )
        return
    if catalogue.find(name):
        draft.log.report(
            "duplicate-fault", f"`{name}` is in the catalogue already", fields.place, "give it another name"
        )
        return
    sensor = sensors[part]
    error = changed_errors(draft, fields, "error", {e.quantity: e.interval for e in sensor.measures})
    if not fields.has("error"):
        draft.log.report("missing-key", f"`{name}` has no `error`", fields.place, "error: reading minus truth")
    if error:
        check_admits_all(draft.log, replace(sensor, place=fields.place), error, truths, name)
        catalogue.faults[name] = Fault(name, Part.SENSOR, acts, (part,), error)


def _tie(draft: Draft, entry: Entry, fields: Fields, catalogue: Catalogue) -> None:
    """`NAME: {together: [...]}`: a common cause."""
    name = entry.key.text
    members = [fault for named in fields.fault_names("together") if (fault := named_fault(draft, named, catalogue))]
    if not NAME.match(name) or name in catalogue.faults or name in draft.declared:
        draft.log.report(
            "bad-name", f"`{shortened(name)}` can't name a common cause", fields.place, "choose a new plain name"
        )
        return
    if len(members) == len(_written(entry)) and len(members) > 1:
        singles = tuple(dict.fromkeys(single for fault in members for single in fault.single()))
        swapped = [part for f in singles if f.mode is Mode.SWAPPED for part in f.parts]
        if len(swapped) != len(set(swapped)):
            draft.log.report(
                "swaps-share-a-part", f"`{name}` exchanges one part twice", fields.place, "keep one of the swaps"
            )
            return
        first = singles[0]
        catalogue.faults[name] = Fault(name, first.part, first.mode, first.parts, first.error, singles)
    elif len(members) == len(_written(entry)):
        draft.log.report(
            "bad-value", f"`{name}` ties one fault to nothing", fields.value_place("together"), "name two or more"
        )


def _written(entry: Entry) -> list[object]:
    node = entry.value.get("together") if isinstance(entry.value, MappingNode) else None
    return list(node.items) if isinstance(node, SequenceNode) else [node]


def _leave_out_and_rate(draft: Draft, entry: Entry, fields: Fields, catalogue: Catalogue) -> None:
    name = Named(entry.key.text, entry.key.place)
    rate, source, reason = fields.rate("rate"), fields.text("source"), fields.text("excluded")
    fields.text("why")
    if rate is not None and not source:
        draft.log.report(
            "missing-key", f"the rate of `{name.text}` has no source", fields.place, "source: where the figure is from"
        )
    if not fields.has("excluded") and not fields.has("rate"):
        return
    fault = named_fault(draft, name, catalogue)
    if fault is None:
        return
    if rate is not None and fault.installation:
        draft.log.report(
            "rate-of-mistake",
            f"`{fault.name}` is a mistake of installation: there from the beginning or never, it has no rate per hour",
            fields.value_place("rate"),
            "leave the rate out; exclude the fault with a reason, or test for it at commissioning",
        )
    elif rate is not None:
        catalogue.rates[fault.name] = Rate(rate, source)
    if fields.has("excluded") and reason:
        _exclude(catalogue, fault, reason, fields.place)


def _exclude(catalogue: Catalogue, fault: Fault, reason: str, place: Place) -> None:
    if catalogue.faults.pop(fault.name, None):
        catalogue.excluded[fault.name] = fault
        catalogue.exclusions.append(Exclusion(fault.name, reason, place))
