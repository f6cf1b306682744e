"""What the words propose against a single point of failure is done to the scheme, and judged again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

import pytest

from interlock.explain.phrases import Phrase, sentence
from interlock.explain.remedies import Remedy
from interlock.explain.ways_out import ways_out
from interlock.faults.court import Batch, Court
from interlock.faults.cutsets_search import Ask
from interlock.faults.judge import BUDGET, Answer
from interlock.scheme.edit import SchemeText
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import Mode, Part
from tests.explain.schemes import RULES
from tests.explain.test_words import keys_in
from tests.support.bench import BENCH

Edit = tuple[str, str]  # what stands in the text, and what stands there instead


def done(text: str, *edits: Edit) -> str:
    """The text with each edit made once. Fails where an edit finds no place: it must not miss silently."""
    for old, new in edits:
        assert old in text, f"the scheme has no {old!r}"
        text = text.replace(old, new, 1)
    return text


LAMP_NEEDED = (
    "  charging_served:",
    "  lamp_needed: {never_stopped: lamp_circuit, protects: yes, longer_than: 6 min,\n"
    "                while: {hottest_cell: below 40 degC, lowest_cell: above 3.2 V}}\n  charging_served:",
)
TEXTS = {
    "hut": (RULES / "alpine_hut.yaml").read_text(),
    "launch": (RULES / "survey_launch.yaml").read_text(),
    "permitting": (RULES / "flawed" / "launch_permit_wire_permits.yaml").read_text(),
    "bench": BENCH,
    "lit": done(BENCH, LAMP_NEEDED),
    "shorted low": done(
        BENCH, ("    valid: -35 to 90 degC\n", "    valid: -35 to 90 degC\n    shorted_reads: -35 degC\n")
    ),
    "held": done(BENCH, ("clears: below 3.40 V for 30 s}", "clears: below 3.40 V for 30 s, on_invalid: hold}")),
    "clear": done(
        BENCH,
        ("reset_by: reset_button,", "reset_by: reset_button, power_up: clear,"),
        ("clears: on for 1 s, blocks: loads}", "clears: on for 1 s, blocks: loads, power_up: clear}"),
    ),
}
# Of one scheme only what is asked: all its faults take their time.
ONLY = {"permitting": ["pack_permit.broken", "pack_permit.shorted", "cell_monitor.dead"]}

BEYOND_THE_WIRE = (
    ("  turbine_closed:   {", "  turbine_on_bus: external\n  turbine_closed:   {"),
    ("    watches: turbine_closed\n", "    watches: turbine_on_bus\n"),
    ("    only_while: {bus_closed: on}\n", ""),
    ("while: {turbine_charging: stopped}, longer_than: 500 ms", "while: {turbine_on_bus: off}, longer_than: 500 ms"),
    ("while: {turbine_charging: running}, longer_than: 1 s", "while: {turbine_on_bus: on}, longer_than: 1 s"),
)
SECOND_PACK_CONTACTOR = (
    ("  alternator:       {flow", "  pack_contactor_2: {flow: none}\n  alternator:       {flow"),
    ("while: {pack_contactor: stopped}", "while: {pack_contactor: stopped, pack_contactor_2: stopped}"),
)
OF_THE_MONITOR = (
    *SECOND_PACK_CONTACTOR,
    ("  K2: {drives", "  K1b: {unit: cell_monitor, drives: [pack_contactor_2], contact: normally_open,\n"
     "        runs_when: closed}\n  K2: {drives"),
    ("  # Charging and drawing", "  hot_open: {unit: cell_monitor, watches: cell_hot, trips: active for 2 s, "
     "clears: clear,\n             blocks: pack_contactor_2}\n\n  # Charging and drawing"),
)  # fmt: skip
IN_BOTH_UNITS = (
    ("  K2: {drives", "  K1b: {unit: cell_monitor, drives: [bench_charger], contact: normally_open,\n"
     "        runs_when: closed}\n  K2b: {unit: cell_monitor, drives: [lamp_circuit], contact: normally_open,\n"
     "        runs_when: closed}\n  K2: {drives"),
    ("below 3.40 V for 30 s}", "below 3.40 V for 30 s, blocks: bench_charger}"),
    ("above 3.10 V for 60 s}", "above 3.10 V for 60 s, blocks: lamp_circuit}"),
    ("  cold_stop: ", "  cold_stop_2: {unit: cell_monitor, watches: probe, trips: below 3 degC for 2 s,\n"
     "                clears: above 5 degC for 60 s, blocks: bench_charger}\n"
     "  hot_stop_2: {unit: cell_monitor, watches: probe, trips: above 55 degC for 2 s,\n"
     "               clears: below 45 degC for 5 min, blocks: lamp_circuit}\n  cold_stop: "),
)  # fmt: skip
MONITORS_RULES_ON_THE_BOARD = (
    ("  full_stop: ", "  full_too: {watches: high_tap, trips: above 3.55 V for 1 s, clears: below 3.40 V for 30 s,\n"
     "             blocks: sources}\n"
     "  empty_too: {watches: low_tap, trips: below 2.80 V for 3 s, clears: above 3.10 V for 60 s, blocks: loads}\n"
     "  full_stop: "),
)  # fmt: skip
SECOND_CHARGE_PERMIT = (
    ("  monitor_charge_ok: ", "  charge_ok_2: {low_when: [cell_full]}\n  monitor_charge_ok: "),
    ("  full_stop: ", "  full_stop_2: {watches: charge_ok_2, trips: off, clears: on for 1 s, blocks: sources}\n"
     "  full_stop: "),
)  # fmt: skip
SECOND_AUXILIARY_OF_K1 = (
    ("  turbine_closed:   {", "  bus_closed_2: {confirms: K1, undriven_reads: off}\n  turbine_closed:   {"),
    ("  turbine_on_pack:\n", "  on_pack_2: {watches: turbine_closed, trips: on for 500 ms, clears: off, "
     "blocks: dump_load,\n              only_while: {bus_closed_2: on}, power_up: clear}\n  turbine_on_pack:\n"),
)  # fmt: skip


@dataclass(frozen=True)
class Done:
    """A scheme, a single point of failure of it, what is said, and the same done to the scheme."""

    scheme: str
    fault: str
    says: Remedy
    edits: tuple[Edit, ...]

    def __str__(self) -> str:
        return f"{self.scheme}, {self.fault}: {self.says.name.lower()}"


EXAMPLES = (
    Done("hut", "K1.wire_broken", Remedy.WAY_FAR_END, BEYOND_THE_WIRE),
    Done("hut", "K3.wire_broken", Remedy.WAY_FAR_END, BEYOND_THE_WIRE),
    Done("hut", "K8.wire_broken", Remedy.WAY_FAR_END, (
        ("  valley_live:      {", "  inverter_filled: external\n  valley_live:      {"),
        ("    watches: inverter_precharge\n    trips: stopped\n    clears: running for 3 s\n",
         "    watches: inverter_filled\n    trips: off\n    clears: on\n"),
        ("  inverter_filled:    {", "  filled_first:       {"),
        ("while: {inverter_precharge: stopped}", "while: {inverter_filled: off}"),
    )),
    Done("hut", "K4.wire_broken", Remedy.WAY_PARALLEL, (
        ("  dump_load:          {flow", "  dump_load_2: {flow: discharge}\n  dump_load:          {flow"),
        ("  K5:  {drives", "  K4b: {drives: [dump_load_2], contact: normally_closed, energised_when: stops,\n"
         "        runs_when: closed, stops_within: 200 ms, starts_within: 100 ms}\n  K5:  {drives"),
        ("    blocks: dump_load\n", "    blocks: [dump_load, dump_load_2]\n"),
        ("while: {turbine_charging: stopped}", "while: {turbine_charging: stopped, dump_load_2: stopped}"),
    )),
    Done("hut", "charge_permit.shorted", Remedy.VOICE_OWN, (
        ("  discharge_permit: {", "  charge_permit_2: {low_when: [cell_full]}\n  discharge_permit: {"),
        ("  full_stop:\n", "  full_stop_2: {watches: charge_permit_2, trips: off, clears: on for 1 s, "
         "blocks: charging}\n  full_stop:\n"),
    )),
    Done("bench", "monitor_charge_ok.shorted", Remedy.SECOND_PERMIT, SECOND_CHARGE_PERMIT),
    Done("bench", "monitor_charge_ok.inverted", Remedy.VOICE_OWN, SECOND_CHARGE_PERMIT),
    Done("hut", "bus_closed.broken", Remedy.SECOND_AUXILIARY, SECOND_AUXILIARY_OF_K1),
    Done("hut", "bus_closed.inverted", Remedy.SECOND_AUXILIARY, SECOND_AUXILIARY_OF_K1),
    Done("hut", "generator_closed.shorted", Remedy.SECOND_AUXILIARY, (
        ("  valley_closed:    {", "  generator_closed_2: {confirms: K5, undriven_reads: on}\n  valley_closed:    {"),
        ("  generator_made:\n", "  made_2: {watches: generator_closed_2, trips: on, clears: off for 2 s, "
         "blocks: valley_charger}\n  generator_made:\n"),
    )),
    Done("launch", "contactor_closed.shorted", Remedy.SECOND_AUXILIARY, (
        ("  shore_live:  ", "  contactor_closed_2: {confirms: K1}\n  shore_live:  "),
        ("  contactor_first:\n", "  first_2: {watches: contactor_closed_2, trips: off, clears: on for 1 s, "
         "blocks: alternator}\n  contactor_first:\n"),
    )),
    Done("hut", "source_bus_live.shorted", Remedy.VOICE_ASKED_NAMED, (
        ("  reset_button:     {", "  source_live_2: external\n  reset_button:     {"),
        ("only_while: {source_bus_live: on}", "only_while: {source_bus_live: on, source_live_2: on}"),
        ("while: {source_bus_live: off}", "while: {source_bus_live: off, source_live_2: off}"),
    )),
    Done("launch", "thruster_lever.shorted", Remedy.VOICE_ASKED_NAMED, (
        ("  thruster_lever:  ", "  lever_2: external\n  thruster_lever:  "),
        ("    starts: bow_thruster\n", "    starts: bow_thruster\n    only_while: {lever_2: on}\n"),
        ("while: {thruster_lever: off}", "while: {thruster_lever: off, lever_2: off}"),
    )),
    Done("launch", "stop_loop.shorted", Remedy.VOICE_OWN_NAMED, (
        ("  thruster_lever:  ", "  stop_loop_2: external\n  thruster_lever:  "),
        ("  helm_stop:\n", "  open_2: {watches: stop_loop_2, trips: off for 2 s, clears: on, blocks: pack_contactor}\n"
         "  stop_2: {watches: stop_loop_2, trips: off, clears: on for 1 s, blocks: all}\n  helm_stop:\n"),
        ("while: {stop_loop: off}", "while: {stop_loop: off, stop_loop_2: off}"),
    )),
    Done("lit", "monitor_discharge_ok.broken", Remedy.VOICE_ASKED, (
        ("  monitor_charge_ok: ", "  discharge_ok_2: {low_when: [cell_empty]}\n  monitor_charge_ok: "),
        ("clears: on for 1 s, blocks: loads}", "clears: on for 1 s, blocks: loads, only_while: {discharge_ok_2: off}}"),
    )),
    Done("hut", "bus_closed.broken", Remedy.COULD_UNDRIVEN, (
        ("{confirms: K1, undriven_reads: off", "{confirms: K1, undriven_reads: on"),
    )),
    Done("hut", "turbine_closed.broken", Remedy.COULD_UNDRIVEN, (
        ("{confirms: K3, undriven_reads: off", "{confirms: K3, undriven_reads: on"),
    )),
    Done("permitting", "pack_permit.broken", Remedy.COULD_UNDRIVEN, (
        ("cell_hot], undriven_reads: on", "cell_hot], undriven_reads: off"),
    )),
    Done("permitting", "cell_monitor.dead", Remedy.WAY_UNDRIVEN, (
        ("cell_hot], undriven_reads: on", "cell_hot], undriven_reads: off"),
    )),
    Done("launch", "K1.welded", Remedy.WAY_SERIES_CONFIRMED, (
        ("  shore_live:  ", "  contactor_closed_2: {confirms: K1_2}\n  shore_live:  "),
        ("  contactor_first:\n", "  first_2: {watches: contactor_closed_2, trips: off, clears: on for 1 s, "
         "blocks: alternator}\n  contactor_first:\n"),
        ("  K2: {drives", "  K1_2: {drives: [pack_contactor], contact: normally_open, runs_when: closed,\n"
         "         stops_within: 200 ms, starts_within: 200 ms}\n  K2: {drives"),
    )),
    Done("hut", "rescue_button.shorted", Remedy.WAY_OVERRIDE_SHORTER, (
        ("override_at_most: 10 min", "override_at_most: 30 s"),
    )),
    Done("launch", "shore_gone.shorted", Remedy.WAY_BOTH_MODES, (
        ("    blocks: loads\n", "    blocks: [loads, inverter_charger]\n"),
    )),
    Done("launch", "shore_live.shorted", Remedy.WAY_BOTH_MODES, (
        ("    blocks: sources\n", "    blocks: [sources,  inverter_charger]\n"),
    ) * 3),
    Done("launch", "K1.wire_broken", Remedy.WAY_PARALLEL, (
        *SECOND_PACK_CONTACTOR,
        ("  K2: {drives", "  K1b: {drives: [pack_contactor_2], contact: normally_open, runs_when: closed}\n"
         "  K2: {drives"),
        *(("    blocks: pack_contactor\n", "    blocks: [pack_contactor, pack_contactor_2]\n"),) * 2,
    )),
    Done("launch", "board.dead", Remedy.WAY_PARALLEL_ELSEWHERE, OF_THE_MONITOR),
    Done("launch", "board.power_cycled", Remedy.WAY_PARALLEL_ELSEWHERE, OF_THE_MONITOR),
    Done("clear", "board.power_cycled", Remedy.WAY_POWER_UP_TRIPPED, (("power_up: clear", "power_up: tripped"),) * 2),
    Done("bench", "board.frozen", Remedy.WAY_SERIES_ELSEWHERE, IN_BOTH_UNITS),
    Done("bench", "cell_monitor.frozen", Remedy.WAY_RULES_TWICE, MONITORS_RULES_ON_THE_BOARD),
    Done("bench", "cold_stop.omitted", Remedy.WAY_RULE_AGAIN, (
        ("  cold_stop: ", "  cold_stop_2: {watches: probe, trips: below 3 degC for 2 s, "
         "clears: above 5 degC for 60 s,\n                blocks: sources}\n  cold_stop: "),
    )),
    Done("bench", "probe.stuck", Remedy.WAY_STALE, (
        ("    valid: -35 to 90 degC\n", "    valid: -35 to 90 degC\n    stale_after: 3 s\n"),
    )),
    Done("launch", "low_tap.stuck", Remedy.WAY_SHORTER_STALE, (
        ("{lowest_cell: -10 to 10 mV},  valid: 1 to 4.5 V, stale_after: 10 s",
         "{lowest_cell: -10 to 10 mV},  valid: 1 to 4.5 V, stale_after: 3 s"),
    )),
    Done("bench", "probe.drifted", Remedy.WAY_SECOND_SENSOR, (
        ("  low_tap: ", "  probe_2: {measures: {coldest_cell: -0.5 to 2 K, hottest_cell: -4 to 0.5 K}, "
         "valid: -35 to 90 degC}\n  low_tap: "),
        ("units:", "readings:\n  coldest: {lowest_of: [probe, probe_2]}\n  hottest: {highest_of: [probe, probe_2]}\n"
         "units:"),
        ("watches: probe, trips: below", "watches: coldest, trips: below"),
        ("watches: probe, trips: above", "watches: hottest, trips: above"),
        ("cases:", "cases: {}\n#"),
    )),
    Done("shorted low", "probe.shorted", Remedy.WAY_OUTSIDE_VALID, (("valid: -35 to 90", "valid: -34 to 90"),)),
    Done("held", "high_tap.open", Remedy.WAY_TRIP_ON_INVALID, (("on_invalid: hold", "on_invalid: trip"),)),
    Done("lit", "low_tap.open", Remedy.WAY_MIDDLE_SENSOR, (
        ("  high_tap: ", "  low_tap_2: {measures: {lowest_cell: -10 to 10 mV}, valid: 1 to 4.5 V}\n"
         "  low_tap_3: {measures: {lowest_cell: -10 to 10 mV}, valid: 1 to 4.5 V}\n  high_tap: "),
        ("units:", "readings:\n  lowest: {median_of: [low_tap, low_tap_2, low_tap_3], needs: 2}\nunits:"),
        ("watches: low_tap,", "watches: lowest,"),
        ("cases:", "cases: {}\n#"),
    )),
)  # fmt: skip


@cache
def read(name: str) -> Scheme:
    return loads(without_cases(TEXTS[name]))


def without_cases(text: str) -> str:
    """Cases say what the scheme did before the change; the claims are what is judged."""
    head, section, _ = text.partition("\ncases:")
    assert section
    return head + "\n"


@cache
def points(name: str) -> dict[str, list[str]]:
    """The single points of failure of a scheme, each with the claims it violates."""
    scheme, found = read(name), defaultdict[str, list[str]](list)
    asked = ONLY.get(name, list(scheme.faults))
    for fault, claim, answer in answers(scheme, asked):
        if answer is Answer.VIOLATED:
            found[fault].append(claim)
    return dict(found)


def answers(scheme: Scheme, faults: Sequence[str], *, deeper: bool = False) -> Iterator[tuple[str, str, Answer]]:
    """What the judge says of each claim that protects while one of the faults is there; a fault that cannot touch the
    claim's proof is not among them. Claims that do not hold anyway come with the fault ""."""
    court = Court(scheme, BUDGET)
    for number, claim in enumerate(scheme.claims):
        if claim.protects:
            healthy = court.answers(Batch(number, (Ask((), None, deeper=True),))).told[0]
            if healthy.ruling.answer is not Answer.HOLDS:
                yield "", claim.name, healthy.ruling.answer
                continue
            near = set(healthy.near).intersection(*(other.near for other in healthy.others))
            asks = tuple(Ask((name,), healthy.ruling.shown, deeper=deeper) for name in faults if name in near)
            for told in court.answers(Batch(number, asks)).told:
                yield told.faults[0], claim.name, told.ruling.answer


