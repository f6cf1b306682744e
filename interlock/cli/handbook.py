"""`interlock handbook`."""

from __future__ import annotations

import sys
from pathlib import Path

from interlock.cli.catalogue import catalogue
from interlock.cli.files import refused, write_whole
from interlock.cli.material import Kind, Wanted, written
from interlock.cli.opened import opened
from interlock.cli.render import print_json, tell
from interlock.cli.status import Exit
from interlock.cli.study_file import file_digest
from interlock.handbook.card import card_page
from interlock.handbook.live import bench, exercises
from interlock.handbook.material import Material
from interlock.handbook.page import handbook_page
from interlock.handbook.words import Catalogue

OF_PAGE = Kind(
    ".html",
    "it opens without a network",
    "the page is written and says what is missing on it",
    "the page says",
)


def handbook(
    file: Path,
    out: Path,
    wanted: Wanted,
    *,
    language: str,
    as_json: bool,
) -> int:
    """Work everything out, then write the page, whole or not at all. What was interrupted is said to be missing."""

    def page(material: Material, words: Catalogue) -> bytes:
        live = [bench(material.scheme, words, portable=wanted.portable), exercises(material.scheme, words)]
        return handbook_page(material, words, live).encode()

    return written(file, out, OF_PAGE, wanted, page, language=language, as_json=as_json)


def card(file: Path, out: Path, *, language: str, as_json: bool) -> int:
    """Write the card for the wall alone."""
    if why := refused(out, ".html"):
        sys.stderr.write(f"--out {out}: {why}\n")
        return Exit.BAD_INPUT
    words = catalogue(language)
    scheme = opened(file, as_json=as_json)
    try:
        write_whole(out, card_page(scheme, words).encode())
    except OSError as error:
        sys.stderr.write(f"--out {out}: {error.strerror or error}\n")
        return Exit.BAD_INPUT
    if as_json:
        print_json({"scheme": str(file), "scheme_digest": file_digest(file), "file": str(out)})
    else:
        tell([f"{out} is written: it prints on one A5 side"])
    return Exit.GOOD
