"""`interlock new`: a first scheme, from a few questions or from options."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Mapping
from pathlib import Path

from interlock.cli.render import print_json
from interlock.cli.status import Exit
from interlock.cli.written import write_all
from interlock.start.answers import Answers, AnswersError
from interlock.start.questions import AnswerError, Question, answers_from, questions
from interlock.start.write import scheme_text


def new(file: Path, given: Mapping[str, str], *, ask: bool, force: bool, as_json: bool) -> int:
    """Ask what was not given (on a terminal), write the scheme, and check it."""
    if file.exists() and not force:
        return _refuse(f"{file} exists already", "choose another name, or --force to write over it", as_json)
    if not file.parent.is_dir():
        return _refuse(f"{file.parent} is no folder", "make it first, or choose another", as_json)
    options = dict(given)
    if ask:
        options = _asked(options)
    try:
        answers = answers_from(options)
    except AnswersError as error:
        if as_json:
            problems = [{"question": p.question, "message": p.message, "help": p.help} for p in error.problems]
            print_json({"file": str(file), "written": False, "problems": problems})
        else:
            for p in error.problems:
                sys.stderr.write(
                    f"--{p.question.replace('_', '-')}: {p.message}\n" + (f"  {p.help}\n" if p.help else "")
                )
        return Exit.BAD_INPUT
    try:
        write_all(file.parent, {file.name: scheme_text(answers)})
    except OSError as error:
        return _refuse(
            f"{file} cannot be written: {error.strerror or error}", "check the folder's permissions", as_json
        )
    return _show(file, answers, as_json)


def _refuse(message: str, hint: str, as_json: bool) -> int:
    if as_json:
        print_json({"file": "", "written": False, "problems": [{"question": "file", "message": message, "help": hint}]})
    else:
        sys.stderr.write(f"{message}\n  {hint}\n")
    return Exit.BAD_INPUT


def _asked(options: dict[str, str]) -> dict[str, str]:
    """Ask each question that no option answered, again until the answer can be read."""
    sys.stderr.write("A few questions; Enter takes the answer in brackets, Ctrl-C ends without writing anything.\n\n")
    read: dict[str, object] = {}
    for question in questions():
        if not question.only_with(read):
            continue
        if question.key in options:
            with contextlib.suppress(AnswerError):  # told with all the others at the end
                read[question.key] = question.parse(options[question.key])
            continue
        options[question.key], read[question.key] = _ask(question)
    return options


def _ask(question: Question) -> tuple[str, object]:
    import textwrap

    sys.stderr.write(f"{question.text}\n")
    if question.help:
        sys.stderr.write(textwrap.fill(question.help, 88, initial_indent="  ", subsequent_indent="  ") + "\n")
    while True:
        sys.stderr.write(f"  [{question.default}] ")
        sys.stderr.flush()
        line = sys.stdin.readline()
        if not line:
            raise KeyboardInterrupt
        answer = line.strip() or question.default
        try:
            value = question.parse(answer)
        except AnswerError as error:
            sys.stderr.write(f"  {error.message}" + (f": {error.help}" if error.help else "") + "\n")
            continue
        sys.stderr.write("\n")
        return answer, value


def _show(file: Path, answers: Answers, as_json: bool) -> int:
    from interlock.check.run import check
    from interlock.scheme.read import load

    scheme = load(file)
    found = check(scheme)
    if as_json:
        counts = {"rules": len(scheme.rules), "paths": len(scheme.paths), "requirements": len(scheme.claims)}
        print_json({"file": str(file), "written": True, "title": answers.title, **counts, "findings": len(found)})
    else:
        sys.stdout.write(
            f"{file}: {len(scheme.rules)} rules on {len(scheme.paths)} paths, {len(scheme.claims)} claims, "
            f"{len(scheme.cases)} cases; check has {len(found) or 'no'} findings\n"
            "Read it from top to bottom and change what your installation does otherwise: every figure is a usual\n"
            "one, not yours. Then:\n"
            f"  interlock explain {file}\n  interlock cases {file}\n  interlock prove {file}\n"
        )
    return Exit.FINDING if found else Exit.GOOD
