"""`interlock schema` and `interlock reference`."""

from __future__ import annotations

import sys

from interlock.cli.render import print_json
from interlock.cli.status import Exit


def schema() -> int:
    """Print the JSON Schema."""
    from interlock.scheme.schema import json_schema

    print_json(json_schema())
    return Exit.GOOD


def reference(*, as_json: bool) -> int:
    """Print the reference as Markdown, or as JSON with its one text."""
    from interlock.scheme.reference import reference as page

    text = page()
    if as_json:
        print_json({"reference": text})
    else:
        sys.stdout.write(text)
    return Exit.GOOD
