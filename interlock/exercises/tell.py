"""Questions and answers in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interlock.bench.words import Words
from interlock.exercises.records import Act, Kind, Question, Span
from interlock.exercises.scene import Scene
from interlock.explain.injection import happened
from interlock.explain.phrases import text
from interlock.explain.template import Template
from interlock.explain.words import ENGLISH
from interlock.scheme.units import time_text, value_text


class Tell:
    """The words of one scheme's questions. `words`: a catalogue's texts by name; `phrases`: its sentences of
    `explain`."""

    def __init__(self, scene: Scene, words: Words, phrases: Mapping[Template, str] = ENGLISH) -> None:
        self.scene, self.scheme, self.words, self.phrases = scene, scene.scheme, words, phrases

    def say(self, key: str, /, **fields: object) -> str:
        """One text, its fields filled."""
        return self.words[key].format(**fields)

    def listing(self, items: Sequence[str]) -> str:
        """`a, b and c`."""
        if len(items) < 2:
            return "".join(items)
        return f"{', '.join(items[:-1])} {self.words['and']} {items[-1]}"

    def time(self, scans: int) -> str:
        """A number of scans as a time."""
        return time_text(scans * self.scheme.scan_us)

    def at_rest(self) -> list[str]:
        """What the installation reads where every question begins."""
        world = self.scene.world
        found = [self.reads((name,), value) for name, value in world.readings.items()]
        return found + [
            self.say("line_is", line=n, state=self.words["on" if on else "off"]) for n, on in world.lines.items()
        ]

    def reads(self, sensors: Sequence[str], value: int) -> str:
        """`floor_probe reads 15 degC`."""
        kind = self.scheme.sensors[sensors[0]].kind
        key = "reads" if len(sensors) == 1 else "read"
        return self.say(key, sensors=self.listing(sensors), value=value_text(value, kind))

    def acts(self, question: Question) -> list[str]:
        """Each act with its wait, as a sentence."""
        return [self.say("act", done=self._done(act), time=self.time(act.scans)) for act in question.acts]

    def _done(self, act: Act) -> str:
        found = []
        by_value: dict[int, list[str]] = {}
        for name, value in act.readings:
            by_value.setdefault(value, []).append(name)
        found += [self.reads(names, value) for value, names in by_value.items()]
        found += [self.say("turned", line=n, state=self.words["on" if on else "off"]) for n, on in act.lines]
        if act.press:
            found.append(self.say("pressed", line=act.press))
        return self.listing(found)

    def asks(self, question: Question) -> str:
        """The question itself."""
        match question.kind:
            case Kind.PREDICT:
                return self.say("ask_predict")
            case Kind.WHICH_FAULT:
                return self.say("ask_fault")
            case Kind.FIND_SETTING:
                key = "ask_setting" if len(question.sensors) == 1 else "ask_setting_many"
                return self.say(key, path=question.asked[0], sensors=self.listing(question.sensors))

    def offered(self, question: Question) -> list[str]:
        """What is to be judged: paths, or faults in words."""
        if question.kind is Kind.WHICH_FAULT:
            return [text(happened(self.scheme, self.scheme.faults[name]), self.phrases) for name in question.asked]
        return list(question.asked)

    def answers(self, question: Question) -> list[str]:
        """The answer, a line for each path; one line for a fault or a setting."""
        match question.kind:
            case Kind.PREDICT:
                return [
                    self.say("is_running" if runs else "is_stopped", path=path)
                    for path, runs in zip(question.asked, question.answer, strict=True)
                ]
            case Kind.WHICH_FAULT:
                names = zip(self.offered(question), question.asked, question.answer, strict=True)
                return [self.say("it_is", fault=words, name=name) for words, name, right in names if right]
            case Kind.FIND_SETTING:
                spans = f" {self.words['or_span']} ".join(self.span(question, span) for span in question.spans)
                return [self.say("any_of", spans=spans, time=self.time(question.within), path=question.asked[0])]

    def span(self, question: Question, span: Span) -> str:
        """`above 30 degC`, `below 3 degC`, `from 10 to 20 %`."""
        kind, valid = self.scheme.sensors[question.sensors[0]].kind, question.valid
        assert valid is not None, "a setting is looked for among valid readings"
        low, high = value_text(span.low, kind), value_text(span.high, kind)
        if span.low == span.high:
            return self.say("exactly", value=low)
        if span.low <= valid.low:
            return self.say("at_most" if span.high_closed else "below", value=high)
        if span.high >= valid.high:
            return self.say("at_least" if span.low_closed else "above", value=low)
        return self.say("between", low=low, high=high)

    def seen(self, question: Question) -> Iterator[tuple[str, list[str]]]:
        """After each act, what is seen otherwise than a sound installation would show it."""
        for number, (seen, sound) in enumerate(zip(question.seen, question.sound, strict=True), 1):
            lines = []
            for path, runs in seen.running.items():
                would = sound.running[path]
                if runs is not None and would is not None and runs is not would:
                    lines.append(self.say("instead_runs" if runs else "instead_stopped", path=path))
            yield self.say("after", number=number), lines or [self.say("as_sound")]

    def reasons(self, question: Question) -> list[str]:
        """Why, sentence by sentence; of each fault offered that is not there, what would have been seen."""
        return [
            *question.reasons,
            *(
                self.say("would_run" if one.runs else "would_stop", fault=one.fault, act=one.act, path=one.path)
                for one in question.otherwise
            ),
        ]
