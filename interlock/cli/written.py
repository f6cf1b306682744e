"""Files written whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from tempfile import NamedTemporaryFile


def write_all(folder: Path, files: Mapping[str, str]) -> None:
    """Write texts into a folder, made if absent. All are written beside their places first, then moved there: a failure
    on the way leaves what was there. Raises OSError."""
    folder.mkdir(parents=True, exist_ok=True)
    half: list[tuple[str, Path]] = []
    try:
        for name, text in files.items():
            with NamedTemporaryFile("w", encoding="utf-8", dir=folder, prefix=f".{name}.", delete=False) as out:
                half.append((out.name, folder / name))
                out.write(text)
        for written, place in half:
            os.chmod(written, 0o666 & ~_umask())
            os.replace(written, place)
    finally:
        for written, _ in half:
            Path(written).unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
