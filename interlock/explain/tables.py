"""The phrase of each member of each closed set of the scheme's words.

A table that misses a member fails when this module is imported, naming it.
"""

from __future__ import annotations

from typing import Final

from interlock.explain.closed import Cause, Section, complete
from interlock.explain.remedies import Remedy
from interlock.explain.words import Say
from interlock.scheme.units import Kind
from interlock.scheme.words import (
    Combine,
    Compare,
    Contact,
    DeviceInput,
    EnergisedWhen,
    FlowWord,
    LineForm,
    Mode,
    Must,
    OnInvalid,
    OwnLimit,
    Part,
    PowerUp,
    Reset,
    Signal,
    State,
)

TITLES: Final = complete({s: Say["TITLE_" + s.name] for s in Section}, Section, "section titles")

LIMITS: Final = complete(
    {
        Compare.BELOW: Say.LIMIT_BELOW,
        Compare.ABOVE: Say.LIMIT_ABOVE,
        Compare.AT_OR_BELOW: Say.LIMIT_AT_OR_BELOW,
        Compare.AT_OR_ABOVE: Say.LIMIT_AT_OR_ABOVE,
    },
    Compare,
    "limits in words",
)

# A condition as its reader sees it: now, and for some time.
SEEN: Final = complete(
    {
        Signal.QUANTITY: (Say.IS, Say.HAS_BEEN),
        Signal.SENSOR: (Say.READS, Say.HAS_READ),
        Signal.READING: (Say.READS, Say.HAS_READ),
        Signal.LINE: (Say.READS, Say.HAS_READ),
        Signal.PATH: (Say.TOLD, Say.HAS_BEEN_TOLD),
        Signal.RULE: (Say.IS, Say.HAS_BEEN),
    },
    Signal,
    "conditions as seen",
)

# The two sides of a two-valued signal, (true, false): as its reader sees it, and in truth. Values have none.
SIDES_SEEN: Final = complete(
    {
        Signal.QUANTITY: None,
        Signal.SENSOR: None,
        Signal.READING: None,
        Signal.LINE: (Say.ON, Say.OFF),
        Signal.PATH: (Say.TO_RUN, Say.TO_STOP),
        Signal.RULE: (Say.ACTIVE, Say.CLEAR),
    },
    Signal,
    "sides as seen",
)
SIDES_TRUE: Final = complete({**SIDES_SEEN, Signal.PATH: (Say.RUNNING, Say.STOPPED)}, Signal, "sides in truth")

STATES: Final = complete(
    {
        State.CLEAR: Say.CLEAR,
        State.PICKING_UP: Say.STATE_PICKING_UP,
        State.TRIPPED: Say.STATE_TRIPPED,
        State.DROPPING_OFF: Say.STATE_DROPPING_OFF,
        State.AWAITING_RESET: Say.STATE_AWAITING_RESET,
    },
    State,
    "states in words",
)

NOUNS: Final = complete({kind: Say["NOUN_" + kind.name] for kind in Kind}, Kind, "kinds of value")

OWN_LIMITS: Final = complete({w: Say["OWN_" + w.name] for w in OwnLimit}, OwnLimit, "own limits")

COMBINED: Final = complete(
    {
        Combine.LOWEST_OF: Say.COMBINE_LOWEST,
        Combine.HIGHEST_OF: Say.COMBINE_HIGHEST,
        Combine.MEDIAN_OF: Say.COMBINE_MEDIAN,
        Combine.DIFFERENCE_OF: Say.COMBINE_DIFFERENCE,
        Combine.AVERAGE_OF: Say.COMBINE_AVERAGE,
    },
    Combine,
    "derived readings in words",
)

# (a rule that trips without delay, one with a delay)
LOST: Final = complete(
    {
        OnInvalid.TRIP: (Say.RULE_LOST_AT_ONCE, Say.RULE_LOST_AFTER),
        OnInvalid.HOLD: (Say.RULE_LOST_HOLDS, Say.RULE_LOST_HOLDS),
        OnInvalid.CLEAR: (Say.RULE_LOST_CLEARS, Say.RULE_LOST_CLEARS),
    },
    OnInvalid,
    "lost readings in words",
)

POWER_UPS: Final = complete(
    {
        PowerUp.TRIPPED: Say.RULE_STARTS_TRIPPED,
        PowerUp.CLEAR: Say.RULE_STARTS_CLEAR,
        PowerUp.AS_LEFT: Say.RULE_STARTS_AS_LEFT,
    },
    PowerUp,
    "power-up in words",
)

# How a rule ends: (without a clear delay or with nobody to reset it, with).
ENDS: Final = complete(
    {
        Reset.AUTOMATIC: (Say.CLEARS_AT_ONCE, Say.CLEARS_AFTER),
        Reset.MANUAL: (Say.CLEARS_BY_NOBODY, Say.CLEARS_BY_PERSON),
    },
    Reset,
    "resets in words",
)

