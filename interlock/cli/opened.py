"""Opening a scheme for a command: bad input is shown and ends it with status 2."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import typer

from interlock.cli.render import count_text, finding_json, print_findings, print_json
from interlock.cli.status import Exit
from interlock.scheme.findings import SchemeError
from interlock.scheme.model import Scheme
from interlock.scheme.read import open_source, read
from interlock.scheme.source import Source


def opened(file: Path, *, as_json: bool) -> Scheme:
    """The scheme in `file`; where there is none, its findings are shown and the command ends."""
    return opened_text(file, as_json=as_json)[0]


def opened_text(file: Path, *, as_json: bool) -> tuple[Scheme, Source]:
    """The scheme in `file` and its text, as `opened`."""
    name = os.fspath(file)
    source: Source | None = None
    try:
        source = open_source(name)
        return read(source), source
    except SchemeError as error:
        if as_json:
            print_json({"scheme": name, "findings": [finding_json(f, name) for f in error.findings]})
        else:
            print_findings(error.findings, source, name, sys.stderr)
            sys.stderr.write(f"{name} is no scheme yet: {count_text(len(error.findings), 'error')}\n")
        raise typer.Exit(Exit.BAD_INPUT) from error
