"""The commands for trainers: `handbook`, `exercises`. As in `app`, nothing heavy is imported here."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from interlock.cli.arguments import FileArgument, JsonOption


def handbook(
    file: FileArgument,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="the .html page to write", show_default=False)],
    faults: Annotated[
        bool, typer.Option("--faults/--no-faults", help="study all single faults; a large scheme takes a minute")
    ] = True,
    study: Annotated[
        Path | None,
        typer.Option(
            "--study", metavar="FILE", help="take this study instead, as `inject --json` wrote it", show_default=False
        ),
    ] = None,
    resume: Annotated[bool, typer.Option("--resume", help="go on with a study that was interrupted")] = False,
    jobs: Annotated[int, typer.Option("--jobs", metavar="N", min=0, help="processes; 0: one a core")] = 0,
    words: Annotated[
        str, typer.Option("--words", metavar="LANGUAGE", help="the page's own words: `en`, or a YAML file like en.yaml")
    ] = "en",
    only_card: Annotated[
        bool, typer.Option("--card", help="only the card for the wall: what each stop means, on one A5 side")
    ] = False,
    portable: Annotated[
        bool, typer.Option("--portable", help="lay out without Graphviz, the same bytes on every machine")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Write one page that explains an installation: to read on a screen or a phone, offline, or to print.

    Sentences, drawings, verdicts, what happens when a part fails, the cases, a glossary. An interrupted study still
    gives a page, which says what is missing. Status 1 where a claim does not hold or a case fails.
    """
    from interlock.cli import handbook as command

    if only_card:
        raise typer.Exit(command.card(file, out, language=words, as_json=as_json))
    raise typer.Exit(
        command.handbook(
            file,
            out,
            faults=faults,
            study_file=study,
            resume=resume,
            jobs=jobs,
            language=words,
            portable=portable,
            as_json=as_json,
        )
    )


def exercises(
    file: FileArgument,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="the .html page to write", show_default=False)
    ] = None,
    seed: Annotated[int, typer.Option("--seed", metavar="N", min=0, help="the same questions for the same number")] = 1,
    predict: Annotated[int, typer.Option("--predict", metavar="N", min=0, help="questions: what will happen?")] = 6,
    faults: Annotated[int, typer.Option("--faults", metavar="N", min=0, help="questions: which fault is this?")] = 4,
    settings: Annotated[int, typer.Option("--settings", metavar="N", min=0, help="questions: what stops it?")] = 3,
    words: Annotated[
        str, typer.Option("--words", metavar="LANGUAGE", help="the page's own words: `en`, or a YAML file like en.yaml")
    ] = "en",
    as_json: JsonOption = False,
) -> None:
    """Write questions about a scheme to print, with a sheet of answers: what will happen, which fault, what stops it.

    Every answer is worked out from the scheme. The handbook's page has a set of the same kind, with answers to open.
    """
    from interlock.cli.exercises import exercises as write_exercises

    counts = {"predict": predict, "which_fault": faults, "find_setting": settings}
    raise typer.Exit(write_exercises(file, out, seed, counts, language=words, as_json=as_json))


def register(app: typer.Typer) -> None:
    """Add them to the command line."""
    for command in (handbook, exercises):
        app.command()(command)
