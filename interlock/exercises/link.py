"""A question's acts as a link to the bench, where they have been done and their outcome is seen."""

from __future__ import annotations

from interlock.bench.tables import mark, program_table
from interlock.exercises.records import Kind, Question
from interlock.exercises.scene import Scene

LONGEST = 36_000  # scans that the bench takes over from a link


class Links:
    """Links of one scheme's questions, as fragments of an address. Raises TooWideError as the bench does."""

    def __init__(self, scene: Scene) -> None:
        self._scene = scene
        self._mark = mark(program_table(scene.program))

    def to(self, question: Question) -> str:
        """The fragment; "" where it would take the bench too long."""
        told: list[str] = []
        now = 0
        if question.kind is Kind.WHICH_FAULT:
            fault = next(name for name, there in zip(question.asked, question.answer, strict=True) if there)
            told.append(f"0,f,{fault},0")
        for act in question.acts:
            told += [f"{now},r,{name},{value}" for name, value in act.readings]
            told += [f"{now},l,{name},{int(on)}" for name, on in act.lines]
            told += [f"{now},p,{act.press},1"] if act.press else []
            now += act.scans
        if question.kind is Kind.FIND_SETTING:
            span = question.spans[0]
            told += [f"{now},r,{name},{(span.low + span.high) // 2}" for name in question.sensors]
            now += question.within
        opened = next(iter(question.asked)) if question.kind is not Kind.WHICH_FAULT else ""
        return f"bench={self._mark},rest,{now},{opened};" + ";".join(told) if now <= LONGEST else ""
