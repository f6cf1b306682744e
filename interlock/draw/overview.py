"""The overview: sources, the pack, loads; what stands behind what, and what can stop each."""

from __future__ import annotations

from interlock.draw.graph import Arrow, Box, Graph, draw_graph
from interlock.draw.page import Drawing
from interlock.draw.style import Stroke
from interlock.scheme.model import Condition, Path, Scheme

PACK = "the pack"
SHOWN = 6  # rules named in a box before the rest are counted


def draw_overview(scheme: Scheme, *, portable: bool = False) -> Drawing:
    """One graph: current flows from left to right, through whatever a path stands behind."""
    graph = Graph(rank_gap=36)
    graph.boxes.append(Box("pack", PACK, (), "the battery", stroke=Stroke.HEAVY, shaded=True))
    for path in scheme.paths.values():
        graph.boxes.append(_box(scheme, path))
    for path in scheme.paths.values():
        graph.arrows += _arrows(scheme, path)
    svg = draw_graph(
        scheme,
        "Overview",
        "Charge sources to the left of the pack, loads to the right. " + _in_words(scheme),
        graph,
        says="Current flows along the arrows. Each box names what can stop it; a path behind another stops with it.",
        portable=portable,
    )
    return Drawing("overview", "Overview", svg)


def stoppers(scheme: Scheme, path: str) -> list[str]:
    """The rules that can stop a path, in the scheme's order: those of a unit that drives it."""
    units = {scheme.outputs[o].unit for o in scheme.paths[path].outputs}
    return [r.name for r in scheme.rules.values() if r.unit in units and any(t.path == path for t in r.blocks)]


def _box(scheme: Scheme, path: Path) -> Box:
    lines = []
    if path.outputs:
        lines.append("through " + " and ".join(path.outputs))
    if path.unswitched:
        lines.append(f"not switched: {path.unswitched}")
    rules = stoppers(scheme, path.name) if path.outputs else []
    if rules:
        more = len(rules) - SHOWN
        lines.append("stopped by " + ", ".join(rules[:SHOWN]) + (f" and {more} more" if more > 0 else ""))
    elif path.outputs:
        lines.append("no rule stops it")
    starters = [r.name for r in scheme.rules.values() if path.name in r.starts]
    if starters:
        lines.append("started by " + ", ".join(starters))
    says = f"{path.name}: {path.why}" if path.why else path.name
    stroke = Stroke.DASHED if path.unswitched else Stroke.PLAIN
    return Box(path.name, path.name, tuple(lines), says, f"logic_{path.name}.svg", stroke=stroke, widest=140)


def _mode(conditions: tuple[Condition, ...]) -> str:
    return "while " + " and ".join(f"{c.name} {'on' if c.test else 'off'}" for c in conditions) if conditions else ""


def _arrows(scheme: Scheme, path: Path) -> list[Arrow]:
    """From a source through what it stands behind to the pack, and from the pack to a load."""
    nearer = path.behind or "pack"
    charges = path.flow.charge is not None or _carries(scheme, path.name, charge=True)
    draws = path.flow.discharge is not None or _carries(scheme, path.name, charge=False)
    if charges and draws:
        modes = [("charges", path.flow.charge or ()), ("draws", path.flow.discharge or ())]
        words = ", ".join(f"{verb} {_mode(mode)}" for verb, mode in modes if mode)
        return [Arrow(path.name, nearer, words, both=True)]
    if charges:
        return [Arrow(path.name, nearer, _mode(path.flow.charge or ()))]
    if draws:
        return [Arrow(nearer, path.name, _mode(path.flow.discharge or ()))]
    return [Arrow(nearer, path.name, stroke=Stroke.DASHED)] if path.behind else []


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
    said = []
    for path in scheme.paths.values():
        behind = f" behind {path.behind}" if path.behind else ""
        rules = stoppers(scheme, path.name)
        said.append(f"{path.name}{behind}: stopped by {', '.join(rules) if rules else 'no rule'}.")
    return " ".join(said)
