"""The overview: sources, the pack, loads; what stands behind what, and what can stop each."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.draw.graph import PACK, Arrow, Box, Graph, draw_graph
from interlock.draw.page import Drawing
from interlock.draw.said import all_of, listed, said, titled
from interlock.draw.style import Stroke
from interlock.draw.words import side_text, signal_text
from interlock.scheme.model import Condition, Path, Scheme
from interlock.scheme.words import Signal

SHOWN = 6  # rules named in a box before the rest are counted


def draw_overview(scheme: Scheme, *, portable: bool = False) -> Drawing:
    """One graph: current flows from left to right, through whatever a path stands behind."""
    graph = Graph(rank_gap=36)
    graph.boxes.append(Box(PACK, said("the pack"), (), said("the battery"), stroke=Stroke.HEAVY, shaded=True))
    for path in scheme.paths.values():
        graph.boxes.append(_box(scheme, path))
    for path in scheme.paths.values():
        graph.arrows += _arrows(scheme, path)
    svg = draw_graph(
        scheme,
        said("Overview"),
        f"{said('Charge sources to the left of the pack, loads to the right.')} {_in_words(scheme)}",
        graph,
        says=said(
            "Current flows along the arrows. Each box names what can stop it; a path behind another stops with it."
        ),
        portable=portable,
    )
    return Drawing("overview", said("Overview"), svg)


def stoppers(scheme: Scheme, path: str) -> list[str]:
    """The rules that can stop a path, in the scheme's order: those of a unit that drives it."""
    units = {scheme.outputs[o].unit for o in scheme.paths[path].outputs}
    return [r.name for r in scheme.rules.values() if r.unit in units and any(t.path == path for t in r.blocks)]


def _box(scheme: Scheme, path: Path) -> Box:
    lines = []
    if path.outputs:
        lines.append(said("through {outputs}", outputs=all_of(path.outputs)))
    if path.unswitched:
        lines.append(said("not switched: {reason}", reason=path.unswitched))
    rules = stoppers(scheme, path.name) if path.outputs else []
    if rules:
        lines.append(said("stopped by {rules}", rules=_some(rules)))
    elif path.outputs:
        lines.append(said("no rule stops it"))
    starters = [r.name for r in scheme.rules.values() if path.name in r.starts]
    if starters:
        lines.append(said("started by {rules}", rules=listed(starters)))
    says = titled(path.name, path.why)
    stroke = Stroke.DASHED if path.unswitched else Stroke.PLAIN
    return Box(path.name, path.name, tuple(lines), says, f"logic_{path.name}.svg", stroke=stroke, widest=140)


def _some(rules: Sequence[str]) -> str:
    """The first of them, and how many more."""
    more = len(rules) - SHOWN
    if more <= 0:
        return listed(rules)
    return said("{rules} and {count} more", rules=listed(rules[:SHOWN]), count=more)


def _mode(conditions: tuple[Condition, ...]) -> str:
    """`shore_mode on and genset_mode off`."""
    return all_of(signal_text(c.name, side_text(Signal.LINE, first=c.test is True)) for c in conditions)


def _while(conditions: tuple[Condition, ...]) -> str:
    return said("while {conditions}", conditions=_mode(conditions)) if conditions else ""


def _arrows(scheme: Scheme, path: Path) -> list[Arrow]:
    """From a source through what it stands behind to the pack, and from the pack to a load."""
    nearer, other = path.behind or PACK, path.behind or said("the pack")
    charges = path.flow.charge is not None or _carries(scheme, path.name, charge=True)
    draws = path.flow.discharge is not None or _carries(scheme, path.name, charge=False)
    if charges and draws:
        told = []
        if path.flow.charge:
            told.append(said("charges while {conditions}", conditions=_mode(path.flow.charge)))
        if path.flow.discharge:
            told.append(said("draws while {conditions}", conditions=_mode(path.flow.discharge)))
        words = listed(told)
        says = said("{path} charges and draws from {other}", path=path.name, other=other)
        return [Arrow(path.name, nearer, _with(says, words), words, both=True)]
    if charges:
        words = _while(path.flow.charge or ())
        says = said("{path} charges {other}", path=path.name, other=other)
        return [Arrow(path.name, nearer, _with(says, words), words)]
    if draws:
        words = _while(path.flow.discharge or ())
        says = said("{path} draws from {other}", path=path.name, other=other)
        return [Arrow(nearer, path.name, _with(says, words), words)]
    behind = said("{path} stands behind {other}", path=path.name, other=other)
    return [Arrow(nearer, path.name, behind, stroke=Stroke.DASHED)] if path.behind else []


def _with(says: str, words: str) -> str:
    return said("{sentence}: {words}", sentence=says, words=words) if words else says


def _carries(scheme: Scheme, name: str, *, charge: bool) -> bool:
    """Whether current of that direction of a path behind this one passes it."""
    return any(
        other.behind == name
        and (
            (other.flow.charge if charge else other.flow.discharge) is not None
            or _carries(scheme, other.name, charge=charge)
        )
        for other in scheme.paths.values()
    )


def _in_words(scheme: Scheme) -> str:
    told = []
    for path in scheme.paths.values():
        name = said("{path} behind {other}", path=path.name, other=path.behind) if path.behind else path.name
        rules = stoppers(scheme, path.name)
        told.append(
            said("{path}: stopped by {rules}.", path=name, rules=listed(rules))
            if rules
            else said("{path}: stopped by no rule.", path=name)
        )
    return " ".join(told)
