"""`--words`: the catalogue of all words but a scheme's own; `interlock words` writes it."""

from __future__ import annotations

import sys
from pathlib import Path

import typer

from interlock.cli.files import refused, write_whole
from interlock.cli.render import print_json, tell
from interlock.cli.status import Exit
from interlock.draw.said import texts
from interlock.handbook.words import Catalogue, WordsError, english, languages, of_language, read, whole

WRONG_SHOWN = 8  # of what is wrong with a catalogue


def catalogue(language: str) -> Catalogue:
    """A catalogue that comes along, or one from a file. Ends the command where it can't be used."""
    try:
        if language.lower().endswith((".yaml", ".yml")):
            return read(Path(language).read_text(encoding="utf-8"), english())
        if language in languages():
            return of_language(language)
        said = f"there is no catalogue of that name; known: {', '.join(languages())}, or a YAML file of yours"
    except OSError as error:
        said = f"it can't be read: {error.strerror or error}"
    except UnicodeDecodeError:
        said = "it is not UTF-8"
    except WordsError as error:
        said = str(error)
    lines = said.splitlines()
    more = ["and more of the kind"] if len(lines) > WRONG_SHOWN else []
    sys.stderr.writelines(f"--words {language}: {line}\n" for line in [*lines[:WRONG_SHOWN], *more])
    raise typer.Exit(Exit.BAD_INPUT)


def write_catalogue(out: Path, language: str, *, as_json: bool) -> int:
    """Write a catalogue whole, for someone to translate."""
    if why := refused(out, ".yaml"):
        sys.stderr.write(f"--out {out}: {why}\n")
        return Exit.BAD_INPUT
    words = catalogue(language)
    try:
        write_whole(out, whole(words).encode())
    except OSError as error:
        sys.stderr.write(f"--out {out}: {error.strerror or error}\n")
        return Exit.BAD_INPUT
    if as_json:
        print_json(
            {
                "file": str(out),
                "language": words.language,
                "texts": len(words.texts),
                "texts_of_drawings": len(texts()),
                "terms": len(words.terms),
            }
        )
    else:
        tell(
            [
                f"{out}: {len(words.texts)} texts, {len(texts())} of drawings and {len(words.terms)} terms in the "
                f"language `{words.language}`",
                "  translate what stands on the right, then give the file to --words",
            ]
        )
    return Exit.GOOD
