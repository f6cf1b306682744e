"""`interlock explain`."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

from interlock.cli.opened import opened
from interlock.cli.render import print_json
from interlock.cli.status import Exit
from interlock.explain.render import document_json, document_text
from interlock.explain.sentences import document

READABLE = 100  # columns: longer lines are hard to follow


def explain(file: Path, *, as_json: bool) -> int:
    """Print the scheme in plain sentences, as wide as the terminal up to a readable width."""
    scheme = opened(file, as_json=as_json)
    if as_json:
        print_json({"file": str(file), **document_json(document(scheme))})
    else:
        width = min(READABLE, shutil.get_terminal_size((80, 24)).columns)
        sys.stdout.write(document_text(document(scheme), width))
    return Exit.GOOD
