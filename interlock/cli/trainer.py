"""The commands for trainers: `handbook`, `slides`, `exercises`, `words`. As in `app`, nothing heavy comes with it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from interlock.cli.arguments import FileArgument, JsonOption

FaultsOption = Annotated[
    bool, typer.Option("--faults/--no-faults", help="study all single faults; a large scheme takes a minute")
]
StudyOption = Annotated[
    Path | None,
    typer.Option(
        "--study", metavar="FILE", help="take this study instead, as `inject --json` wrote it", show_default=False
    ),
]
ResumeOption = Annotated[bool, typer.Option("--resume", help="go on with a study that was interrupted")]
JobsOption = Annotated[int, typer.Option("--jobs", metavar="N", min=0, help="processes; 0: one a core")]
PortableOption = Annotated[
    bool, typer.Option("--portable", help="lay out without Graphviz, the same bytes on every machine")
]
WordsOption = Annotated[
    str, typer.Option("--words", metavar="LANGUAGE", help="`en`, or a YAML file as `interlock words` writes it")
]
SeedOption = Annotated[int, typer.Option("--seed", metavar="N", min=0, help="the same questions for the same number")]


def handbook(
    file: FileArgument,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="the .html page to write", show_default=False)],
    faults: FaultsOption = True,
    study: StudyOption = None,
    resume: ResumeOption = False,
    jobs: JobsOption = 0,
    words: WordsOption = "en",
    only_card: Annotated[
        bool, typer.Option("--card", help="only the card for the wall: what each stop means, on one A5 side")
    ] = False,
    portable: PortableOption = False,
    as_json: JsonOption = False,
) -> None:
    """Write one page that explains an installation: to read on a screen or a phone, offline, or to print.

    Sentences, drawings, verdicts, what happens when a part fails, the cases, a glossary. An interrupted study still
    gives a page, which says what is missing. Status 1 where a claim does not hold or a case fails.
    """
    from interlock.cli import handbook as command
    from interlock.cli.material import Wanted

    if only_card:
        raise typer.Exit(command.card(file, out, language=words, as_json=as_json))
    raise typer.Exit(
        command.handbook(file, out, Wanted(faults, study, resume, jobs, portable), language=words, as_json=as_json)
    )


def slides(
    file: FileArgument,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="the .odp deck to write", show_default=False)],
    faults: FaultsOption = True,
    study: StudyOption = None,
    resume: ResumeOption = False,
    jobs: JobsOption = 0,
    seed: SeedOption = 1,
    words: WordsOption = "en",
    portable: PortableOption = False,
    as_json: JsonOption = False,
) -> None:
    """Write the handbook's drawings and sentences as slides to edit: an OpenDocument presentation.

    Texts are text boxes and drawings are shapes; reasons and details stand in the notes; questions come each with a
    slide for the answer. Status 1 where a claim does not hold or a case fails.
    """
    from interlock.cli import slides as command
    from interlock.cli.material import Wanted

    wanted = Wanted(faults, study, resume, jobs, portable)
    raise typer.Exit(command.slides(file, out, wanted, seed=seed, language=words, as_json=as_json))


def exercises(
    file: FileArgument,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="the .html page to write", show_default=False)
    ] = None,
    seed: SeedOption = 1,
    predict: Annotated[int, typer.Option("--predict", metavar="N", min=0, help="questions: what will happen?")] = 6,
    faults: Annotated[int, typer.Option("--faults", metavar="N", min=0, help="questions: which fault is this?")] = 4,
    settings: Annotated[int, typer.Option("--settings", metavar="N", min=0, help="questions: what stops it?")] = 3,
    words: WordsOption = "en",
    as_json: JsonOption = False,
) -> None:
    """Write questions about a scheme to print, with a sheet of answers: what will happen, which fault, what stops it.

    Every answer is worked out from the scheme. The handbook's page has a set of the same kind, with answers to open.
    """
    from interlock.cli.exercises import exercises as write_exercises

    counts = {"predict": predict, "which_fault": faults, "find_setting": settings}
    raise typer.Exit(write_exercises(file, out, seed, counts, language=words, as_json=as_json))


def words(
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="the .yaml file to write", show_default=False)],
    language: Annotated[
        str, typer.Option("--words", metavar="LANGUAGE", help="to begin with: `en`, or a YAML file like it")
    ] = "en",
    as_json: JsonOption = False,
) -> None:
    """Write all words of handbook, drawings, card, deck and questions to one file, to be translated for `--words`.

    Not among them: what is the scheme's own, symbols of units, and what `check` says of a scheme.
    """
    from interlock.cli.catalogue import write_catalogue

    raise typer.Exit(write_catalogue(out, language, as_json=as_json))


def register(app: typer.Typer) -> None:
    """Add them to the command line."""
    for command in (handbook, slides, exercises, words):
        app.command()(command)
