"""The reference that users read: a page of prose with tables made from the keys and units the reader uses."""

from __future__ import annotations

import re
from importlib.resources import files

from interlock.scheme.keys import KEYS, NESTED, TOP, Key, Nested, Section
from interlock.scheme.units import ALIASES, TIMES, UNITS, Kind

_BLOCK = re.compile(r"<!-- (\w+) -->\n.*?<!-- end -->\n", re.S)


def reference() -> str:
    """The whole reference as Markdown."""
    folder = files("interlock") / "reference"
    blocks = {
        "bench": f"```yaml\n{(folder / 'bench.yaml').read_text(encoding='utf-8')}```\n",
        "units": _units(),
        "keys": _keys(),
    }
    return _BLOCK.sub(lambda found: blocks[found[1]], (folder / "scheme.md").read_text(encoding="utf-8"))


def _units() -> str:
    rows = ["| kind | units | a difference in |", "|---|---|---|"]
    for kind in Kind:
        own = [u for u in UNITS.values() if u.kind is kind]
        absolute = [u.symbol for u in own if u.absolute]
        also = [alias for alias, symbol in ALIASES.items() if symbol in absolute]
        differences = [u.symbol for u in own if u.difference]
        rows.append(f"| {kind.noun} | {', '.join((*absolute, *also))} | {', '.join(differences)} |")
    rows.append(f"| time | {', '.join(TIMES)} | |")
    return "\n".join(rows) + "\n"


def _keys() -> str:
    parts = ["At the top of the file:\n", "| key | | |", "|---|---|---|"]
    parts += [f"| `{name}` | {'required' if required else ''} | {says} |" for name, required, says in TOP]
    for section in Section:
        title = "a step of `cases`" if section is Section.STEPS else f"an entry of `{section}`"
        parts += ["", f"In {title}:\n", *_table(KEYS[section])]
        if section is Section.SENSORS:
            for nested in Nested:
                where = "an `input`" if nested is Nested.CURVE else "a sensor"
                parts += ["", f"In `{nested}` of {where}:\n", *_table(NESTED[nested])]
    return "\n".join(parts) + "\n"


def _table(keys: tuple[Key, ...]) -> list[str]:
    rows = ["| key | its value | | |", "|---|---|---|---|"]
    for key in keys:
        rows.append(f"| `{key.name}` | {_form(key)} | {'required' if key.required else ''} | {key.says} |")
    return rows


def _form(key: Key) -> str:
    if key.dimension is not None:
        return f"such as `{key.dimension.example}`"
    return ", ".join(str(word) for word in key.words) if key.words else str(key.form)
