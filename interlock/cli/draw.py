"""`interlock draw`."""

from __future__ import annotations

import sys
from pathlib import Path

from interlock.cli.fault_trees import fault_trees
from interlock.cli.opened import opened
from interlock.cli.render import count_text, print_json
from interlock.cli.status import Exit
from interlock.cli.study_file import StudyFileError, file_digest, read_study
from interlock.draw.everything import DrawingKind, draw, index_page
from interlock.draw.layout import NoRendererError
from interlock.draw.page import Drawing
from interlock.scheme.grammar import nearest
from interlock.scheme.model import Scheme

PNG_DPI = 144


def draw_files(
    file: Path, folder: Path, only: list[str], *, study_file: Path | None, png: bool, portable: bool, as_json: bool
) -> int:
    """Draw everything first, then write it: nothing is left half-written when a drawing fails. `study_file`: a study of
    faults that `interlock inject --json` printed; each claim's fault tree is drawn from it."""
    table = {str(kind): kind for kind in DrawingKind}
    for word in only:
        if word not in table:
            sys.stderr.write(f"`{word}` is no kind of drawing: {nearest(word, table)} known: {', '.join(table)}\n")
            return Exit.BAD_INPUT
    scheme = opened(file, as_json=as_json)
    kinds = tuple(table[word] for word in only) or tuple(DrawingKind)
    try:
        drawings = list(draw(scheme, kinds, portable=portable))
        if study_file is not None:
            drawings += fault_trees(scheme, read_study(study_file, scheme, file_digest(file)))
        files = {f"{d.name}.svg": str(d.svg).encode() for d in drawings}
        if png:
            files |= {f"{d.name}.png": _png(str(d.svg)) for d in drawings}
        if not only:
            files["index.html"] = index_page(scheme, drawings).encode()
        _write(folder, files)
    except (NoRendererError, StudyFileError, OSError) as error:
        sys.stderr.write(f"{error}\n")
        return Exit.BAD_INPUT
    _show(scheme, folder, drawings, indexed=not only, as_json=as_json)
    return Exit.GOOD


def _png(svg: str) -> bytes:
    import resvg_py

    return bytes(resvg_py.svg_to_bytes(svg_string=svg, dpi=PNG_DPI))


def _write(folder: Path, files: dict[str, bytes]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        (folder / name).write_bytes(data)


def _show(scheme: Scheme, folder: Path, drawings: list[Drawing], *, indexed: bool, as_json: bool) -> None:
    if as_json:
        listed = [{"name": d.name, "title": d.title, "file": str(folder / f"{d.name}.svg")} for d in drawings]
        print_json({"scheme": scheme.title, "folder": str(folder), "drawings": listed})
    else:
        index = f"; {folder / 'index.html'} lists them" if indexed else ""
        sys.stdout.write(f"{count_text(len(drawings), 'drawing')} in {folder}{index}\n")