FLOWS: Final = complete(
    {
        FlowWord.CHARGE: Say.PATH_CHARGES,
        FlowWord.DISCHARGE: Say.PATH_DRAWS,
        FlowWord.BOTH: Say.PATH_BOTH,
        FlowWord.NONE: Say.PATH_NEITHER,
    },
    FlowWord,
    "flows in words",
)

# A line by its form: (from one rule or none, from several).
LINE_FORMS: Final = complete(
    {
        LineForm.EXTERNAL: (Say.LINE_EXTERNAL, Say.LINE_EXTERNAL),
        LineForm.LOW_WHEN: (Say.LINE_LOW_WHEN, Say.LINE_LOW_WHEN_ANY),
        LineForm.HIGH_WHEN: (Say.LINE_HIGH_WHEN, Say.LINE_HIGH_WHEN_ANY),
        LineForm.CONFIRMS: (Say.LINE_CONFIRMS, Say.LINE_CONFIRMS),
    },
    LineForm,
    "lines in words",
)

# A contact (closed, open) and what the device then sees at the end of the wire (made, not made).
CONTACTS: Final = complete(
    {
        Contact.NORMALLY_OPEN: (Say.CONTACT_NO_CLOSED, Say.CONTACT_NO_OPEN),
        Contact.NORMALLY_CLOSED: (Say.CONTACT_NC_CLOSED, Say.CONTACT_NC_OPEN),
        Contact.DRIVEN: (Say.CONTACT_HIGH, Say.CONTACT_LOW),
    },
    Contact,
    "contacts in words",
)
INPUTS: Final = complete(
    {
        DeviceInput.CLOSED: (Say.INPUT_CLOSED, Say.INPUT_OPEN),
        DeviceInput.OPEN: (Say.INPUT_CLOSED, Say.INPUT_OPEN),
        DeviceInput.HIGH: (Say.INPUT_HIGH, Say.INPUT_LOW),
        DeviceInput.LOW: (Say.INPUT_HIGH, Say.INPUT_LOW),
    },
    DeviceInput,
    "device inputs in words",
)
NEEDS: Final = complete(
    {
        DeviceInput.CLOSED: Say.OUTPUT_NEEDS_CLOSED,
        DeviceInput.OPEN: Say.OUTPUT_NEEDS_OPEN,
        DeviceInput.HIGH: Say.OUTPUT_NEEDS_HIGH,
        DeviceInput.LOW: Say.OUTPUT_NEEDS_LOW,
    },
    DeviceInput,
    "what devices need, in words",
)
ENERGISED: Final = complete(
    {EnergisedWhen.RUNS: Say.OUTPUT_ENERGISED_RUNS, EnergisedWhen.STOPS: Say.OUTPUT_ENERGISED_STOPS},
    EnergisedWhen,
    "energised when, in words",
)

# A cause by the kind of contact it works on: (a contact, a driven level).
CAUSES: Final = complete(
    {
        Cause.RUNS: (Say.CAUSE_RUNS, Say.CAUSE_RUNS),
        Cause.STOPS: (Say.CAUSE_STOPS, Say.CAUSE_STOPS),
        Cause.UNIT_DEAD: (Say.CAUSE_UNIT_DEAD, Say.CAUSE_UNIT_DEAD),
        Cause.WIRE_BROKEN: (Say.CAUSE_WIRE_BROKEN, Say.CAUSE_WIRE_BROKEN),
        Cause.CONTACT_WELDED: (Say.CAUSE_WELDED, Say.CAUSE_STUCK_HIGH),
    },
    Cause,
    "causes in words",
)

# A demand: (plain, with conditions), for a time and for no time at all.
DEMANDS: Final = complete(
    {
        Must.NEVER_RUNNING: (Say.MUST_NOT_RUN, Say.MUST_NOT_RUN_WHILE),
        Must.NEVER_STOPPED: (Say.MUST_NOT_STOP, Say.MUST_NOT_STOP_WHILE),
    },
    Must,
    "demands in words",
)
DEMANDS_AT_ALL: Final = complete(
    {
        Must.NEVER_RUNNING: (Say.MUST_NOT_RUN_AT_ALL, Say.MUST_NOT_RUN_AT_ALL_WHILE),
        Must.NEVER_STOPPED: (Say.MUST_NOT_STOP_AT_ALL, Say.MUST_NOT_STOP_AT_ALL_WHILE),
    },
    Must,
    "absolute demands in words",
)

