"""The logic of one path: from the readings and lines that decide it, through rules and outputs, to the device."""

from __future__ import annotations

from interlock.draw.graph import Arrow, Box, Graph, draw_graph
from interlock.draw.page import Drawing
from interlock.draw.style import A4_LONG, Stroke
from interlock.draw.words import asked_text, trigger_text
from interlock.records import replace
from interlock.scheme.model import AnyOf, Rule, Scheme
from interlock.scheme.units import time_text
from interlock.scheme.words import TWO_WORDS, LineForm, Signal

SAYS = (
    "From what is read, through the rules (shaded) and the outputs, to the device. An active rule stops what its arrow "
    "leads to unless another word stands there; dotted: only a condition."
)


def draw_logic(scheme: Scheme, path: str, *, portable: bool = False) -> Drawing:
    """Everything that can stop or start one path, cause to effect; drawn closer together where that fits it on A4."""
    for gap, widest in ((24, 140), (14, 96)):
        builder = _Builder(scheme, gap, widest)
        builder.path(path)
        title = f"Logic of {path}"
        svg = draw_graph(scheme, title, _in_words(scheme, path), builder.graph, says=SAYS, portable=portable)
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

    def arrow(self, tail: str, head: str, words: str = "", stroke: Stroke = Stroke.PLAIN) -> None:
        arrow = Arrow(tail, head, words, stroke=stroke)
        if arrow not in self.graph.arrows:
            self.graph.arrows.append(arrow)

    def path(self, name: str) -> None:
        scheme, path = self.scheme, self.scheme.paths[name]
        lines = [f"not switched: {path.unswitched}"] if path.unswitched else []
        self.box(Box(f"p:{name}", name, tuple(lines), path.why or name, stroke=Stroke.HEAVY, rounded=True))
        for output_name in path.outputs:
            output = scheme.outputs[output_name]
            contact, needs = str(output.contact).replace("_", " "), f"runs when {output.runs_when}"
            said = (f"of {output.unit}", contact, needs)
            self.box(Box(f"o:{output_name}", output_name, said, output.why or output_name))
            self.arrow(f"o:{output_name}", f"p:{name}")
            for rule in scheme.rules.values():
                if rule.unit == output.unit:
                    self._acting(rule, output_name)
        if path.behind:
            rules = "see its own drawing"
            self.box(Box(f"p:{path.behind}", path.behind, (rules,), link=f"logic_{path.behind}.svg", rounded=True))
            self.arrow(f"p:{path.behind}", f"p:{name}", "only while it runs")

    def _acting(self, rule: Rule, output: str) -> None:
        drives = self.scheme.outputs[output].drives
        for target in rule.blocks:
            if target.path in drives:
                self.rule(rule)
                words = f"stops{_modes(target.when)}" if target.when else ""
                self.arrow(f"r:{rule.name}", f"o:{output}", words)
        if any(path in drives for path in rule.starts):
            self.rule(rule)
            self.arrow(f"r:{rule.name}", f"o:{output}", "starts", Stroke.ACCENT)

    def rule(self, rule: Rule) -> None:
        """A rule, what it watches, and what its effects wait for."""
        trips = f"trips: {trigger_text(self.scheme, rule, rule.trips)}"
        clears = f"clears: {trigger_text(self.scheme, rule, rule.clears)}"
        reset = (f"reset by {rule.reset_by}" if rule.reset_by else "nobody can reset it",) if rule.manual else ()
        link = f"machine_{rule.name}.svg"
        said = (trips, clears, *reset)
        if not self.box(Box(f"r:{rule.name}", rule.name, said, rule.why or rule.name, link, shaded=True)):
            return
        self.signal(rule.watches, rule.watched, f"r:{rule.name}")
        for condition in rule.only_while:
            asked = asked_text(self.scheme, condition.signal, condition.name, condition.test)
            self.signal(condition.signal, condition.name, f"r:{rule.name}", f"only while {asked}", Stroke.DOTTED)
        if rule.overridden_by:
            most = f", {time_text(rule.override_at_most.us)} at most" if rule.override_at_most else ""
            self.signal(Signal.LINE, rule.overridden_by, f"r:{rule.name}", f"overrides{most}", Stroke.DOTTED)

    def signal(self, signal: Signal, name: str, head: str, words: str = "", stroke: Stroke = Stroke.PLAIN) -> None:
        """What a rule looks at, and what that comes from."""
        scheme = self.scheme
        match signal:
            case Signal.SENSOR:
                sensor = scheme.sensors[name]
                measured = ", ".join(e.quantity for e in sensor.measures)
                self.box(Box(f"s:{name}", name, (f"measures {measured}",), sensor.why or name))
                self.arrow(f"s:{name}", head, words, stroke)
            case Signal.READING:
                reading = scheme.readings[name]
                if self.box(Box(f"s:{name}", name, (str(reading.combine).replace("_", " "),), reading.why or name)):
                    for sensor_name in reading.sensors:
                        self.signal(Signal.SENSOR, sensor_name, f"s:{name}")
                self.arrow(f"s:{name}", head, words, stroke)
            case Signal.LINE:
                self._line(name)
                self.arrow(f"l:{name}", head, words, stroke)
            case Signal.RULE:
                self.rule(scheme.rules[name])
                self.arrow(f"r:{name}", head, words, stroke)
            case Signal.PATH:
                self.box(Box(f"c:{name}", name, ("as commanded at the scan before",), rounded=True))
                self.arrow(f"c:{name}", head, words, stroke)
            case Signal.QUANTITY:
                raise AssertionError("no unit sees the truth")

    def _line(self, name: str) -> None:
        line = self.scheme.lines[name]
        if line.form is LineForm.EXTERNAL:
            note = "from outside"
        elif line.form is LineForm.CONFIRMS:
            note = f"auxiliary contact of {line.output}"
        else:
            note = f"sent by {line.unit}"
        broken = f"broken: {TWO_WORDS[Signal.LINE][not line.undriven_reads]}"
        if self.box(Box(f"l:{name}", name, (note, broken), line.why or name, rounded=True)):
            for rule in line.rules:
                self.rule(self.scheme.rules[rule])
                word = "off" if line.form is LineForm.LOW_WHEN else "on"
                self.arrow(f"r:{rule}", f"l:{name}", word)


def _modes(when: AnyOf) -> str:
    alternatives = [" and ".join(f"{c.name} {'on' if c.test else 'off'}" for c in part) for part in when]
    return " while " + " or ".join(alternatives)


def _in_words(scheme: Scheme, path: str) -> str:
    said = []
    for rule in scheme.rules.values():
        verbs = ["stops"] if any(t.path == path for t in rule.blocks) else []
        verbs += ["starts"] if path in rule.starts else []
        for verb in verbs:
            said.append(f"{rule.name} {verb} it once {rule.watched} is {trigger_text(scheme, rule, rule.trips)}.")
    return " ".join(said) or "No rule stops or starts it."
