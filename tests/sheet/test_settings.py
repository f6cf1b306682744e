"""The settings sheet: on a terminal, as data and as a page, with every device and every setting."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
from html import unescape
from pathlib import Path

import pypdf
import pytest

from interlock.scheme.read import load
from interlock.scheme.units import value_text
from interlock.sheet.cautions import CAUTIONS
from tests.draw.browser import browser
from tests.sheet.devtools import opened
from tests.support.bench import edited

RULES = Path(__file__).parents[2] / "rules"
SCHEMES = ("alpine_hut", "survey_launch")


def settings(*words: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "interlock", "settings", *words], capture_output=True, text=True, check=False, cwd=cwd,
        timeout=60,
    )  # fmt: skip


@pytest.mark.parametrize("name", SCHEMES)
def test_every_setting_of_every_device_is_on_the_page_with_its_value(name: str, tmp_path: Path) -> None:
    scheme = load(RULES / f"{name}.yaml")
    done = settings(str(RULES / f"{name}.yaml"), "--to", str(tmp_path / "sheet.html"))
    assert (done.returncode, done.stderr) == (0, "")
    page = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert [p.name for p in tmp_path.iterdir()] == ["sheet.html"]
    for path, device in scheme.devices.items():
        part = unescape(re.search(rf'<section class="device" id="{path}">(.*?)</section>', page, re.S)[1])  # type: ignore[index]
        assert part.count('<tr class="setting">') == len(device.limits)
        for limit in device.limits:
            assert value_text(limit.value, scheme.quantities[limit.quantity].kind) in part
        assert (device.verified_at or "") in part
        assert part.count("\N{BALLOT BOX}") > len(device.limits)
    for caution in CAUTIONS:
        assert caution.word in unescape(page)
    assert page.index(CAUTIONS[0].word) < page.index('class="device"')


@pytest.mark.parametrize("name", SCHEMES)
def test_the_page_fetches_nothing(name: str, tmp_path: Path) -> None:
    settings(str(RULES / f"{name}.yaml"), "--to", str(tmp_path / "sheet.html"))
    page = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    links = [link for link in re.findall(r"https?://[^\"'\s<)]+", page) if link != "http://www.w3.org/2000/svg"]
    assert links == []
    assert not re.search(r"<(script|link|img|iframe)|@import|url\(", page)


def test_the_data_has_each_setting_in_numbers_and_what_comes_next() -> None:
    done = settings(str(RULES / "alpine_hut.yaml"), "--json")
    data = json.loads(done.stdout)
    (roof,) = [d for d in data["devices"] if d["path"] == "roof_pv"]
    absorption = roof["settings"][0]
    assert absorption == {
        "setting": "absorption",
        "quantity": "highest_cell",
        "compare": None,
        "value": 55.2,
        "unit": "V",
        "each": 3.45,
        "delay_s": 0.0,
        "truth": [3.4375, 3.5025],
        "next": {"rule": "cell_full", "from": 3.54, "left": 0.0375},
    }
    assert data["findings"] == []
    assert "turbine_charging" in data["without"]
    assert len(data["cautions"]) == len(CAUTIONS)


def test_a_fault_of_the_grading_stands_first_and_ends_with_status_one(tmp_path: Path) -> None:
    flawed = str(RULES / "flawed" / "hut_charger_above_trip.yaml")
    done = settings(flawed, "--to", str(tmp_path / "sheet.html"))
    assert done.returncode == 1
    assert "source-above-trip" in done.stdout
    page = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert "Do not set these yet" in page
    assert page.index("can leave") < page.index('class="device"')


@pytest.mark.parametrize(
    ("to", "says"), [("sheet.pdf", "ends in .html"), ("no/folder/s.html", "no folder"), (".", ".html")]
)
def test_a_page_that_cannot_be_written_is_refused_and_leaves_nothing(to: str, says: str, tmp_path: Path) -> None:
    done = settings(str(RULES / "alpine_hut.yaml"), "--to", to, cwd=tmp_path)
    assert done.returncode == 2
    assert says in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_hostile_names_stay_text(tmp_path: Path) -> None:
    text = edited(
        ("Tool-crib battery bench", "'<script>alert(1)</script> \\\" </style>'"),
        (
            "requirements:",
            "devices:\n  bench_charger: {what: '<b>', remote_enabled: no, why: '</section>'}\nrequirements:",
        ),
    )
    (tmp_path / "bench.yaml").write_text(text, encoding="utf-8")
    done = settings("bench.yaml", "--to", "s.html", cwd=tmp_path)
    assert done.returncode == 1, done.stderr
    page = (tmp_path / "s.html").read_text(encoding="utf-8")
    assert "<script>" not in page
    assert page.count("</style>") == 1
    assert page.count("</section>") == 3


@pytest.mark.skipif(browser() is None, reason="no chromium to print with")
def test_in_print_each_device_is_whole_on_one_page_and_ladders_lie_on_their_side(tmp_path: Path) -> None:
    settings(str(RULES / "alpine_hut.yaml"), "--to", str(tmp_path / "sheet.html"))
    with opened(tmp_path / "profile") as tab:
        tab.go(f"file://{tmp_path / 'sheet.html'}")
        pages = pypdf.PdfReader(io.BytesIO(tab.pdf())).pages
        assert tab.complaints() == []
        assert [url for url in tab.requests() if not url.startswith(("file:", "data:"))] == []
    words = [" ".join(page.extract_text().split()) for page in pages]
    assert "Isolate" in words[0]
    for path, device in load(RULES / "alpine_hut.yaml").devices.items():
        (whole,) = [w for w in words if f"{path}: {device.what}" in w]
        part = whole[whole.index(f"{path}: {device.what}") :]
        assert part.index("all settings read back") > 0
    drawn = [page for page, w in zip(pages, words, strict=True) if "Ladder:" in w]
    assert len(drawn) == 4
    assert all(page.mediabox.width > page.mediabox.height for page in drawn)
    assert all("certifies nothing" in w for w in words)


def test_no_control_character_of_a_scheme_reaches_the_terminal(tmp_path: Path) -> None:
    escape = '"\\e[31m\\a"'
    devices = f"bench_charger: {{what: {escape}, remote_enabled: yes, verified_at: {escape}}}"
    text = edited(("Tool-crib battery bench", escape), ("requirements:", f"devices: {{{devices}}}\nrequirements:"))
    (tmp_path / "bench.yaml").write_text(text, encoding="utf-8")
    done = settings("bench.yaml", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert all(c.isprintable() or c == "\n" for c in done.stdout)
    assert "\N{REPLACEMENT CHARACTER}[31m" in done.stdout
