"""Remote inputs: a device that does not heed its input is not stopped by any rule."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.check.facts import Facts
from interlock.check.idents import Ident
from interlock.check.make import finding, listed
from interlock.scheme.findings import Finding


def check(facts: Facts) -> Iterator[Finding]:
    """All findings of this family."""
    for device in facts.scheme.devices.values():
        outputs = facts.scheme.paths[device.path].outputs
        also = tuple((facts.scheme.outputs[o].place, f"`{o}` is wired to it") for o in outputs)
        if device.remote_enabled is False:
            yield finding(
                Ident.REMOTE_INPUT_DISABLED,
                device.path,
                device.place,
                f"the remote input of `{device.path}` is not enabled: whatever {listed(outputs)} says, it may run on",
                "enable the remote input in the device's own settings, and see it stop",
                also,
            )
        elif device.remote_enabled and not device.verified_at:
            yield finding(
                Ident.REMOTE_INPUT_UNVERIFIED,
                device.path,
                device.place,
                f"the remote input of `{device.path}` is said to be enabled, and nothing says where that is verified",
                "say in `verified_at` where it is set and how one sees the device heed it",
                also,
            )
