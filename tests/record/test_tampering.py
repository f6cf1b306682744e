"""A record that is not as it was recorded is refused with the name of what is wrong, by standard tools too."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from interlock.record.chain import examined
from tests.record.made import (
    bag_validates,
    copy_of,
    interlock,
    make_record,
    plain_check,
    rewrite_manifests,
    verified,
    wrong,
)

PHOTOGRAPH = "visit-001/data/photographs/001_X1.1.jpg"


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three visits, never to be changed: each test takes a copy."""
    return make_record(tmp_path_factory.mktemp("made"), visits=3)


def flip(file: Path, at: int = 0) -> None:
    """Change one bit of one byte."""
    data = bytearray(file.read_bytes())
    data[at] ^= 1
    file.write_bytes(data)


def test_an_untouched_record_is_sound_for_us_for_coreutils_and_for_the_bagit_library(record: Path) -> None:
    assert verified(record)[0] == 0
    for visit in sorted(record.glob("visit-*")):
        assert bag_validates(visit)
        for manifest in visit.glob("*manifest-*.txt"):
            assert plain_check(visit, manifest.name).returncode == 0


def test_one_byte_changed_in_any_file_is_refused_by_that_files_name(record: Path, tmp_path: Path) -> None:
    copied = copy_of(record, tmp_path)
    files = sorted(p for p in copied.rglob("*") if p.is_file() and p.stat().st_size)
    assert len(files) > 40
    for file in files:
        kept = file.read_bytes()
        flip(file, at=len(kept) // 2)
        found = examined(copied)
        name = file.relative_to(copied).as_posix()
        last = name in ("visit-003/tagmanifest-sha256.txt", "visit-003/tagmanifest-sha512.txt")
        named = {problem.file for problem in found.problems}
        # A manifest of the newest visit is known by what no longer agrees with it.
        assert named, name
        assert last or name in named, (name, found.problems)
        file.write_bytes(kept)
    assert examined(copied).sound


def test_one_byte_changed_is_refused_by_coreutils_and_by_the_bagit_library_too(record: Path, tmp_path: Path) -> None:
    copied = copy_of(record, tmp_path)
    flip(copied / PHOTOGRAPH)
    status, said = verified(copied)
    assert status == 1
    assert wrong(said) == [("changed", PHOTOGRAPH)]
    done = plain_check(copied / "visit-001", "manifest-sha512.txt")
    assert done.returncode == 1
    assert f"{PHOTOGRAPH.removeprefix('visit-001/')}: FAILED" in done.stdout
    assert not bag_validates(copied / "visit-001")


@pytest.mark.parametrize(
    "name",
    [
        PHOTOGRAPH,
        "visit-002/bagit.txt",
        "visit-002/bag-info.txt",
        "visit-003/manifest-sha256.txt",
        "visit-003/tagmanifest-sha512.txt",
        "visit-001/data/visit.json",
        "visit-002/data/earlier-visits-sha512.txt",
        "README.txt",
    ],
)
def test_a_file_missing_is_refused_by_its_name(record: Path, tmp_path: Path, name: str) -> None:
    copied = copy_of(record, tmp_path)
    (copied / name).unlink()
    status, said = verified(copied)
    assert status == 1
    assert name in [file for how, file in wrong(said) if how in ("missing", "not a bag")]
    if "/data/" in name:
        visit, _, inside = name.partition("/")
        assert f"{inside}: FAILED open or read" in plain_check(copied / visit, "manifest-sha256.txt").stdout
        assert not bag_validates(copied / visit)


def test_a_visit_missing_is_refused_by_its_name(record: Path, tmp_path: Path) -> None:
    copied = copy_of(record, tmp_path)
    (copied / "visit-002").rename(tmp_path / "elsewhere")
    status, said = verified(copied)
    assert status == 1
    assert ("missing", "visit-002") in wrong(said)


@pytest.mark.parametrize(
    "name",
    ["visit-001/data/photographs/009_X9.jpg", "visit-002/more.txt", "more.txt", "visit-001/deep/er/more.txt"],
)
def test_a_file_added_is_refused_by_its_name(record: Path, tmp_path: Path, name: str) -> None:
    copied = copy_of(record, tmp_path)
    (copied / name).parent.mkdir(parents=True, exist_ok=True)
    (copied / name).write_text("added")
    status, said = verified(copied)
    assert status == 1
    assert wrong(said) == [("added", name)]
    if "/data/" in name:
        assert not bag_validates(copied / "visit-001")


def test_a_readme_that_was_changed_is_refused_in_a_record_of_one_visit_too(record: Path, tmp_path: Path) -> None:
    """No later visit has seen it: it has to be the one of the first visit's bag."""
    copied = copy_of(record, tmp_path)
    for later in ("visit-002", "visit-003"):
        shutil.rmtree(copied / later)
    assert verified(copied)[0] == 0
    flip(copied / "README.txt")
    assert wrong(verified(copied)[1]) == [("changed", "README.txt")]


def test_what_no_digest_covers_is_refused_by_its_name(record: Path, tmp_path: Path) -> None:
    copied = copy_of(record, tmp_path)
    (copied / "visit-001" / "data" / "empty").mkdir()
    outside = tmp_path / "outside.jpg"
    outside.write_bytes((copied / PHOTOGRAPH).read_bytes())
    (copied / PHOTOGRAPH).unlink()
    (copied / PHOTOGRAPH).symlink_to(outside)  # the same bytes today, whatever tomorrow
    status, said = verified(copied)
    assert status == 1
    assert ("added", "visit-001/data/empty") in wrong(said)
    assert ("added", PHOTOGRAPH) in wrong(said)


def change(visit: Path) -> Path:
    flip(visit / "data" / "verdicts" / "prove.json", at=40)
    return visit / "data" / "verdicts" / "prove.json"


def remove(visit: Path) -> Path:
    (visit / "data" / "visit.txt").unlink()
    return visit / "data" / "visit.txt"


def put_in(visit: Path) -> Path:
    (visit / "data" / "more.txt").write_text("added")
    return visit / "data" / "more.txt"


@pytest.mark.parametrize("alter", [change, remove, put_in])
def test_an_older_visit_altered_together_with_its_own_manifests_is_refused_by_name(
    record: Path, tmp_path: Path, alter: Callable[[Path], Path]
) -> None:
    copied = copy_of(record, tmp_path)
    file = alter(copied / "visit-001").relative_to(copied).as_posix()
    rewrite_manifests(copied / "visit-001")
    # Its own manifests now say that all is well ...
    for algorithm in ("sha256", "sha512"):
        assert plain_check(copied / "visit-001", f"manifest-{algorithm}.txt").returncode == 0
        assert plain_check(copied / "visit-001", f"tagmanifest-{algorithm}.txt").returncode == 0
    # ... and the later visits that it was another.
    status, said = verified(copied)
    assert status == 1
    assert ("older visit altered", file) in wrong(said)
    assert all(file.startswith("visit-001/") for _, file in wrong(said))
    done = subprocess.run(
        ["sha512sum", "--check", "visit-003/data/earlier-visits-sha512.txt"],
        cwd=copied,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert "visit-001/tagmanifest-sha512.txt: FAILED" in done.stdout


def test_two_visits_altered_with_all_that_is_written_of_them_but_the_newest_are_refused(
    record: Path, tmp_path: Path
) -> None:
    """Whoever alters the first visit and mends the second's list of it is betrayed by the third."""
    copied = copy_of(record, tmp_path)
    put_in(copied / "visit-001")
    rewrite_manifests(copied / "visit-001")
    listed = copied / "visit-002" / "data" / "earlier-visits-sha512.txt"
    names = sorted(p.relative_to(copied).as_posix() for p in (copied / "visit-001").rglob("*") if p.is_file())
    digest = {n: hashlib.sha512((copied / n).read_bytes()).hexdigest() for n in ["README.txt", *names]}
    listed.write_text("".join(f"{d}  {n}\n" for n, d in digest.items()))
    rewrite_manifests(copied / "visit-002")
    status, said = verified(copied)
    assert status == 1
    assert ("older visit altered", "visit-001/data/more.txt") in wrong(said)
    assert ("older visit altered", "visit-002/data/earlier-visits-sha512.txt") in wrong(said)


def test_the_newest_visit_replaced_as_a_whole_is_told_by_its_seal_alone(record: Path, tmp_path: Path) -> None:
    seal = verified(record)[1]["seal"]
    first = subprocess.run(
        ["sha256sum", "visit-003/tagmanifest-sha512.txt"], cwd=record, capture_output=True, text=True, check=True
    ).stdout.split()[0]
    assert seal == first
    assert verified(record, seal)[0] == 0
    assert verified(record, seal[:16].upper())[0] == 0
    copied = copy_of(record, tmp_path)
    put_in(copied / "visit-003")
    rewrite_manifests(copied / "visit-003")
    assert verified(copied)[0] == 0  # nothing within the record can know
    status, said = verified(copied, seal)
    assert status == 1
    assert said["as_sealed"] is False


HOSTILE = {
    "../../../etc/hostname": "names a file outside the bag",
    "/etc/hostname": "names a file outside the bag",
    "data/../../x": "names a file outside the bag",
    "data\\x": "names a file outside the bag",
}


@pytest.mark.parametrize(("name", "words"), HOSTILE.items())
def test_a_manifest_that_points_elsewhere_is_refused_unread(
    record: Path, tmp_path: Path, name: str, words: str
) -> None:
    copied = copy_of(record, tmp_path)
    manifest = copied / "visit-003" / "manifest-sha256.txt"
    manifest.write_text(manifest.read_text() + f"{'0' * 64}  {name}\n")
    status, said = verified(copied)
    assert status == 1
    assert any(p["file"] == "visit-003/manifest-sha256.txt" and words in p["message"] for p in said["problems"])


def test_a_file_listed_twice_or_in_one_manifest_alone_is_refused(record: Path, tmp_path: Path) -> None:
    copied = copy_of(record, tmp_path)
    manifest = copied / "visit-003" / "manifest-sha256.txt"
    lines = manifest.read_text().splitlines(keepends=True)
    manifest.write_text("".join(lines[:-1]))
    assert ("added", "visit-003/data/visit.txt") in wrong(verified(copied)[1])
    manifest.write_text("".join([*lines, lines[0]]))
    said = verified(copied)[1]
    assert any("a second time" in p["message"] for p in said["problems"] if p["file"].endswith(manifest.name))


def test_nothing_is_added_to_a_record_that_is_not_sound(record: Path, tmp_path: Path) -> None:
    copied = copy_of(record, tmp_path)
    flip(copied / PHOTOGRAPH)
    done = interlock("record", "add", copied, "--by", "C. Frey", folder=tmp_path)
    assert done.returncode == 1
    assert PHOTOGRAPH in done.stdout
    assert "nothing was added" in done.stderr
    assert not (copied / "visit-004").exists()
