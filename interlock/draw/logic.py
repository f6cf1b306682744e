"""The logic of one path: from the readings and lines that decide it, through rules and outputs, to the device."""

from __future__ import annotations

from interlock.draw.graph import Arrow, Box, Graph, draw_graph
from interlock.draw.page import Drawing
from interlock.draw.said import Text, all_of, any_of, listed, said
from interlock.draw.style import A4_LONG, Stroke
from interlock.draw.words import NEEDS, asked_text, side_text, signal_text, trigger_text
from interlock.records import replace
from interlock.scheme.model import AnyOf, Rule, Scheme
from interlock.scheme.units import time_text
from interlock.scheme.words import Combine, Contact, LineForm, Signal

SAYS = Text(
    "From what is read, through the rules (shaded) and the outputs, to the device. An active rule stops what its arrow "
    "leads to unless another word stands there; dotted: only a condition."
)

_CONTACTS = {
    Contact.NORMALLY_OPEN: Text("normally open"),
    Contact.NORMALLY_CLOSED: Text("normally closed"),
    Contact.DRIVEN: Text("driven"),
}
assert set(_CONTACTS) == set(Contact), set(Contact) - set(_CONTACTS)

_COMBINED = {
    Combine.LOWEST_OF: Text("lowest of"),
    Combine.HIGHEST_OF: Text("highest of"),
    Combine.MEDIAN_OF: Text("median of"),
    Combine.DIFFERENCE_OF: Text("difference of"),
    Combine.AVERAGE_OF: Text("average of"),
}
assert set(_COMBINED) == set(Combine), set(Combine) - set(_COMBINED)


def draw_logic(scheme: Scheme, path: str, *, portable: bool = False) -> Drawing:
    """Everything that can stop or start one path, cause to effect; drawn closer together where that fits it on A4."""
    for gap, widest in ((24, 140), (14, 96)):
        builder = _Builder(scheme, gap, widest)
        builder.path(path)
        title = said("Logic of {path}", path=path)
        svg = draw_graph(scheme, title, _in_words(scheme, path), builder.graph, says=SAYS(), portable=portable)
        if svg.width <= A4_LONG:
            break
    return Drawing(f"logic_{path}", title, svg)


