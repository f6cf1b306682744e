"""Questions as markup: on the page with answers to be opened, on paper with a sheet of answers of its own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape

from interlock.exercises.link import Links
from interlock.exercises.records import Kind, Question
from interlock.exercises.tell import Tell


def on_page(tell: Tell, sets: Mapping[int, Sequence[Question]]) -> str:
    """Sets of questions by their seeds, of which one at a time is open, each answer in a fold, with links to the bench
    of the same page."""
    if not any(sets.values()):
        return f"<p>{_say(tell, 'none')}</p>\n"
    links = Links(tell.scene)
    folds = "".join(
        f'<details class="set" name="exercise-sets"{"" if number else " open"}>'
        f"<summary>{_say(tell, 'set', seed=seed, count=len(asked))}</summary>\n{_set(tell, links, seed, asked)}"
        "</details>\n"
        for number, (seed, asked) in enumerate(sets.items())
    )
    return f"<p>{_say(tell, 'intro')}</p>\n{_at_rest(tell)}{folds}"


def _set(tell: Tell, links: Links, seed: int, asked: Sequence[Question]) -> str:
    items = "".join(
        f'<li class="exercise">{_question(tell, question, f"{seed}-{number}", boxes=True)}'
        f"<details><summary>{_say(tell, 'answer')}</summary>{_answer(tell, question)}{_link(tell, links.to(question))}"
        "</details></li>\n"
        for number, question in enumerate(asked, 1)
    )
    return f'<ol class="exercises">\n{items}</ol>\n'


def on_paper(tell: Tell, asked: Sequence[Question]) -> tuple[str, str]:
    """The questions with boxes to tick, and the answers."""
    questions = "".join(
        f'<li class="exercise">{_question(tell, question, str(number), boxes=False)}</li>\n'
        for number, question in enumerate(asked, 1)
    )
    answers = "".join(f'<li class="exercise">{_answer(tell, question)}</li>\n' for question in asked)
    first = f"<p>{_say(tell, 'intro_paper')}</p>\n{_at_rest(tell)}"
    return f'{first}<ol class="exercises">\n{questions}</ol>\n', f'<ol class="exercises">\n{answers}</ol>\n'


def _say(tell: Tell, key: str, /, **fields: object) -> str:
    return escape(tell.say(key, **fields))


def _list(lines: Iterable[str], kind: str = "ul") -> str:
    return f"<{kind}>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</{kind}>\n"


def _at_rest(tell: Tell) -> str:
    return f"<p>{_say(tell, 'at_rest')}</p>\n{_list(tell.at_rest())}"


def _question(tell: Tell, question: Question, number: str, *, boxes: bool) -> str:
    acts = tell.acts(question)
    done = _list(acts, "ol") if acts else f"<p>{_say(tell, 'nothing_done')}</p>\n"
    planted = f"<p>{_say(tell, 'fault_planted')}</p>\n" if question.kind is Kind.WHICH_FAULT else ""
    seen = ""
    if question.kind is Kind.WHICH_FAULT:
        rows = "".join(f"<li>{escape(after)}{_list(lines)}</li>" for after, lines in tell.seen(question))
        seen = f"<p>{_say(tell, 'seen')}</p><ul>{rows}</ul>\n"
    asks = f"<p><b>{escape(tell.asks(question))}</b></p>\n"
    return f"{planted}{done}{seen}{asks}{_choices(tell, question, number, boxes=boxes)}"


def _choices(tell: Tell, question: Question, number: str, *, boxes: bool) -> str:
    if question.kind is Kind.FIND_SETTING:
        return "" if boxes else f'<p class="line">{_say(tell, "write")}</p>\n'
    rows = []
    for at, name in enumerate(tell.offered(question)):
        if question.kind is Kind.WHICH_FAULT:
            mark = f'<input type="radio" name="exercise-{number}">' if boxes else BOX
            rows.append(f"<li><label>{mark} {escape(name)}</label></li>")
            continue
        marks = "".join(
            f'<label><input type="radio" name="exercise-{number}-{at}"> {_say(tell, state)}</label> '
            if boxes
            else f"{BOX} {_say(tell, state)} "
            for state in ("running", "stopped")
        )
        group = f' role="radiogroup" aria-label="{escape(name)}"' if boxes else ""
        rows.append(f"<li><div{group}><b>{escape(name)}</b> {marks}</div></li>")
    return f'<ul class="choices">{"".join(rows)}</ul>\n'


BOX = '<span class="tick">\N{BALLOT BOX}</span>'


def _answer(tell: Tell, question: Question) -> str:
    told = "".join(f"<p><b>{escape(line)}</b></p>" for line in tell.answers(question))
    reasons = tell.reasons(question)
    return told + (_list(reasons) if reasons else "")


def _link(tell: Tell, fragment: str) -> str:
    return f'<p><a href="#{escape(fragment)}">{_say(tell, "on_bench")}</a></p>' if fragment else ""
