"""`interlock record …` on the command line. What each needs is imported when it runs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from interlock.cli.sections import Listed

app = typer.Typer(
    cls=Listed,
    rich_markup_mode=None,
    no_args_is_help=True,
    help="A record of one installation, which a stranger can check in ten years with standard tools.",
    epilog="Exit status: 0 good, 1 a finding or a record that is not sound, 2 bad input.",
)

RecordArgument = Annotated[Path, typer.Argument(metavar="RECORD", help="the record's folder", show_default=False)]
JsonOption = Annotated[bool, typer.Option("--json", help="print the result as JSON")]
ByOption = Annotated[str, typer.Option("--by", metavar="NAME", help="who makes the visit", show_default=False)]
WhenOption = Annotated[
    str, typer.Option("--when", metavar="TIME", help="when, such as 2026-05-17T14:30+02:00; else now")
]
PlaceOption = Annotated[str, typer.Option("--place", metavar="WORDS", help="where the installation is")]
ResultsOption = Annotated[
    list[Path] | None,
    typer.Option("--results", metavar="FILE", help="a results file of a test sheet; may be repeated"),
]
PhotoOption = Annotated[
    list[str] | None,
    typer.Option(
        "--photo",
        metavar="LABEL=FILE",
        help="a photograph and the terminal, wire or part it shows (several with +); FILE alone: the whole",
    ),
]
PhotosOption = Annotated[
    Path | None,
    typer.Option("--photos", metavar="FOLDER", help="photographs called by what they show, such as `X3.1 inside.jpg`"),
]
NotesOption = Annotated[str, typer.Option("--note", metavar="TEXT", help="a note")]
NotesFileOption = Annotated[Path | None, typer.Option("--notes", metavar="FILE", help="notes from a text file")]
AttachOption = Annotated[
    list[Path] | None, typer.Option("--attach", metavar="FILE", help="any other file; may be repeated")
]


@app.command()
def new(
    record: RecordArgument,
    scheme: Annotated[Path, typer.Argument(metavar="SCHEME", help="the scheme file", show_default=False)],
    by: ByOption,
    when: WhenOption = "",
    place: PlaceOption = "",
    results: ResultsOption = None,
    photo: PhotoOption = None,
    photos: PhotosOption = None,
    note: NotesOption = "",
    notes: NotesFileOption = None,
    attach: AttachOption = None,
    as_json: JsonOption = False,
) -> None:
    """Begin a record with a first visit: scheme, verdicts, results, photographs, notes, who and when."""
    from interlock.cli import record as command

    given = command.Given(by, when, place, results or [], photo or [], photos, note, notes, attach or [])
    raise typer.Exit(command.new(record, scheme, given, as_json=as_json))


@app.command()
def add(
    record: RecordArgument,
    by: ByOption,
    scheme: Annotated[
        Path | None,
        typer.Option("--scheme", metavar="FILE", help="the scheme now; else the last visit's"),
    ] = None,
    when: WhenOption = "",
    place: PlaceOption = "",
    results: ResultsOption = None,
    photo: PhotoOption = None,
    photos: PhotosOption = None,
    note: NotesOption = "",
    notes: NotesFileOption = None,
    attach: AttachOption = None,
    as_json: JsonOption = False,
) -> None:
    """Add a later visit. Nothing of the earlier ones is touched; the new one holds a digest of each of their files."""
    from interlock.cli import record as command

    given = command.Given(by, when, place, results or [], photo or [], photos, note, notes, attach or [])
    raise typer.Exit(command.add(record, scheme, given, as_json=as_json))


@app.command()
def verify(
    record: RecordArgument,
    seal: Annotated[
        str, typer.Option("--seal", metavar="DIGITS", help="the newest visit's seal, as it was written down elsewhere")
    ] = "",
    digests_only: Annotated[bool, typer.Option("--digests-only", help="leave the claims as they were")] = False,
    as_json: JsonOption = False,
) -> None:
    """Compare every digest, work the verdicts out again, and name whatever is not as it was."""
    from interlock.cli import record as command

    raise typer.Exit(command.verify(record, seal, digests_only=digests_only, as_json=as_json))


@app.command()
def show(record: RecordArgument, as_json: JsonOption = False) -> None:
    """Tell what a record holds: visits, verdicts, results, and which connections have no photograph."""
    from interlock.cli import record as command

    raise typer.Exit(command.show(record, as_json=as_json))
