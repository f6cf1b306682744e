"""A drawn fault tree read back from its lines alone: what touches what, and which words stand in the gates."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from interlock.draw.gates import GATE_HEIGHT, GATE_WIDTH, RADIUS
from interlock.faults.tree import Tree, from_data

SVG = "{http://www.w3.org/2000/svg}"
NEAR = 0.06  # coordinates are written to a hundredth

Point = tuple[float, float]
Segment = tuple[float, float, float, float]  # left, top, right, bottom


@dataclass
class DrawnGate:
    """A gate: the word in it, whether its back is flat, where lines come in and go out."""

    name: str
    word: str
    flat: bool
    back: Point
    tip: Point


@dataclass
class DrawnSheet:
    """One sheet: its lines, events and gates by where their lines begin, what leads elsewhere, and its box."""

    segments: list[Segment]
    sources: dict[str, Point]
    gates: list[DrawnGate]
    elsewhere: dict[str, int]
    counted: int
    box: Segment  # left, top, right, bottom
    box_text: str


def numbers(text: str) -> list[float]:
    return [float(v) for v in re.findall(r"-?[\d.]+", text)]


def read_sheet(svg: str, number: int) -> DrawnSheet:
    root = ET.fromstring(svg)
    found = DrawnSheet([], {}, [], {}, 0, (0, 0, 0, 0), "")
    for line in root.iter(f"{SVG}line"):
        x1, y1, x2, y2 = (float(line.get(k, "0")) for k in ("x1", "y1", "x2", "y2"))
        if line.get("stroke-width") != "1.6":  # not that of the hatching
            found.segments.append((min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2)))
    for group in root.iter(f"{SVG}g"):
        ident, title = group.get("id", ""), group.findtext(f"{SVG}title") or ""
        path, polygon = group.find(f"{SVG}path"), group.find(f"{SVG}polygon")
        if ident.startswith("gate-") and path is not None:
            x, top = numbers(path.get("d", ""))[:2]
            y = top + GATE_HEIGHT / 2
            flat = " A" in path.get("d", "")
            inward = x if flat else x + 3.5
            word = group.findtext(f"{SVG}text") or ""
            found.gates.append(DrawnGate(f"{number}:{ident}", word, flat, (inward, y), (x + GATE_WIDTH, y)))
        elif ident == "claim":
            box = group.find(f"{SVG}rect")
            assert box is not None
            x, y, width, height = (float(box.get(k, "0")) for k in ("x", "y", "width", "height"))
            found.box, found.box_text = (x, y, x + width, y + height), title
        elif path is not None:
            x, y = numbers(path.get("d", ""))[:2]
            name = title.partition(": ")[0]
            found.sources[f"{len(found.sources)} {name}"] = (x + 2 * RADIUS, y)
        elif polygon is not None:
            points = numbers(polygon.get("points", ""))
            middle = (max(points[::2]) + min(points[::2])) / 2, (max(points[1::2]) + min(points[1::2])) / 2
            name = f"{len(found.sources)} {title}"
            sheet = re.match(r"(?:part \w+|[\d,]+ more) on sheet (\d+)", title)
            more = re.match(r"and ([\d,]+) more", title)
            assert sheet or more, title
            if sheet:
                assert len(points) == 6  # a triangle
                found.sources[name] = (middle[0] + RADIUS, middle[1])
                found.elsewhere[name] = int(sheet[1])
            elif more:
                assert len(points) == 8  # a diamond
                found.counted = int(more[1].replace(",", ""))
    return found


def on(point: Point, segment: Segment) -> bool:
    x1, y1, x2, y2 = segment
    return x1 - NEAR <= point[0] <= x2 + NEAR and y1 - NEAR <= point[1] <= y2 + NEAR


class Nets:
    """Lines that touch with an end are one."""

    def __init__(self, segments: list[Segment]) -> None:
        self.segments = segments
        self.net = list(range(len(segments)))
        for i, (x1, y1, x2, y2) in enumerate(segments):
            for j, other in enumerate(segments):
                if i != j and (on((x1, y1), other) or on((x2, y2), other)):
                    old, new = self.net[i], self.net[j]
                    self.net = [new if n == old else n for n in self.net]

    def at(self, point: Point) -> int:
        found = {self.net[i] for i, s in enumerate(self.segments) if on(point, s)}
        assert len(found) == 1, (point, found)
        return found.pop()


def read_tree(svgs: Iterable[str]) -> tuple[Tree, int]:
    """The tree that the sheets show together, and how many cut sets they only count."""
    data: dict[str, tuple[str, list[str]]] = {}
    sheets = {number: read_sheet(svg, number) for number, svg in enumerate(svgs, 1)}
    for number, sheet in sheets.items():
        nets = Nets(sheet.segments)
        outputs: dict[int, list[str]] = {}
        for name, point in sheet.sources.items():
            target = f"sheet {sheet.elsewhere[name]}" if name in sheet.elsewhere else name.partition(" ")[2]
            outputs.setdefault(nets.at(point), []).append(target)
        for gate in sheet.gates:
            outputs.setdefault(nets.at(gate.tip), []).append(gate.name)
        for gate in sheet.gates:
            inputs = outputs.pop(nets.at(gate.back))
            assert gate.flat == (gate.word in ("both", "all")), gate
            assert gate.word != "both" or len(inputs) == 2
            vote = re.fullmatch(r"(\d+)(?: of |/)(\d+)", gate.word)
            assert not vote or int(vote[2]) == len(inputs)
            data[gate.name] = (vote[1] if vote else "and" if gate.flat else "or", inputs)
        left, top, _, bottom = sheet.box
        leading = {nets.net[i] for i, s in enumerate(sheet.segments) if abs(s[2] - left) < NEAR and top < s[1] < bottom}
        (net,) = leading
        data[f"sheet {number}"] = ("or", outputs.pop(net))
        assert not outputs, outputs  # nothing leads nowhere
    return from_data("sheet 1", data), sum(s.counted for s in sheets.values())