def ways(name: str, fault: str) -> list[Phrase]:
    return ways_out(read(name), fault, points(name)[fault], points(name))


def keys(phrases: list[Phrase]) -> set[object]:
    return {key for phrase in phrases for key in keys_in(phrase)}


def taken_out(name: str, fault: str, after: Scheme) -> None:
    """The fault, a single point of the scheme of that name, violates nothing that protects in the changed scheme."""
    assert points(name)[fault]
    found = {claim: answer for _, claim, answer in answers(after, [fault], deeper=True)}
    assert Answer.VIOLATED not in found.values(), found
    undecided = [claim for claim in points(name)[fault] if found.get(claim) is Answer.UNDECIDED]
    assert undecided == UNDECIDED.get((name, fault), []), found


@pytest.mark.parametrize("example", EXAMPLES, ids=str)
def test_what_is_proposed_takes_the_fault_off_the_list_when_it_is_done(example: Done) -> None:
    assert example.says in keys(ways(example.scheme, example.fault))
    taken_out(example.scheme, example.fault, loads(without_cases(done(TEXTS[example.scheme], *example.edits))))


@pytest.mark.parametrize("name", ["hut", "launch", "bench"])
def test_a_second_output_in_series_takes_each_such_fault_off_the_list(name: str) -> None:
    in_series = [
        fault
        for fault in points(name)
        if keys([p for p in ways(name, fault) if p.key is not Remedy.COULD_TEST]) == {Remedy.COULD, Remedy.WAY_SERIES}
    ]
    parts = {fault: read(name).faults[fault].parts[0] for fault in in_series}
    assert {read(name).faults[fault].mode for fault in in_series} == {Mode.WELDED, Mode.IGNORED, Mode.WRONG_CONTACT}
    text = SchemeText(without_cases(TEXTS[name]))
    for output in dict.fromkeys(parts.values()):
        fields = {k: v for k, v in text.fields("outputs", output).items() if k not in ("terminal", "wire", "why")}
        changed = loads(text.edit().add_entries("outputs", {f"{output}_2": fields}, after=output).text)
        for fault in in_series:
            if parts[fault] == output:
                taken_out(name, fault, changed)


