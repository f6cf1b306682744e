"""Random answers that go together, as options."""

from __future__ import annotations

from hypothesis import strategies as st

from interlock.start.chemistry import Chemistry
from interlock.start.devices import FACTS, LoadKind, SourceKind

Options = dict[str, str]

_NAMES = st.from_regex(r"[a-zäöéA-JL-QS-Z][a-z0-9_-]{0,8}", fullmatch=True)
_TITLES = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=30)


def _switching(kind: SourceKind | LoadKind) -> st.SearchStrategy[str]:
    words = ["", ":contactor"]
    if FACTS[kind].remote:
        words += [":remote", ":remote:contactor"]
    return st.sampled_from(words)


@st.composite
def _devices(draw: st.DrawFn, kinds: list[SourceKind | LoadKind], taken: set[str]) -> str:
    found = []
    for kind in draw(st.lists(st.sampled_from(kinds), min_size=1, max_size=4)):
        words = draw(_switching(kind))
        if isinstance(kind, LoadKind) and draw(st.booleans()):
            words += ":essential"
        name = draw(st.one_of(st.just(""), _NAMES.filter(lambda n: n not in taken)))
        if name:
            taken.add(name)
            name += "="
        found.append(f"{name}{kind}{words}")
    return ", ".join(found)


@st.composite
def options(draw: st.DrawFn) -> Options:
    """Options whose answers go together."""
    taken = {str(k) for k in (*SourceKind, *LoadKind)} | {FACTS[k].name for k in FACTS}
    turbines = draw(st.booleans())
    sources: list[SourceKind | LoadKind] = [k for k in SourceKind if turbines or not k.turbine]
    yes_no = st.sampled_from(["yes", "no"])
    listed = draw(_devices(sources, taken))
    found = {
        "title": draw(_TITLES),
        "chemistry": draw(st.sampled_from([str(c) for c in Chemistry])),
        "series": str(draw(st.integers(1, 400))),
        "scan": draw(st.sampled_from(["10 ms", "50 ms", "100 ms", "150 ms", "200 ms"]))
        if "hydro" in listed or "wind" in listed
        else draw(st.sampled_from(["10 ms", "100 ms", "300 ms", "700 ms", "1 s"])),
        "probes": str(draw(st.integers(1, 8))),
        "probe_error": draw(st.sampled_from(["0.1 K", "0.5 K", "1 K", "1.3 K", "2 K"])),
        "probe_offset": draw(st.sampled_from(["0 K", "0.2 K", "1 K", "2 K", "3 K"])),
        "monitor": draw(yes_no),
        "reset_button": draw(yes_no),
        "shunt": draw(yes_no),
        "sources": listed,
        "loads": draw(_devices(list(LoadKind), taken)),
    }
    kinds = [item.strip().partition(":")[0].rpartition("=")[2] for item in listed.split(",")]
    if "heater" in found["loads"] and found["chemistry"] == "LTO":
        found["probe_error"] = "0.5 K"  # between its limits for charging and for drawing there is little room
    if kinds.count("shore") == kinds.count("generator") == 1:
        found["one_at_a_time"] = draw(yes_no)
    return found
