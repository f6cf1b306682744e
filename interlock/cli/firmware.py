"""The commands for firmware developers: `export`, `vectors`, `conform`. As in `app`, nothing heavy is imported here."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from interlock.cli.arguments import FileArgument, JsonOption


def export(
    file: FileArgument,
    unit: Annotated[
        str, typer.Option("--unit", metavar="NAME", help="whose rules; the first unit if not given", show_default=False)
    ] = "",
    to: Annotated[Path, typer.Option("--to", metavar="FOLDER", help="where the files go")] = Path("export"),
    language: Annotated[
        str, typer.Option("--as", metavar="LANGUAGE", help="c (C99) or st (structured text of IEC 61131-3)")
    ] = "c",
    host: Annotated[
        bool, typer.Option("--host", help="a main program too, which `interlock conform` can drive")
    ] = False,
    exact: Annotated[bool, typer.Option("--exact", help="readings in millionths: nothing is ever rounded")] = False,
    prove_rounding: Annotated[
        bool, typer.Option("--prove-rounding", help="prove the claims again with every sensor's error a step wider")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Write one unit's rules as source text for a controller: no allocation, no floating point, bounded time."""
    from interlock.cli import export as command

    raise typer.Exit(
        command.export(file, unit, to, language, host=host, exact=exact, prove=prove_rounding, as_json=as_json)
    )


def vectors(
    file: FileArgument,
    unit: Annotated[
        str, typer.Option("--unit", metavar="NAME", help="whose; the first unit if not given", show_default=False)
    ] = "",
    to: Annotated[
        Path | None,
        typer.Option("--to", metavar="FILE", help="JSON Lines, one object a scan; a .csv: a table", show_default=False),
    ] = None,
    most: Annotated[
        int | None,
        typer.Option(
            "--most",
            metavar="N",
            min=1,
            help="scans in all, nothing added; else one run, and more where it needs them",
            show_default=False,
        ),
    ] = None,
    quick: Annotated[
        bool, typer.Option("--quick", help="as planned: not weighed against small mistakes in the rules")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Make input sequences for one unit with what it must answer, scan by scan, and tell how strong they are.

    Counted is what they show, and how many small mistakes sown in the rules they catch; each other one is proved to
    change nothing that the unit tells, or vectors are added until it is caught.
    """
    from interlock.cli import vectors as command

    raise typer.Exit(command.vectors(file, unit, to, most, quick=quick, as_json=as_json))


def conform(
    file: FileArgument,
    unit: Annotated[
        str, typer.Option("--unit", metavar="NAME", help="whose rules; the first unit if not given", show_default=False)
    ] = "",
    run: Annotated[
        str, typer.Option("--run", metavar="COMMAND", help="a program that answers on a pipe", show_default=False)
    ] = "",
    serial: Annotated[
        str,
        typer.Option("--serial", metavar="PORT", help="a board on a serial line (extra `serial`)", show_default=False),
    ] = "",
    baud: Annotated[int, typer.Option("--baud", metavar="N", min=1, help="of the serial line")] = 115_200,
    file_of_vectors: Annotated[
        Path | None,
        typer.Option("--vectors", metavar="FILE", help="made before by `interlock vectors`", show_default=False),
    ] = None,
    most: Annotated[int, typer.Option("--most", metavar="N", min=1, help="scans in all, if made now")] = 20_000,
    timeout: Annotated[float, typer.Option("--timeout", metavar="SECONDS", min=0.001, help="for each answer")] = 2.0,
    junit: Annotated[
        Path | None, typer.Option("--junit", metavar="FILE", help="JUnit XML, for build servers", show_default=False)
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Drive your own firmware with vectors and tell the first scan at which it differs from the rules, and which rule.

    One line in and one line out for each scan; `interlock export --host` writes a program that shows how.
    """
    from interlock.cli import conform as command

    options = command.Options(unit, run, serial, baud, file_of_vectors, most, timeout, junit)
    raise typer.Exit(command.conform(file, options, as_json=as_json))


def register(app: typer.Typer) -> None:
    """Add the commands to the program."""
    for command in (export, vectors, conform):
        app.command()(command)
