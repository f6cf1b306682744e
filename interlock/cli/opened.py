"""Opening a scheme for a command: bad input is shown and ends it with status 2."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import typer

from interlock.cli.render import count_text, finding_json, print_findings, print_json
from interlock.cli.status import Exit
from interlock.scheme.findings import SchemeError
from interlock.scheme.model import Scheme
from interlock.scheme.read import as_source, open_source, read
from interlock.scheme.source import Source, UnreadableError, decoded


def opened(file: Path, *, as_json: bool, elements: bool = True) -> Scheme:
    """The scheme in `file`; where there is none, its findings are shown and the command ends. `elements`: as for
    `read`."""
    return opened_text(file, as_json=as_json, elements=elements)[0]


def opened_text(file: Path, *, as_json: bool, elements: bool = True) -> tuple[Scheme, Source]:
    """The scheme in `file` and its text, as `opened`."""
    name = os.fspath(file)
    return _opened(name, lambda: open_source(name), as_json=as_json, elements=elements)


def opened_revision(name: str, *, as_json: bool) -> Scheme:
    """The scheme in the file of that name; where there is none, and the name is written as git does, such as
    `HEAD~3:rules/hut.yaml`, the file as that revision has it."""
    revision, colon, _ = name.partition(":")
    if not colon or not revision or Path(name).exists() or (os.name == "nt" and len(revision) == 1):
        return opened(Path(name), as_json=as_json)
    return _opened(name, lambda: as_source(lambda: from_git(name)), as_json=as_json)[0]


def from_git(name: str, folder: Path | None = None) -> Source:
    """The text of `REVISION:FILE`, seen from a folder (from here where none is given). Raises UnreadableError."""
    revision, _, path = name.partition(":")
    # git takes a path from the top of the repository, people from where they are; what is tracked is asked for by both
    for spelling in (name, f"{revision}:./{path}"):
        env = {**os.environ, "LC_ALL": "C"}
        command = ["git", "show", "--end-of-options", spelling]
        try:
            asked = subprocess.run(command, capture_output=True, check=False, cwd=folder, env=env)
        except OSError as error:
            raise UnreadableError(
                "cannot-open", f"{name} needs git: {error.strerror or error}", "install git"
            ) from error
        if asked.returncode == 0:
            return decoded(name, asked.stdout)
    said = asked.stderr.decode("utf-8", errors="replace").strip().removeprefix("fatal: ")
    raise UnreadableError(
        "cannot-open",
        f"{name} is no file, and git has no such revision of one: {said}",
        "name a file, or REVISION:FILE",
    )


def _opened(name: str, get: Callable[[], Source], *, as_json: bool, elements: bool = True) -> tuple[Scheme, Source]:
    source: Source | None = None
    try:
        source = get()
        return read(source, elements=elements), source
    except SchemeError as error:
        if as_json:
            print_json({"scheme": name, "findings": [finding_json(f, name) for f in error.findings]})
        else:
            print_findings(error.findings, source, name, sys.stderr)
            sys.stderr.write(f"{name} is no scheme yet: {count_text(len(error.findings), 'error')}\n")
        raise typer.Exit(Exit.BAD_INPUT) from error