def test_what_a_broken_wire_read_comes_onto_the_list_as_a_short_once_it_reads_the_other() -> None:
    exchanged = done(TEXTS["hut"], ("{confirms: K1, undriven_reads: off", "{confirms: K1, undriven_reads: on"))
    found = answers(loads(without_cases(exchanged)), ["bus_closed.shorted"])
    assert ("bus_closed.shorted", "dump_spares_pack/dump_load", Answer.VIOLATED) in found


def test_a_left_out_fault_is_no_single_point() -> None:
    assert Remedy.COULD_WATCHDOG in keys(ways("bench", "board.frozen"))
    left_out = done(TEXTS["bench"], ("cases:", "faults:\n  board.frozen: {excluded: a watchdog outside it}\ncases:"))
    assert "board.frozen" not in loads(left_out).faults


# A wrong contact, seen through a second one for a moment at each change: not violated, and no proof of that either.
UNDECIDED = {("launch", "K6.wrong_contact"): ["thruster_duty/bow_thruster"]}

# What is said beside a change, or instead of one, or rules the fault out.
TOLD_WITHOUT_CHANGE = {
    Remedy.COULD, Remedy.COULD_TOGETHER, Remedy.COULD_TEST, Remedy.COULD_KEY, Remedy.COULD_KEEP_APART,
    Remedy.COULD_WATCHDOG, Remedy.COULD_BUFFER, Remedy.WAY_SERIES, Remedy.WAY_SECOND_SIGNAL, Remedy.SECOND_CONTACT,
    Remedy.THE_COMMAND, Remedy.COULD_LEAVE_OUT, Remedy.BACKED_TRIED,
}  # fmt: skip


