"""The text protocol between `interlock conform` and a firmware, and a host program that speaks it for an export.

One line in and one line out for each scan, in ASCII, ended by a line feed (a carriage return before it does no harm).

In: a letter, then one field for each input in the order of the export's header, all separated by single spaces.
`F`: first power-up, nothing was kept; `P`: power-up after a power cycle; `S`: no power-up. The scan is run each time.
A sensor's field is its reading in whole steps, or `x` where the reading is lost; a line's field is 1 for on, 0 for off.

Out: one field for each output, sent line and alarm in the order of the header: 1, 0, or `-` for what the firmware does
not tell. A line that begins with `#` is passed over: a place for a board's own words.
"""

from __future__ import annotations

from interlock.export.c import CNames, c_names
from interlock.export.comments import heading
from interlock.export.unit import UnitCode
from interlock.logic.program import Observe

FIRST, POWER, SCAN = "F", "P", "S"
LOST, UNTOLD, REMARK = "x", "-", "#"


def host_file(code: UnitCode) -> dict[str, str]:
    """`PREFIX_host.c`: a main program around the export that reads scans and answers them."""
    names = c_names(code)
    return {f"{names.prefix}_host.c": _host(code, names)}


def _host(code: UnitCode, names: CNames) -> str:
    p, m = names.prefix, names.macro
    reads = [f"        in.{names.inputs[name]} = number(&at);" for name in code.sensors]
    reads += [f"        in.{names.inputs[name]} = number(&at) == 1;" for name in code.lines]
    tells = [_tell(names, key, i) for i, key in enumerate(code.told)]
    longest = 16 + 24 * (len(code.sensors) + len(code.lines))
    lines = [
        "/* "
        + "\n * ".join(
            [*heading(code), "A program that `interlock conform` can drive: one line in, one line out per scan."]
        )
        + "\n */",
        "#include <stdio.h>",
        "#include <stdlib.h>",
        f'#include "{p}.h"',
        "",
        f"static int{code.bits}_t number(char **at)",
        "{",
        "    while (**at == ' ') {",
        "        ++*at;",
        "    }",
        f"    if (**at == '{LOST}') {{",
        "        ++*at;",
        f"        return {m}_LOST;",
        "    }",
        f"    return (int{code.bits}_t)strtoll(*at, at, 10);",
        "}",
        "",
        "int main(void)",
        "{",
        f"    static {p}_state state;",
        f"    static {p}_inputs in;",
        f"    static {p}_outputs out;",
        f"    static {p}_kept kept;",
        f"    char line[{longest}];",
        "    while (fgets(line, sizeof line, stdin) != 0) {",
        "        char *at = line + 1;",
        f"        if (line[0] == '{FIRST}') {{",
        f"            (void){p}_power_up(&state, 0);",
        f"        }} else if (line[0] == '{POWER}') {{",
        f"            (void){p}_power_up(&state, &kept);",
        "        }",
        *reads,
        *([] if reads else ["        (void)number(&at);"]),
        f"        {p}_step(&state, &in, &out);",
        f"        {p}_keep(&state, &kept);",
        *tells,
        "        (void)fputc('\\n', stdout);",
        "        (void)fflush(stdout);",
        "    }",
        "    return 0;",
        "}",
    ]
    return "\n".join(lines) + "\n"


def _tell(names: CNames, key: tuple[Observe, str], number: int) -> str:
    return (
        f'        (void)fputs(out.{names.told[key]} ? "{" " if number else ""}1" : "{" " if number else ""}0", stdout);'
    )
