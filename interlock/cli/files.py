"""Files that a command writes: whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def refused(path: Path, suffix: str) -> str:
    """Why no such file can be written, in words for people; "" where it can. Asked before any work is done."""
    if path.suffix.lower() != suffix:
        return f"expected a file that ends in {suffix}"
    if path.is_dir():
        return "that is a folder; name a file"
    if not path.absolute().parent.is_dir():
        return f"there is no folder {path.parent}"
    return ""


def write_whole(path: Path, content: bytes) -> None:
    """Write beside it, then put in its place. Raises OSError, and then nothing of it is left behind."""
    handle, name = tempfile.mkstemp(dir=path.absolute().parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(name, 0o666 & ~mask)
        os.replace(name, path)
    except BaseException:
        os.unlink(name)
        raise
