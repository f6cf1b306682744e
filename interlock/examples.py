"""The project's own schemes, found in an installed package and in a source tree alike."""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path


def example(name: str) -> tuple[str, str]:
    """The text of one of the schemes under rules/ and the name it has there, such as `alpine_hut.yaml`."""
    beside = Path(__file__).parents[1] / "rules" / name
    if beside.is_file():
        return beside.read_text(encoding="utf-8"), f"rules/{name}"
    with as_file(files("interlock").joinpath("schemes", *name.split("/"))) as path:
        return path.read_text(encoding="utf-8"), f"rules/{name}"
