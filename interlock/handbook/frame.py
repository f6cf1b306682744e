"""A page around a body."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable

from interlock.handbook.html import Html, plain
from interlock.handbook.words import Catalogue


def document(words: Catalogue, title: str, style: str, body: Html, scripts: Iterable[str] = ()) -> str:
    """A page around a body. Its policy allows its own scripts, each by digest, and nothing from anywhere."""
    allowed = " ".join(f"'sha256-{_digest(script)}'" for script in scripts if script) or "'none'"
    policy = f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
    return (
        f'<!doctype html>\n<html lang="{plain(words.language)}">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{plain(title)}</title>\n<style>{style}</style>\n</head>\n<body>\n{body}</body>\n</html>\n"
    )


def _digest(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