# What a mode means, by the kinds of part that can have it.
MODE_MEANS: Final = complete(
    {
        Mode.OPEN: {Part.SENSOR: Say.MODE_OPEN},
        Mode.SHORTED: {Part.SENSOR: Say.MODE_SHORTED_SENSOR, Part.LINE: Say.MODE_SHORTED_LINE},
        Mode.STUCK: {Part.SENSOR: Say.MODE_STUCK},
        Mode.DRIFTED: {Part.SENSOR: Say.MODE_DRIFTED},
        Mode.MISPLACED: {Part.SENSOR: Say.MODE_MISPLACED},
        Mode.BROKEN: {Part.LINE: Say.MODE_BROKEN},
        Mode.INVERTED: {Part.LINE: Say.MODE_INVERTED},
        Mode.WELDED: {Part.OUTPUT: Say.MODE_WELDED},
        Mode.WIRE_BROKEN: {Part.OUTPUT: Say.MODE_WIRE_BROKEN},
        Mode.WRONG_CONTACT: {Part.OUTPUT: Say.MODE_WRONG_CONTACT},
        Mode.IGNORED: {Part.OUTPUT: Say.MODE_IGNORED},
        Mode.BYPASSED: {Part.PATH: Say.MODE_BYPASSED},
        Mode.SWAPPED: {
            Part.SENSOR: Say.MODE_SWAPPED_SENSOR,
            Part.LINE: Say.MODE_SWAPPED_LINE,
            Part.OUTPUT: Say.MODE_SWAPPED_OUTPUT,
        },
        Mode.DEAD: {Part.UNIT: Say.MODE_DEAD},
        Mode.FROZEN: {Part.UNIT: Say.MODE_FROZEN},
        Mode.POWER_CYCLED: {Part.UNIT: Say.MODE_POWER_CYCLED},
        Mode.OMITTED: {Part.RULE: Say.MODE_OMITTED},
    },
    Mode,
    "fault modes in words",
)

# What has happened once a fault is there.
MODE_IS: Final = complete(
    {
        Mode.OPEN: Say.IS_OPEN,
        Mode.SHORTED: Say.IS_SHORTED,
        Mode.STUCK: Say.IS_STUCK,
        Mode.DRIFTED: Say.IS_DRIFTED,
        Mode.MISPLACED: Say.IS_MISPLACED,
        Mode.BROKEN: Say.IS_BROKEN,
        Mode.INVERTED: Say.IS_INVERTED,
        Mode.WELDED: Say.IS_WELDED,
        Mode.WIRE_BROKEN: Say.IS_WIRE_BROKEN,
        Mode.WRONG_CONTACT: Say.IS_WRONG_CONTACT,
        Mode.IGNORED: Say.IS_IGNORED,
        Mode.BYPASSED: Say.IS_BYPASSED,
        Mode.SWAPPED: Say.ARE_SWAPPED,
        Mode.DEAD: Say.IS_DEAD,
        Mode.FROZEN: Say.IS_FROZEN,
        Mode.POWER_CYCLED: Say.IS_POWER_CYCLED,
        Mode.OMITTED: Say.IS_OMITTED,
    },
    Mode,
    "faults that have happened",
)
# A second signal that tells what a line of that form tells.
SECOND_SIGNALS: Final = complete(
    {
        LineForm.EXTERNAL: Remedy.SECOND_CONTACT,
        LineForm.LOW_WHEN: Remedy.SECOND_PERMIT,
        LineForm.HIGH_WHEN: Remedy.SECOND_MESSAGE,
        LineForm.CONFIRMS: Remedy.SECOND_AUXILIARY,
    },
    LineForm,
    "second signals",
)

# What would have to be there before a mode may be left out. The standards named are quoted from memory, by title.
BACKINGS: Final = complete(
    {
        Mode.OPEN: Remedy.BACKED_LEAD,
        Mode.SHORTED: Remedy.BACKED_LEAD,
        Mode.STUCK: Remedy.BACKED_STUCK,
        Mode.DRIFTED: Remedy.BACKED_DRIFTED,
        Mode.MISPLACED: Remedy.BACKED_MISPLACED,
        Mode.BROKEN: Remedy.BACKED_LEAD,
        Mode.INVERTED: Remedy.BACKED_TRIED,
        Mode.WELDED: Remedy.BACKED_WELDED,
        Mode.WIRE_BROKEN: Remedy.BACKED_LEAD,
        Mode.WRONG_CONTACT: Remedy.BACKED_TRIED,
        Mode.IGNORED: Remedy.BACKED_TRIED,
        Mode.BYPASSED: Remedy.BACKED_APART,
        Mode.SWAPPED: Remedy.BACKED_KEYED,
        Mode.DEAD: Remedy.BACKED_SUPPLY,
        Mode.FROZEN: Remedy.BACKED_WATCHDOG,
        Mode.POWER_CYCLED: Remedy.BACKED_SUPPLY,
        Mode.OMITTED: Remedy.BACKED_READ_BACK,
    },
    Mode,
    "what backs leaving a mode out",
)
