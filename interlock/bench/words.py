"""Every word that the page's scripts say, once, in English; a catalogue for another language has the same keys.

Fields in braces are filled in by the page.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

WORDS: Final[Mapping[str, str]] = {
    # states
    "running": "running",
    "stopped": "stopped",
    "either": "may be either",
    "on": "on",
    "off": "off",
    "active": "active",
    "clear": "clear",
    "open": "open",
    "closed": "closed",
    "invalid": "invalid",
    "and": " and ",
    "or": " or ",
    "comma": ", ",
    # a rule
    "left_out": "{rule} is left out",
    "rule": "{rule} is {state}{running_of}{idle}: {sees}",
    "running_of": " ({done} of {delay})",
    "idle": ", not in force",
    "reads": "{name} reads {value}",
    "to_run": "{name} was commanded to run",
    "to_stop": "{name} was commanded to stop",
    "rule_active": "{name} is active",
    "rule_clear": "{name} is clear",
    # an output
    "output": "{output} is {state}: {cause}; it is {coil}, its contact is {contact}",
    "blocks": "{rule} blocks {path}",
    "no_starter": "no rule starts {path}",
    "unwanted": "it is not wanted",
    "unit_dead": "{unit} is dead",
    "unit_frozen": "{unit} is frozen",
    "nothing_blocks": "nothing blocks it",
    "energised": "energised",
    "released": "released",
    # a path
    "round": "current finds a way round everything that could stop {path}",
    "behind": "it stands behind {behind}, which {state}",
    "behind_running": "runs",
    "behind_stopped": "is stopped",
    "behind_either": "may run or be stopped",
    "unswitched": "nothing switches it: {reason}",
}
