"""Records of the bench, made by the command line as people make them, and tampered with."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from interlock.cli.record import verify
from tests.support.bench import edited

# The bench with labels on some of its parts: `probe` and `monitor_charge_ok` by a terminal, `K1` by both.
LABELLED = edited(
    ("    drifts: -6 to 6 K ", "    terminal: X1.1\n    drifts: -6 to 6 K "),
    ("{low_when: [cell_full]}", "{low_when: [cell_full], terminal: X1.10}"),
    ("{drives: [bench_charger], ", "{drives: [bench_charger], terminal: X2.1, wire: W7, "),
)


def interlock(*words: object, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "interlock", *map(str, words)],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


def results(scheme: str, *, passed: bool = True) -> str:
    """A results file of two steps, as a sheet gives it back."""
    return json.dumps(
        {
            "format": "interlock results 1",
            "scheme": "Tool-crib battery bench",
            "scheme_digest": hashlib.sha256(scheme.encode()).hexdigest(),
            "sheet_digest": "0" * 64,
            "by": "A. Keller",
            "when": "2026-05-17T14:30:00+02:00",
            "steps": [
                {"step": 1, "seen": {}, "measured": {}, "passed": True, "initials": "AK", "note": ""},
                {"step": 2, "seen": {}, "measured": {}, "passed": passed, "initials": "AK", "note": ""},
            ],
        }
    )


def make_record(folder: Path, visits: int = 1) -> Path:
    """`folder`/record, with as many visits, results and photographs in the first."""
    (folder / "bench.yaml").write_text(LABELLED, encoding="utf-8")
    (folder / "results.json").write_text(results(LABELLED), encoding="utf-8")
    pictures = folder / "pictures"
    pictures.mkdir()
    (pictures / "X1.1 lid open.JPG").write_bytes(b"not really a photograph")
    (pictures / "overview of the bench.png").write_bytes(b"nor this")
    given = ("--by", "A. Keller", "--results", "results.json", "--photos", "pictures", "--note", "dry and warm")
    done = interlock("record", "new", "record", "bench.yaml", *given, "--when", "2026-05-17T14:30+02:00", folder=folder)
    assert done.returncode == 0, done.stderr
    for number in range(2, visits + 1):
        more = ("--photo", f"W7={pictures / 'X1.1 lid open.JPG'}") if number == 2 else ()
        done = interlock("record", "add", "record", "--by", "B. Roth", *more, folder=folder)
        assert done.returncode == 0, done.stderr
    return folder / "record"


def copy_of(record: Path, to: Path) -> Path:
    return Path(shutil.copytree(record, to / "copy"))


def verified(record: Path, seal: str = "", *, digests_only: bool = True) -> tuple[int, dict[str, Any]]:
    """The exit status of `record verify --json`, and what it says."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        status = verify(record, seal, digests_only=digests_only, as_json=True)
    return status, json.loads(out.getvalue())


def wrong(said: dict[str, Any]) -> list[tuple[str, str]]:
    return [(problem["wrong"], problem["file"]) for problem in said["problems"]]


def rewrite_manifests(visit: Path) -> None:
    """Make every digest of a visit's own manifests right again, as someone with a text editor and sha512sum would."""
    for algorithm in ("sha256", "sha512"):
        for name in (f"manifest-{algorithm}.txt", f"tagmanifest-{algorithm}.txt"):
            listed = [line.split("  ", 1)[1] for line in (visit / name).read_text().splitlines()]
            if name.startswith("manifest"):
                listed = sorted(p.relative_to(visit).as_posix() for p in (visit / "data").rglob("*") if p.is_file())
            lines = [f"{hashlib.new(algorithm, (visit / file).read_bytes()).hexdigest()}  {file}\n" for file in listed]
            (visit / name).write_text("".join(lines))
    for algorithm in ("sha256", "sha512"):  # the tag manifests once more, now that all payload manifests are written
        name = f"tagmanifest-{algorithm}.txt"
        listed = [line.split("  ", 1)[1] for line in (visit / name).read_text().splitlines()]
        lines = [f"{hashlib.new(algorithm, (visit / file).read_bytes()).hexdigest()}  {file}\n" for file in listed]
        (visit / name).write_text("".join(lines))


def plain_check(visit: Path, manifest: str) -> subprocess.CompletedProcess[str]:
    """The manifest checked by the GNU core utilities, without any of the project's code."""
    tool = "sha256sum" if "sha256" in manifest else "sha512sum"
    return subprocess.run(
        [tool, "--check", "--strict", manifest], cwd=visit, capture_output=True, text=True, check=False
    )


def bag_validates(visit: Path) -> bool:
    """What the validator of the library bagit, which knows nothing of this project, says of a bag."""
    done = subprocess.run(
        [sys.executable, "-m", "bagit", "--validate", "--quiet", str(visit)],
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode == 0
