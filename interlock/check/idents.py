"""The closed set of findings that `check` can make. Each has a page of its own in `pages/`, which is also its test."""

from __future__ import annotations

from interlock.scheme.words import Word


class Ident(Word):
    """A finding's stable id."""

    # What no requirement speaks of.
    NO_COLD_REQUIREMENT = "no-cold-requirement"
    NO_FULL_REQUIREMENT = "no-full-requirement"
    NO_EMPTY_REQUIREMENT = "no-empty-requirement"
    NO_HOT_REQUIREMENT = "no-hot-requirement"
    # What no rule sees to.
    REQUIREMENT_UNPROTECTED = "requirement-unprotected"
    REQUIREMENT_NEVER_APPLIES = "requirement-never-applies"
    # Thresholds and sensors.
    SMALL_HYSTERESIS = "small-hysteresis"
    ERROR_OVER_LIMIT = "error-over-limit"
    DEAD_RANGE = "dead-range"
    IMPLIED_ASSUMPTION = "implied-assumption"
    # Sensors and what they are made of.
    ERROR_UNDERSTATED = "error-understated"
    LEAD_READS_OTHERWISE = "lead-reads-otherwise"
    FORMULA_READS_UNSAFE = "formula-reads-unsafe"
    # Rules that stand still.
    NEVER_TRIPS = "never-trips"
    NEVER_CLEARS = "never-clears"
    NEVER_IN_FORCE = "never-in-force"
    RESET_WITHOUT_BUTTON = "reset-without-button"
    # What one lost part leaves running.
    BROKEN_WIRE_RUNS = "broken-wire-runs"
    BROKEN_WIRE_OVERRIDES = "broken-wire-overrides"
    BROKEN_WIRE_HIDES_MODE = "broken-wire-hides-mode"
    DEAD_UNIT_RUNS = "dead-unit-runs"
    LOST_READING_RUNS = "lost-reading-runs"
    # From contact to device.
    CONTACT_INVERTED = "contact-inverted"
    RUNS_WHEN_RELEASED = "runs-when-released"
    CUT_OUTPUT_WIRE_RUNS = "cut-output-wire-runs"
    # Overrides.
    OVERRIDE_WITHOUT_LIMIT = "override-without-limit"
    OVERRIDE_WITHOUT_REST = "override-without-rest"
    OVERRIDE_OF_LAST_PROTECTION = "override-of-last-protection"
    # Groups.
    GROUP_PARTLY_STOPPED = "group-partly-stopped"
    BLOCKS_WHAT_MUST_RUN = "blocks-what-must-run"
    # The grading: which step acts before which.
    SOURCE_ABOVE_TRIP = "source-above-trip"
    CUT_OFF_AFTER_TRIP = "cut-off-after-trip"
    SETTINGS_OUT_OF_ORDER = "settings-out-of-order"
    RECONNECT_OUT_OF_REACH = "reconnect-out-of-reach"
    STEPS_OVERLAP = "steps-overlap"
    DAMAGE_BEFORE_STOP = "damage-before-stop"
    # What is set inside a device.
    REMOTE_INPUT_DISABLED = "remote-input-disabled"
    REMOTE_INPUT_UNVERIFIED = "remote-input-unverified"
    # The scheme's own list of accepted findings.
    ACCEPTANCE_UNUSED = "acceptance-unused"
