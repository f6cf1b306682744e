"""Boxes and arrows put in their places by Graphviz's dot; drawn by ourselves.

Only coordinates come from the renderer: box sizes are ours, measured from their texts, so one look and one font hold
for all drawings. `dot` is used where it is installed, else the `graphviz-pure` package's program; regenerating the
project's own diagrams always uses the latter, whose output is the same everywhere.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from interlock.draw.style import Stroke

INCH = 72.0
PORTABLE = "graphviz-pure"
LONGEST_S = 60


class NoRendererError(Exception):
    """Neither dot nor its portable twin could lay a drawing out."""


@dataclass(frozen=True, slots=True)
class Node:
    """A box to be placed, by its size. `rank`: nodes of one rank share a column; `cluster`: a frame it stands in."""

    ident: str
    width: float
    height: float
    rank: str = ""
    cluster: str = ""


@dataclass(frozen=True, slots=True)
class Edge:
    """An arrow to be routed. `label_width` and `label_height` keep room for words beside it."""

    tail: str
    head: str
    label_width: float = 0
    label_height: float = 0
    stroke: Stroke = Stroke.PLAIN
    constrains: bool = True
    both: bool = False
    tail_port: str = "e"
    head_port: str = "w"


Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Routed:
    """A routed arrow: Bézier control points (1 + 3 n), the tips of its heads, the middle of its label."""

    edge: Edge
    points: tuple[Point, ...]
    tip: Point | None
    start: Point | None
    label: Point | None

    def moved(self, dx: float, dy: float) -> Routed:
        """The same, elsewhere."""

        def move(point: Point | None) -> Point | None:
            return (point[0] + dx, point[1] + dy) if point else None

        points = tuple((x + dx, y + dy) for x, y in self.points)
        return Routed(self.edge, points, move(self.tip), move(self.start), move(self.label))

    def path(self) -> str:
        """The arrow as an SVG path, up to the foot of its head."""
        from interlock.draw.svg import number

        (x, y), *rest = self.points
        curves = " ".join(f"{number(a)},{number(b)}" for a, b in rest)
        return f"M{number(x)},{number(y)} C{curves}"


@dataclass(frozen=True, slots=True)
class Layout:
    """Everything in its place, y downwards from 0. `places` are middles; `frames` are (x, y, width, height)."""

    width: float
    height: float
    places: dict[str, Point]
    arrows: tuple[Routed, ...]
    frames: dict[str, tuple[float, float, float, float]]


def renderer(*, portable: bool = False) -> str:
    """The program that lays out. Raises NoRendererError."""
    beside = Path(sys.executable).parent / PORTABLE
    choices = [
        None if portable else shutil.which("dot"),
        str(beside) if beside.exists() else None,
        shutil.which(PORTABLE),
    ]
    for choice in choices:
        if choice:
            return choice
    raise NoRendererError(f"neither `dot` nor `{PORTABLE}` is to be found: pip install graphviz-pure")


def laid_out(
    nodes: Sequence[Node],
    edges: Sequence[Edge],
    *,
    clusters: Sequence[tuple[str, float]] = (),
    rank_gap: float = 40,
    node_gap: float = 12,
    portable: bool = False,
) -> Layout:
    """Place nodes left to right along the edges. `clusters`: frames with the width their label needs.

    Raises NoRendererError.
    """
    source = _dot_source(nodes, edges, clusters, rank_gap, node_gap)
    program = renderer(portable=portable)
    try:
        done = subprocess.run(
            [program, "-Kdot", "-Tjson0"],
            input=source,
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=LONGEST_S,
            check=True,
        )
    except (OSError, subprocess.SubprocessError) as error:
        raise NoRendererError(f"{program} could not lay the drawing out: {error}") from error
    return _parse(json.loads(done.stdout), nodes, edges, clusters)


def _dot_source(
    nodes: Sequence[Node],
    edges: Sequence[Edge],
    clusters: Sequence[tuple[str, float]],
    rank_gap: float,
    node_gap: float,
) -> str:
    """The graph for dot. Names are our own numbers: no text of a scheme ever reaches it."""
    from graphviz import Digraph

    index = {node.ident: f"n{i}" for i, node in enumerate(nodes)}
    graph = Digraph(
        graph_attr={"rankdir": "LR", "ranksep": _inches(rank_gap), "nodesep": _inches(node_gap), "newrank": "true"},
        node_attr={"shape": "box", "fixedsize": "true", "label": ""},
        edge_attr={"arrowsize": "0.6"},
    )
    for number, (name, width) in enumerate(clusters):
        with graph.subgraph(name=f"cluster_{number}", graph_attr={"margin": "12", "label": _room(width, 14)}) as frame:
            for node in nodes:
                if node.cluster == name:
                    _add(frame, index[node.ident], node)
    for node in nodes:
        if not node.cluster:
            _add(graph, index[node.ident], node)
    ranks: dict[str, list[str]] = {}
    for node in nodes:
        if node.rank:
            ranks.setdefault(node.rank, []).append(index[node.ident])
    for members in ranks.values():
        with graph.subgraph(graph_attr={"rank": "same"}) as column:
            for member in members:
                column.node(member)
    for number, edge in enumerate(edges):
        attributes = {"id": str(number)}
        if edge.label_width:
            attributes["label"] = _room(edge.label_width, edge.label_height)
        if not edge.constrains:
            attributes["constraint"] = "false"
        if edge.both:
            attributes["dir"] = "both"
        tail, head = f"{index[edge.tail]}:{edge.tail_port}", f"{index[edge.head]}:{edge.head_port}"
        graph.edge(tail, head, **attributes)
    return str(graph.source)


def _inches(points: float) -> str:
    return f"{points / INCH:.4f}"


def _room(width: float, height: float) -> str:
    """An empty label of that size in points, to be filled by ourselves."""
    size = f'WIDTH="{width:.0f}" HEIGHT="{height:.0f}"'
    return f'<<TABLE BORDER="0" FIXEDSIZE="TRUE" {size}><TR><TD></TD></TR></TABLE>>'


def _add(graph: Any, name: str, node: Node) -> None:
    graph.node(name, width=_inches(node.width), height=_inches(node.height))


def _parse(
    data: dict[str, object], nodes: Sequence[Node], edges: Sequence[Edge], clusters: Sequence[tuple[str, float]]
) -> Layout:
    box = [float(v) for v in str(data["bb"]).split(",")]
    height = box[3]

    def point(text: str) -> Point:
        x, y = text.split(",")[:2]
        return float(x), height - float(y)

    places: dict[str, Point] = {}
    frames: dict[str, tuple[float, float, float, float]] = {}
    objects = data["objects"]
    assert isinstance(objects, list)
    for item in objects:
        name = str(item["name"])
        if name.startswith("cluster_"):
            x1, y1, x2, y2 = (float(v) for v in str(item["bb"]).split(","))
            frames[clusters[int(name[8:])][0]] = (x1, height - y2, x2 - x1, y2 - y1)
        elif name.startswith("n"):
            places[nodes[int(name[1:])].ident] = point(str(item["pos"]))
    routed = []
    found = data.get("edges", [])
    assert isinstance(found, list)
    for edge, item in zip(edges, sorted(found, key=lambda e: int(e["id"])), strict=True):
        tip = start = None
        points = []
        for word in str(item["pos"]).split():
            if word.startswith("e,"):
                tip = point(word[2:])
            elif word.startswith("s,"):
                start = point(word[2:])
            else:
                points.append(point(word))
        label = point(str(item["lp"])) if "lp" in item else None
        routed.append(Routed(edge, tuple(points), tip, start, label))
    return Layout(box[2], height, places, tuple(routed), frames)
