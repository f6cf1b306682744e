"""Groups, paths and outputs: what carries current and how it is let run."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from interlock.records import replace
from interlock.scheme.build_logic import expand, merge_targets, unit_of
from interlock.scheme.draft import Draft
from interlock.scheme.fields import Fields, Named, conditions_of, name_list
from interlock.scheme.grammar import nearest
from interlock.scheme.keys import Form, Section
from interlock.scheme.model import Condition, Flow, Output, Path, Rule, Target
from interlock.scheme.tree import MappingNode, Node, Scalar, kind_of, shortened
from interlock.scheme.words import (
    BUILT_IN_GROUPS,
    Contact,
    DeviceInput,
    Direction,
    EnergisedWhen,
    FlowWord,
)

_FLOWS: dict[FlowWord, Flow] = {
    FlowWord.CHARGE: Flow((), None),
    FlowWord.DISCHARGE: Flow(None, ()),
    FlowWord.BOTH: Flow((), ()),
    FlowWord.NONE: Flow(None, None),
}
assert set(_FLOWS) == set(FlowWord), set(FlowWord) - set(_FLOWS)


def build_paths(draft: Draft) -> dict[str, Path]:
    """The section `paths`; what drives and starts each follows later (`with_drivers`)."""
    built = {}
    for entry, accepted in draft.entries(Section.PATHS):
        found = draft.fields(Section.PATHS, entry)
        if found is None:
            continue
        flow = _flow(draft, found)
        behind = draft.find(found.named("behind"), Section.PATHS)
        unswitched, why = found.text("unswitched"), found.text("why")
        if flow and accepted:
            built[found.name] = Path(found.name, flow, behind, unswitched, why=why, place=found.place)
    _check_behind(draft, built)
    return built


def _flow(draft: Draft, found: Fields) -> Flow | None:
    node = found.node("flow", Form.FLOW)
    if node is None:
        return None
    if isinstance(node, MappingNode):
        return _modes(draft, node)
    words = {str(word): word for word in FlowWord}
    if isinstance(node, Scalar) and node.text in words:
        return _FLOWS[words[node.text]]
    near = nearest(node.text, words) if isinstance(node, Scalar) else ""
    draft.log.report(
        "unknown-word",
        f"`flow` holds {kind_of(node)}",
        node.place,
        f"{near} allowed: {', '.join(words)}, or {{charge: {{LINE: on}}, discharge: {{LINE: off}}}}".strip(),
    )
    return None


def _modes(draft: Draft, node: MappingNode) -> Flow | None:
    found: dict[Direction, tuple[Condition, ...]] = {}
    words = {str(d): d for d in Direction}
    good = bool(node.entries)
    for entry in node.entries:
        direction = words.get(entry.key.text)
        if direction is None or not isinstance(entry.value, MappingNode) or not entry.value.entries:
            good = False
            draft.log.report(
                "bad-value",
                f"`{shortened(entry.key.text)}` holds {kind_of(entry.value)}",
                entry.key.place,
                "expected `charge` or `discharge` and its condition: {charge: {LINE: on}}",
            )
            continue
        found[direction] = draft.conditions(conditions_of(draft.log, entry.value), Section.LINES)
        good = good and len(found[direction]) == len(entry.value.entries)
    if not node.entries:
        draft.log.report("bad-value", "`flow` is empty", node.place, "expected {charge: {LINE: on}}")
    return Flow(found.get(Direction.CHARGE), found.get(Direction.DISCHARGE)) if good else None


def _check_behind(draft: Draft, paths: Mapping[str, Path]) -> None:
    done: set[str] = set()
    for path in paths.values():
        chain = [path.name]
        while (ahead := paths[chain[-1]].behind) in paths and ahead not in chain and ahead not in done:
            chain.append(ahead)
        if ahead in chain:
            loop = [*chain[chain.index(ahead) :], ahead]
            draft.log.report(
                "loop",
                "paths stand behind each other: " + " → ".join(loop),
                paths[ahead].place,
                "remove one `behind`",
                tuple((paths[name].place, f"`{name}`") for name in loop[1:-1]),
            )
        done.update(chain)


def built_in_groups(paths: Mapping[str, Path]) -> dict[str, tuple[Target, ...]]:
    """sources, loads and all; a path with modes belongs to a direction only while that mode's condition holds."""
    groups = {}
    for group, directions in BUILT_IN_GROUPS.items():
        targets = []
        for path in paths.values():
            modes = {Direction.CHARGE: path.flow.charge, Direction.DISCHARGE: path.flow.discharge}
            taken = [
                mode for direction in Direction if direction in directions and (mode := modes[direction]) is not None
            ]
            if taken:
                always = any(not mode for mode in taken)
                targets.append(Target(path.name, () if always else tuple(dict.fromkeys(taken)), group))
        groups[group] = tuple(targets)
    return groups