@pytest.mark.parametrize("name", ["hut", "launch", "bench"])
def test_every_way_told_of_a_single_point_is_one_that_was_tried(name: str) -> None:
    said = {key for fault in points(name) for key in keys(ways(name, fault)) if isinstance(key, Remedy)}
    assert said <= {example.says for example in EXAMPLES} | TOLD_WITHOUT_CHANGE


@pytest.mark.parametrize("name", ["hut", "launch", "bench"])
def test_a_way_out_fits_the_part_and_the_mode(name: str) -> None:
    for fault in points(name):
        record, said = read(name).faults[fault], keys(ways(name, fault))
        if record.mode is Mode.WIRE_BROKEN:
            assert said & {Remedy.WAY_FAR_END, Remedy.WAY_PARALLEL}
            assert not said & {Remedy.WAY_SERIES, Remedy.WAY_SERIES_CONFIRMED, Remedy.WAY_SECOND_SIGNAL}
        if record.mode is Mode.WELDED:
            assert said - {Remedy.COULD} <= {Remedy.WAY_SERIES, Remedy.WAY_SERIES_CONFIRMED}
        if record.part is Part.LINE and record.mode is not Mode.SWAPPED:
            assert not said & {Remedy.WAY_SERIES, Remedy.WAY_PARALLEL, Remedy.WAY_FAR_END}
        assert said