class _Builder:
    def __init__(self, scheme: Scheme, gap: float, widest: float) -> None:
        self.scheme, self.widest = scheme, widest
        self.graph = Graph(rank_gap=gap, node_gap=8)
        self.known: set[str] = set()

    def box(self, box: Box) -> bool:
        """Add a box once; True where it is new."""
        if box.ident in self.known:
            return False
        self.known.add(box.ident)
        self.graph.boxes.append(replace(box, widest=self.widest))
        return True

    def arrow(self, tail: str, head: str, says: str, words: str = "", stroke: Stroke = Stroke.PLAIN) -> None:
        arrow = Arrow(tail, head, says, words, stroke=stroke)
        if arrow not in self.graph.arrows:
            self.graph.arrows.append(arrow)

    def path(self, name: str) -> None:
        scheme, path = self.scheme, self.scheme.paths[name]
        lines = [said("not switched: {reason}", reason=path.unswitched)] if path.unswitched else []
        self.box(Box(f"p:{name}", name, tuple(lines), path.why or name, stroke=Stroke.HEAVY, rounded=True))
        for output_name in path.outputs:
            output = scheme.outputs[output_name]
            of_unit = said("of {unit}", unit=output.unit)
            told = (of_unit, _CONTACTS[output.contact](), NEEDS[output.runs_when]())
            self.box(Box(f"o:{output_name}", output_name, told, output.why or output_name))
            switches = said("{output} switches {path}", output=output_name, path=name)
            self.arrow(f"o:{output_name}", f"p:{name}", switches)
            for rule in scheme.rules.values():
                if rule.unit == output.unit:
                    self._acting(rule, output_name)
        if path.behind:
            rules = said("see its own drawing")
            self.box(Box(f"p:{path.behind}", path.behind, (rules,), link=f"logic_{path.behind}.svg", rounded=True))
            behind = said("{path} runs only while {other} runs", path=name, other=path.behind)
            self.arrow(f"p:{path.behind}", f"p:{name}", behind, said("only while it runs"))

    def _acting(self, rule: Rule, output: str) -> None:
        drives = self.scheme.outputs[output].drives
        stopped: dict[str, list[str]] = {}  # by the words of their modes: an arrow each
        for target in rule.blocks:
            if target.path in drives:
                stopped.setdefault(_modes(target.when) if target.when else "", []).append(target.path)
        for modes, paths in stopped.items():
            self.rule(rule)
            says = said("{rule} stops {paths} through {output}", rule=rule.name, paths=all_of(paths), output=output)
            if modes:
                says = said("{sentence} while {modes}", sentence=says, modes=modes)
            words = said("stops while {modes}", modes=modes) if modes else ""
            self.arrow(f"r:{rule.name}", f"o:{output}", says, words)
        started = [path for path in rule.starts if path in drives]
        if started:
            self.rule(rule)
            says = said("{rule} starts {paths} through {output}", rule=rule.name, paths=all_of(started), output=output)
            self.arrow(f"r:{rule.name}", f"o:{output}", says, said("starts"), Stroke.ACCENT)

    def rule(self, rule: Rule) -> None:
        """A rule, what it watches, and what its effects wait for."""
        told = [
            said("trips: {asked}", asked=trigger_text(self.scheme, rule, rule.trips)),
            said("clears: {asked}", asked=trigger_text(self.scheme, rule, rule.clears)),
        ]
        if rule.manual:
            told.append(said("reset by {line}", line=rule.reset_by) if rule.reset_by else said("nobody can reset it"))
        link = f"machine_{rule.name}.svg"
        if not self.box(Box(f"r:{rule.name}", rule.name, tuple(told), rule.why or rule.name, link, shaded=True)):
            return
        watches = said("{rule} watches {signal}", rule=rule.name, signal=rule.watched)
        self.signal(rule.watches, rule.watched, f"r:{rule.name}", watches)
        for condition in rule.only_while:
            asked = asked_text(self.scheme, condition.signal, condition.name, condition.test)
            words = said("only while {asked}", asked=asked)
            says = said(
                "{rule} acts only while {signal} is {asked}", rule=rule.name, signal=condition.name, asked=asked
            )
            self.signal(condition.signal, condition.name, f"r:{rule.name}", says, words, Stroke.DOTTED)
        if rule.overridden_by:
            most = rule.override_at_most
            words = said("overrides, {time} at most", time=time_text(most.us)) if most else said("overrides")
            says = said("{line} overrides {rule}", line=rule.overridden_by, rule=rule.name)
            if most:
                says = said("{sentence}, for {time} at most", sentence=says, time=time_text(most.us))
            self.signal(Signal.LINE, rule.overridden_by, f"r:{rule.name}", says, words, Stroke.DOTTED)

    def signal(
        self, signal: Signal, name: str, head: str, says: str, words: str = "", stroke: Stroke = Stroke.PLAIN
    ) -> None:
        """What a rule looks at, and what that comes from."""
        scheme = self.scheme
        match signal:
            case Signal.SENSOR:
                sensor = scheme.sensors[name]
                measures = said("measures {quantities}", quantities=listed(e.quantity for e in sensor.measures))
                self.box(Box(f"s:{name}", name, (measures,), sensor.why or name))
                self.arrow(f"s:{name}", head, says, words, stroke)
            case Signal.READING:
                reading = scheme.readings[name]
                if self.box(Box(f"s:{name}", name, (_COMBINED[reading.combine](),), reading.why or name)):
                    for sensor_name in reading.sensors:
                        part = said("{sensor} goes into {reading}", sensor=sensor_name, reading=name)
                        self.signal(Signal.SENSOR, sensor_name, f"s:{name}", part)
                self.arrow(f"s:{name}", head, says, words, stroke)
            case Signal.LINE:
                self._line(name)
                self.arrow(f"l:{name}", head, says, words, stroke)
            case Signal.RULE:
                self.rule(scheme.rules[name])
                self.arrow(f"r:{name}", head, says, words, stroke)
            case Signal.PATH:
                self.box(Box(f"c:{name}", name, (said("as commanded at the scan before"),), rounded=True))
                self.arrow(f"c:{name}", head, says, words, stroke)
            case Signal.QUANTITY:
                raise AssertionError("no unit sees the truth")

    def _line(self, name: str) -> None:
        line = self.scheme.lines[name]
        if line.form is LineForm.EXTERNAL:
            note = said("from outside")
        elif line.form is LineForm.CONFIRMS:
            note = said("auxiliary contact of {output}", output=line.output)
        else:
            note = said("sent by {unit}", unit=line.unit)
        broken = said("broken: {state}", state=side_text(Signal.LINE, first=line.undriven_reads))
        if self.box(Box(f"l:{name}", name, (note, broken), line.why or name, rounded=True)):
            for rule in line.rules:
                self.rule(self.scheme.rules[rule])
                word = side_text(Signal.LINE, first=line.form is not LineForm.LOW_WHEN)
                says = said("{line} is {state} while {rule} is active", line=name, state=word, rule=rule)
                self.arrow(f"r:{rule}", f"l:{name}", says, word)


def _modes(when: AnyOf) -> str:
    return any_of(
        all_of(signal_text(c.name, side_text(Signal.LINE, first=c.test is True)) for c in part) for part in when
    )


def _in_words(scheme: Scheme, path: str) -> str:
    told = []
    for rule in scheme.rules.values():
        asked = trigger_text(scheme, rule, rule.trips)
        if any(t.path == path for t in rule.blocks):
            told.append(
                said("{rule} stops it once {signal} is {asked}.", rule=rule.name, signal=rule.watched, asked=asked)
            )
        if path in rule.starts:
            told.append(
                said("{rule} starts it once {signal} is {asked}.", rule=rule.name, signal=rule.watched, asked=asked)
            )
    return " ".join(told) or said("No rule stops or starts it.")
