"""Decks as the command writes them, each made once in a process, and read again."""

from __future__ import annotations

import io
import tempfile
import zipfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from xml.etree import ElementTree

from typer.testing import CliRunner

from interlock.cli.app import app
from tests.handbook.pages import hostile
from tests.support.bench import BENCH

URN = "urn:oasis:names:tc:opendocument:xmlns"
DRAW, TEXT, SVG = f"{{{URN}:drawing:1.0}}", f"{{{URN}:text:1.0}}", f"{{{URN}:svg-compatible:1.0}}"
STYLE, FO = f"{{{URN}:style:1.0}}", f"{{{URN}:xsl-fo-compatible:1.0}}"
PRESENTATION, TABLE = f"{{{URN}:presentation:1.0}}", f"{{{URN}:table:1.0}}"

SCHEMES = {"bench": BENCH, "hostile": hostile()}


def run(*arguments: str, status: int = 0) -> str:
    """What the command line prints. Fails on another status."""
    result = CliRunner().invoke(app, arguments)
    assert result.exit_code == status, (result.exit_code, result.output, result.exception)
    return result.stdout


@cache
def study() -> str:
    """The bench's study of single faults, as `inject --json` prints it."""
    with tempfile.TemporaryDirectory() as folder:
        scheme = Path(folder) / "bench.yaml"
        scheme.write_text(BENCH, encoding="utf-8")
        return run("inject", str(scheme), "--jobs", "1", "--json", status=1)


@cache
def made(name: str, command: str = "slides") -> bytes:
    """A deck (or a handbook) of the bench with its study, or of the hostile bench without."""
    with tempfile.TemporaryDirectory() as folder:
        scheme, found = Path(folder) / "scheme.yaml", Path(folder) / "study.json"
        out = Path(folder) / ("deck.odp" if command == "slides" else "page.html")
        scheme.write_text(SCHEMES[name], encoding="utf-8")
        if name == "bench":
            found.write_text(study(), encoding="utf-8")
            faults = ["--study", str(found)]
        else:
            faults = ["--no-faults"]
        run(command, str(scheme), "--out", str(out), "--portable", *faults)
        return out.read_bytes()


def part(deck: bytes, name: str) -> ElementTree.Element:
    """A part of a deck's package."""
    with zipfile.ZipFile(io.BytesIO(deck)) as archive:
        return ElementTree.fromstring(archive.read(name))


def slides(deck: bytes) -> list[ElementTree.Element]:
    """The slides, one by one."""
    return part(deck, "content.xml").findall(f".//{DRAW}page")


def words(element: ElementTree.Element) -> Iterator[str]:
    """The paragraphs in an element."""
    for paragraph in element.iter(f"{TEXT}p"):
        yield " ".join("".join(paragraph.itertext()).split())
