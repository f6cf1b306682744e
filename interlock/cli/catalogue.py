"""`--words`: the catalogue of a page's own words."""

from __future__ import annotations

import sys
from pathlib import Path

import typer

from interlock.cli.status import Exit
from interlock.handbook.words import Catalogue, WordsError, english, languages, of_language, read

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
