"""What would take faults off the list of single points of failure, in words."""

from __future__ import annotations

from enum import unique

from interlock.explain.template import Template


@unique
class Remedy(Template):
    """The templates of remedies."""

    # What could be done against one fault
    COULD = "{ways} would take it out of this list."
    COULD_TOGETHER = "{ways} would together take it out of this list."
    COULD_KEY = "Connectors that fit only their own place would rule it out."
    COULD_KEEP_APART = (
        "No stop helps against it: keep the conductors apart, and say in the scheme why it cannot happen."
    )
    COULD_KEEP_SEPARATE = (
        "Parts that no one cause reaches together, with connectors, leads and supplies of their own, would make "
        "separate faults of it."
    )
    COULD_UNDRIVEN = (
        "Read as {state} when its wire is broken (`undriven_reads: {state}`), it would leave this list, and its short, "
        "the rarer fault, would come onto it."
    )
    COULD_WATCHDOG = (
        "A watchdog outside {unit} that releases all it drives when it hangs would rule it out; the scheme may then "
        "leave it out for that reason."
    )
    COULD_BUFFER = (
        "A buffered supply for {unit}, with its state watched, would rule it out; the scheme may then leave it out for "
        "that reason."
    )
    COULD_TEST = "A test at commissioning finds it."
    COULD_LEAVE_OUT = (
        "`--suggest` looks for a change that takes it out of this list; the scheme may leave it out where that rests "
        "on {backing}."
    )
    WAY_SECOND_SENSOR = "a second sensor beside it, combined with it,"
    WAY_SENSOR_ELSEWHERE = "a second sensor at a place of its own, combined with it,"
    WAY_MIDDLE_SENSOR = (
        "two more sensors beside it, with the middle of the three readings taken (`median_of`, `needs: 2`),"
    )
    WAY_STALE = "a time after which an unchanged reading is invalid, or a second sensor,"
    WAY_SHORTER_STALE = "a shorter time after which an unchanged reading is invalid, or a second sensor,"
    WAY_OUTSIDE_VALID = "a narrower range of valid readings, outside which it then reads, or a second sensor,"
    WAY_TRIP_ON_INVALID = "`on_invalid: trip` in {rules}, or a second sensor,"
    WAY_SECOND_SIGNAL = "{signal} on a wire of its own, {how},"
    SECOND_CONTACT = "a second contact like it"
    SECOND_PERMIT = "a second permit from {unit}"
    SECOND_MESSAGE = "a second signal from {unit}"
    SECOND_AUXILIARY = "a second auxiliary contact of {output}"
    VOICE_OWN = "with rules of its own like the first one's"
    VOICE_OWN_NAMED = "with rules of its own like the first one's and named beside it by the requirement"
    VOICE_ASKED = "asked as well by the rules before they act"
    VOICE_ASKED_NAMED = "asked as well by the rules before they act and named beside it by the requirement"
    VOICE_TWO_OF_THREE = "and a third, of which any two decide"
    WAY_OVERRIDE_ENDS = (
        "an override that ends by itself (`override_at_most`), so that it and the rule's delay keep within the time "
        "allowed,"
    )
    WAY_OVERRIDE_SHORTER = (
        "a shorter override (`override_at_most`), so that it and the rule's delay keep within the time allowed,"
    )
    WAY_BOTH_MODES = "stopping {paths} in both modes (named itself in `blocks`)"
    WAY_SERIES = "a second stop in series"
    WAY_SERIES_CONFIRMED = "a second stop in series, confirmed by an auxiliary contact of its own as the first is,"
    WAY_SERIES_ELSEWHERE = "a second stop in series on another unit's output"
    WAY_PARALLEL = "a second {paths} in parallel, on an output and a wire of its own, either of which is enough,"
    WAY_PARALLEL_ELSEWHERE = "a second {paths} in parallel, on another unit's output, either of which is enough,"
    WAY_FAR_END = (
        "a signal taken beyond the wire, at the device itself (a contact or a voltage relay there), which the rules "
        "and the requirement go by in the place of {signals},"
    )
    THE_COMMAND = "the command"
    WAY_RULES_TWICE = "another unit that evaluates the rules of {unit} as well, and can stop by itself,"
    WAY_UNDRIVEN = "{line} read as {state} when nothing drives it (`undriven_reads: {state}`)"
    WAY_POWER_UP_TRIPPED = "`power_up: tripped` in {rules}"
    WAY_RULE_AGAIN = "the same rule once more, on another signal or in another unit where it can be,"

    # Changes that could take single points of failure off the list
    TRY_STALE_AFTER = (
        "Let {part} count as invalid once its reading has stood still for {time}; choose a sensor whose reading never "
        "stands still for so long when it is sound."
    )
    TRY_RULE_ON_LINE = (
        "Let {unit} evaluate {part} as well, as {second}, and send it by {via} too; all that {part} reads has to be "
        "wired to {unit} as well."
    )
    TRY_RULE_ON_OUTPUTS = (
        "Let {unit} evaluate {part} as well, as {second}, and stop {paths} by its own {via}; all that {part} reads has "
        "to be wired to {unit} as well."
    )
    TRY_SECOND_OUTPUT = (
        "Put a second output of {unit}, {second}, in series with {part} and command it with {part}: either then stops "
        "{paths}."
    )
    TRY_SECOND_SENSOR = (
        "Fit a second sensor like {part}, {second}, at the same place, and let {rules} read the safe one of the two "
        "({readings}); with one of them lost there is no reading."
    )
    TRY_CHANNEL = (
        "Put an output of {unit}, {second}, in series with {part}, and let {unit} stop {paths} by itself, by {rules}."
    )
    TRY_CHANNEL_WIRED = (
        "Put an output of {unit}, {second}, in series with {part}, and let {unit} stop {paths} by itself, by {rules}: "
        "it has to be wired to all that they read."
    )
    TRY_NO_OUTPUT_YET = "So far {unit} has no output: it needs one that can do this."
    TRY_EXCLUSION = (
        "Leave {part} out for a reason, {reason}: it may go only where that is really so, and where whoever signs for "
        "the installation accepts it."
    )
    BACKED = "to be backed by: {part}"
    BACKED_LEAD = "a lead laid apart and protected against damage from outside (ISO 13849-2, annex D)"
    BACKED_STUCK = "a measuring channel that tests itself while it is in use"
    BACKED_DRIFTED = "a sensor of a known accuracy class, held against a reference once a year"
    BACKED_MISPLACED = "a mount that fits in one place only, and a look at it at commissioning"
    BACKED_TRIED = "a recorded test of its function at commissioning and after each work on it"
    BACKED_WELDED = "a contactor with mirror contacts (IEC 60947-4-1, annex F), which are read back before each start"
    BACKED_APART = (
        "conductors laid apart from each other and protected against damage from outside (ISO 13849-2, annex D)"
    )
    BACKED_KEYED = "connectors that fit their own place only, and a recorded test at commissioning"
    BACKED_SUPPLY = "a buffered supply of its own, with its state watched"
    BACKED_WATCHDOG = "a unit with a watchdog outside its processor that releases its outputs within the time allowed"
    BACKED_READ_BACK = "the rules read back from the unit, and each of them tried at commissioning"
