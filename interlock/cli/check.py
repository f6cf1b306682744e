"""`interlock check`."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path

from interlock import __version__
from interlock.cli.render import count_text, finding_json, print_findings, print_json
from interlock.cli.status import Exit
from interlock.scheme.findings import Finding, SchemeError, Severity
from interlock.scheme.read import open_source, read
from interlock.scheme.source import Source


def check(files: Sequence[Path], *, as_json: bool, as_sarif: bool) -> int:
    """Check each file; the exit status is the worst of them."""
    results = [(os.fspath(file), *_check_one(os.fspath(file))) for file in files]
    if as_sarif:
        from interlock.check.sarif import sarif

        print_json(sarif([(name, findings) for name, _, findings in results], __version__))
    elif as_json:
        print_json([finding_json(f, name) for name, _, findings in results for f in findings])
    else:
        for name, source, findings in results:
            print_findings(findings, source, name)
            print(f"{name}: {count_text(len(findings), 'finding') if findings else 'no findings'}")  # noqa: T201
    found = [f for _, _, findings in results for f in findings]
    if any(f.severity is Severity.ERROR for f in found):
        return Exit.BAD_INPUT
    return Exit.FINDING if found else Exit.GOOD


def _check_one(name: str) -> tuple[Source | None, tuple[Finding, ...]]:
    source: Source | None = None
    try:
        source = open_source(name)
        scheme = read(source)
    except SchemeError as error:
        return source, error.findings
    from interlock.check.run import check as findings_of

    return source, findings_of(scheme)


def about(ident: str, *, as_json: bool) -> int:
    """The page of one finding."""
    from interlock.check.pages import idents, page
    from interlock.scheme.grammar import nearest

    known = idents()
    if ident not in known:
        sys.stderr.write(f"no finding is called `{ident}`: {nearest(ident, known) or 'known: ' + ', '.join(known)}\n")
        return Exit.BAD_INPUT
    text = page(ident)
    if as_json:
        print_json({"id": ident, "page": text})
    else:
        sys.stdout.write(text)
    return Exit.GOOD