def build_groups(draft: Draft, paths: Mapping[str, Path]) -> dict[str, tuple[Target, ...]]:
    """The built-in groups and the scheme's own, expanded. A group may hold groups."""
    groups = built_in_groups(paths)
    waiting: dict[str, list[Named]] = {}
    for entry, accepted in draft.entries(Section.GROUPS):
        members = _members(draft, entry.key.text, entry.value, Fields if isinstance(entry.value, MappingNode) else None)
        if accepted:
            waiting[entry.key.text] = members
    while waiting:
        own = set(waiting)
        ready = [g for g, members in waiting.items() if not any(m.text in own for m in members)]
        if not ready:
            loop = sorted(waiting)
            _, place = draft.declared[loop[0]]
            draft.log.report("loop", "groups hold each other: " + ", ".join(loop), place, "a group may not hold itself")
            break
        for group in ready:
            members = waiting.pop(group)
            groups[group] = merge_targets(tuple(t for m in members for t in expand(draft, m, groups)))
    return groups


def _members(draft: Draft, name: str, node: Node, as_mapping: type[Fields] | None) -> list[Named]:
    if as_mapping and isinstance(node, MappingNode):
        found = Fields(draft.log, Section.GROUPS, name, draft.declared.get(name, (None, node.place))[1], node)
        found.text("why")
        return found.names("members")
    return name_list(draft.log, name, node)


def build_outputs(draft: Draft, units: tuple[str, ...]) -> dict[str, Output]:
    """The section `outputs`."""
    built = {}
    for entry, accepted in draft.entries(Section.OUTPUTS):
        found = draft.fields(Section.OUTPUTS, entry)
        if found is None:
            continue
        output = _output(draft, found, units)
        if output and accepted:
            built[output.name] = output
    return built


def _output(draft: Draft, found: Fields, units: tuple[str, ...]) -> Output | None:
    unit = unit_of(draft, found, units)
    drives = tuple(path for named in found.names("drives") if (path := draft.find(named, Section.PATHS)))
    contact, runs_when = found.word("contact", Contact), found.word("runs_when", DeviceInput)
    energised_when = found.word("energised_when", EnergisedWhen) or EnergisedWhen.RUNS
    stops, starts = found.time("stops_within"), found.time("starts_within")
    texts = found.text("terminal"), found.text("wire"), found.text("why")
    if not unit or not drives or contact is None or runs_when is None:
        return None
    return Output(
        found.name, unit, drives, contact, runs_when, energised_when, draft.delay(stops), draft.delay(starts), *texts,
        found.place,
    )  # fmt: skip


def with_drivers(
    draft: Draft, paths: Mapping[str, Path], outputs: Mapping[str, Output], rules: Mapping[str, Rule]
) -> dict[str, Path]:
    """Paths with the outputs that drive them and the unit whose rules start them; conflicts are reported."""
    complete = len(outputs) == len(draft.names(Section.OUTPUTS))
    drivers: dict[str, list[str]] = {}
    for output in outputs.values():
        for driven in output.drives:
            drivers.setdefault(driven, []).append(output.name)
    starters: dict[str, list[Rule]] = {}
    for rule in rules.values():
        for started in rule.starts:
            starters.setdefault(started, []).append(rule)
    built = {}
    for name, path in paths.items():
        driving = tuple(drivers.get(name, ()))
        if driving and path.unswitched:
            draft.log.report(
                "keys-exclude",
                f"`{name}` is unswitched and `{driving[0]}` drives it",
                path.place,
                "remove one of the two",
                ((outputs[driving[0]].place, "driven here"),),
            )
        if not driving and not path.unswitched and complete:
            draft.log.report(
                "path-without-output",
                f"no output drives `{name}`",
                path.place,
                "add an output that drives it, or say `unswitched: REASON`",
            )
        built[name] = replace(path, outputs=driving, started_by=_starter(draft, path, starters.get(name, ())))
    return built


def _starter(draft: Draft, path: Path, starters: Iterable[Rule]) -> str:
    units = {rule.unit: rule for rule in starters}
    if len(units) > 1:
        draft.log.report(
            "started-by-two-units",
            f"`{path.name}` is started by rules of " + " and ".join(f"`{u}`" for u in units),
            path.place,
            "let the rules of one unit start it",
            tuple((rule.place, f"`{rule.name}` is a rule of `{u}`") for u, rule in units.items()),
        )
    return next(iter(units), "")