@pytest.mark.parametrize(
    ("name", "fault", "words"),
    [
        ("bench", "K1.welded", "A second stop in series would take it out of this list."),
        (
            "hut",
            "K3.wire_broken",
            "A signal taken beyond the wire, at the device itself (a contact or a voltage relay there), which the "
            "rules and the requirement go by in the place of turbine_closed, would take it out of this list.",
        ),
        (
            "hut",
            "K4.wire_broken",
            "A second dump_load in parallel, on an output and a wire of its own, either of which is enough, would "
            "take it out of this list.",
        ),
        (
            "hut",
            "bus_closed.broken",
            "A second auxiliary contact of K1 on a wire of its own, with rules of its own like the first one's, would "
            "take it out of this list. Read as on when its wire is broken (`undriven_reads: on`), it would leave this "
            "list, and its short, the rarer fault, would come onto it.",
        ),
        (
            "hut",
            "source_bus_live.shorted",
            "A second contact like it on a wire of its own, asked as well by the rules before they act and named "
            "beside it by the requirement, would take it out of this list.",
        ),
        (
            "bench",
            "monitor_charge_ok.shorted",
            "A second permit from cell_monitor on a wire of its own, with rules of its own like the first one's, would "
            "take it out of this list.",
        ),
    ],
)
def test_the_words_of_a_way_out(name: str, fault: str, words: str) -> None:
    assert " ".join(sentence(phrase) for phrase in ways(name, fault)) == words


def test_where_nothing_is_known_to_help_it_promises_nothing() -> None:
    scheme = loads(BENCH)  # a button that only resets
    (said,) = ways_out(scheme, "reset_button.shorted", ["hot_discharge/lamp_circuit"], ())
    assert said.key is Remedy.COULD_LEAVE_OUT
    assert "would take it out" not in sentence(said)


def test_a_short_is_exchanged_for_a_break_only_where_the_short_does_no_harm() -> None:
    scheme = read("hut")
    violates = ["dump_spares_pack/dump_load"]
    said = [keys(ways_out(scheme, "bus_closed.broken", violates, on_list)) for on_list in ((), {"bus_closed.shorted"})]
    assert [Remedy.COULD_UNDRIVEN in found for found in said] == [True, False]


def test_a_watchdog_helps_only_where_a_dead_unit_does_no_harm() -> None:
    assert "board.dead" in points("launch")
    assert Remedy.COULD_WATCHDOG not in keys(ways("launch", "board.frozen"))
    assert Remedy.COULD_WATCHDOG in keys(ways("launch", "cell_monitor.frozen"))
