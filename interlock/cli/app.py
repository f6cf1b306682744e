"""The command line. Each command is one function here; what it needs is imported when it runs."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from copy import copy
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.models import CommandInfo

from interlock.cli import firmware, trainer
from interlock.cli.arguments import FileArgument, JsonOption
from interlock.cli.ending import end, failed, open_what_is_closed, written
from interlock.cli.record_app import app as record_app
from interlock.cli.sections import Sections
from interlock.cli.status import Exit
from interlock.garbage import collected_seldom

HELP = ("-h", "--help")

app = typer.Typer(
    name="interlock",
    cls=Sections,
    rich_markup_mode=None,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": list(HELP)},
    help="Protection logic and interlocks of a battery-electric power system: read, explained, checked and run. "
    "An aid to engineering judgement; it certifies nothing.",
    epilog="Exit status: 0 good, 1 a finding or violation, 2 bad input.",
)


app.add_typer(record_app, name="record")


def _version(wanted: bool) -> None:
    if wanted:
        from interlock import __version__

        typer.echo(__version__)
        raise typer.Exit


@app.callback()
def _options(
    _version_option: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="print the version")
    ] = False,
) -> None:
    pass


@app.command()
def check(
    files: Annotated[
        list[Path] | None, typer.Argument(metavar="FILE...", help="scheme files", show_default=False)
    ] = None,
    as_json: JsonOption = False,
    sarif: Annotated[bool, typer.Option("--sarif", help="print SARIF 2.1.0, for code review tools")] = False,
    explain_id: Annotated[
        str, typer.Option("--about", metavar="FINDING", help="what a finding means and what to do", show_default=False)
    ] = "",
) -> None:
    """Read schemes and list what is wrong or doubtful in them."""
    from interlock.cli import check as command

    if explain_id:
        raise typer.Exit(command.about(explain_id, as_json=as_json))
    if not files:
        raise typer.BadParameter("name a scheme file, or a finding with --about", param_hint="FILE")
    raise typer.Exit(command.check(files, as_json=as_json, as_sarif=sarif))


@app.command()
def cases(
    file: FileArgument,
    only: Annotated[
        str, typer.Option("--only", metavar="TEXT", help="only cases with TEXT in their name", show_default=False)
    ] = "",
    as_json: JsonOption = False,
) -> None:
    """Run the cases of a scheme as tests."""
    from interlock.cli import cases as command

    raise typer.Exit(command.cases(file, only, as_json=as_json))


@app.command()
def explain(file: FileArgument, as_json: JsonOption = False) -> None:
    """Say a scheme in plain sentences: rule by rule, path by path, each chain from permit to device."""
    from interlock.cli import explain as command

    raise typer.Exit(command.explain(file, as_json=as_json))


def _answer(help_text: str) -> Any:
    return typer.Option(help=help_text, show_default=False, metavar="ANSWER")


@app.command()
def prove(
    file: FileArgument,
    faults: Annotated[
        list[str] | None,
        typer.Option("--with", metavar="FAULT", help="plant this fault; may be repeated", show_default=False),
    ] = None,
    only: Annotated[
        str, typer.Option("--claim", metavar="TEXT", help="only claims with TEXT in their name", show_default=False)
    ] = "",
    as_case: Annotated[bool, typer.Option("--as-case", help="show a counterexample as a case for the scheme")] = False,
    stories: Annotated[bool, typer.Option("--stories/--no-stories", help="tell each counterexample")] = True,
    budget: Annotated[int, typer.Option("--budget", min=0, help="how much to search; 0: as usual")] = 0,
    drawn: Annotated[
        Path | None,
        typer.Option("--draw", metavar="FOLDER", help="a timing diagram of each counterexample", show_default=False),
    ] = None,
    twins: Annotated[
        bool, typer.Option("--twins", help="show that each path can run and each rule that protects it can trip")
    ] = False,
    dead_ends: Annotated[
        bool, typer.Option("--dead-ends", help="look for states from which a path can't be got running again")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Answer each requirement over all behaviours: worst exposure and margin, or a counterexample."""
    from interlock.cli import prove as command

    raise typer.Exit(
        command.prove(
            file,
            faults or [],
            only,
            case=as_case,
            stories=stories,
            budget=budget,
            drawn=drawn,
            twins=twins,
            dead_ends=dead_ends,
            as_json=as_json,
        )
    )


@app.command()
def fuzz(
    file: FileArgument,
    examples: Annotated[
        int, typer.Option("--examples", metavar="N", min=1, help="behaviours aimed at each requirement")
    ] = 100,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="another seed, other behaviours")] = 0,
    claim: Annotated[
        str, typer.Option("--claim", metavar="TEXT", help="only claims with TEXT in their name", show_default=False)
    ] = "",
    given: Annotated[
        list[str] | None,
        typer.Option("--with", metavar="FAULT", help="with this fault, at any onset (again for more)"),
    ] = None,
    faults: Annotated[int, typer.Option("--faults", metavar="N", min=0, help="with up to N faults of any kind")] = 0,
    limit: Annotated[
        str, typer.Option("--time", metavar="TIME", help="stop after so long, such as `30 s`", show_default=False)
    ] = "",
    against_proof: Annotated[
        bool, typer.Option("--against-proof", help="prove the claims too, and report where the two contradict")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Try to violate the requirements with random behaviours: a second way beside the proof."""
    from interlock.cli import fuzz as command

    raise typer.Exit(
        command.fuzz(
            file,
            examples=examples,
            seed=seed,
            only=claim,
            given=given or [],
            more=faults,
            limit=limit,
            against_proof=against_proof,
            as_json=as_json,
        )
    )


@app.command()
def plan(
    file: FileArgument,
    threshold_off: Annotated[
        list[str] | None,
        typer.Option(
            "--threshold-off",
            metavar="DIFFERENCE",
            help="by how much a limit is mistyped to be looked for, such as `4 K`, once for each kind of value; else "
            "a quarter more than what the errors of sensor and bench leave in doubt",
            show_default=False,
        ),
    ] = None,
    delay_off: Annotated[
        str, typer.Option("--delay-off", metavar="SHARE", help="by how much a time is; seconds are never told apart")
    ] = "20 %",
    sheet: Annotated[
        Path | None,
        typer.Option(
            "--sheet",
            metavar="FILE",
            help="an .html page to print, or to fill in on a phone, offline; it gives back a results file",
            show_default=False,
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """The shortest test sheet that makes every fault of commissioning show, step by step.

    Each step says what to give the inputs, how long to wait and what must then be seen. What no step can show is
    listed with the reason.
    """
    from interlock.cli import plan as command

    raise typer.Exit(command.plan(file, threshold_off or [], delay_off, sheet, as_json=as_json))


@app.command()
def inject(
    file: FileArgument,
    size: Annotated[
        int, typer.Option("--size", metavar="K", min=1, max=4, help="sets of up to K faults at a time")
    ] = 1,
    jobs: Annotated[
        int | None,
        typer.Option("--jobs", metavar="N", min=0, help="processes; 0, the usual: one a core", show_default=False),
    ] = None,
    cluster: Annotated[
        str,
        typer.Option(
            "--cluster",
            metavar="ADDRESS",
            help="judge on the workers of the dask scheduler there, such as tcp://10.0.0.5:8786 (extra `cluster`); use "
            "one you trust, for it is sent the scheme",
            show_default=False,
        ),
    ] = "",
    resume: Annotated[bool, typer.Option("--resume", help="go on with a study that was interrupted")] = False,
    budget: Annotated[int, typer.Option("--budget", min=0, help="how much to search for a claim; 0: as usual")] = 0,
    table: Annotated[
        str,
        typer.Option(
            "--table",
            metavar="FILE",
            help="a failure modes and effects table: .csv, .html or .json, or - for the terminal",
            show_default=False,
        ),
    ] = "",
    trees: Annotated[
        Path | None,
        typer.Option("--trees", metavar="FOLDER", help="draw each claim's fault tree, with chances by the rates given"),
    ] = None,
    mission: Annotated[float, typer.Option("--mission", metavar="HOURS", help="over which chances are taken")] = 8760.0,
    interval_bound: Annotated[
        float | None,
        typer.Option(
            "--interval-bound",
            metavar="RATE",
            help="how often to look for sleeping faults so that a second one meets them no more than RATE per hour",
            show_default=False,
        ),
    ] = None,
    suggest: Annotated[
        bool, typer.Option("--suggest", help="what if… the changes that take the most single points away, proved again")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Break every part on paper: single points of failure, minimal cut sets, faults that sleep.

    A fault shows when a sensor reads invalid for certain, an alarm can't stay silent for ever (or sounds, though it
    never does without the fault), or what should run is stopped. One that shows by nothing sleeps, unless it is proved
    harmless.
    """
    from interlock.cli import inject as command
    from interlock.cli.inject_outputs import Wanted

    wanted = Wanted(table, trees, mission, interval_bound, suggest)
    raise typer.Exit(
        command.inject(
            file,
            size,
            jobs=jobs,
            cluster=cluster,
            resume=resume,
            budget=budget,
            wanted=wanted,
            as_json=as_json,
        )
    )


@app.command()
def compare(
    old: Annotated[str, typer.Argument(metavar="OLD", help="a scheme file, or REVISION:FILE", show_default=False)],
    new: Annotated[str, typer.Argument(metavar="NEW", help="likewise", show_default=False)],
    no_looser: Annotated[
        bool,
        typer.Option("--no-looser", help="a gate: status 1 where a path may run that was stopped, or a claim is lost"),
    ] = False,
    stories: Annotated[bool, typer.Option("--stories", help="tell a history for each difference")] = False,
    budget: Annotated[int, typer.Option("--budget", min=0, help="how much to search for a path; 0: as usual")] = 0,
    as_json: JsonOption = False,
) -> None:
    """What a change of rules means: for each path the same, stricter, looser or different, over all histories.

    Both are given the same readings and lines, anything at any scan. A revision of a file is named as git does, such as
    HEAD~3:rules/hut.yaml.
    """
    from interlock.cli import compare as command

    raise typer.Exit(command.compare(old, new, no_looser=no_looser, stories=stories, budget=budget, as_json=as_json))


@app.command()
def diagnose(
    file: FileArgument,
    results: Annotated[
        Path | None, typer.Argument(metavar="RESULTS", help="the results file of a test sheet", show_default=False)
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option(
            "--sheet",
            metavar="FILE",
            help="the sheet they were taken with, as `plan --json` wrote it; else it is planned again",
        ),
    ] = None,
    seen: Annotated[
        list[str] | None,
        typer.Option(
            "--seen",
            metavar="TEXT",
            help="what was seen in service, such as `roof_pv stopped, coldest_cell 20 degC, for 10 min`; again for"
            " another moment",
            show_default=False,
        ),
    ] = None,
    observed: Annotated[
        Path | None,
        typer.Option("--observed", metavar="FILE", help="the same from a file with `moments:`", show_default=False),
    ] = None,
    pairs: Annotated[
        bool, typer.Option("--pairs", help="weigh pairs of faults also where one fault alone explains everything")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Tell which faults, alone or in pairs, explain everything that was seen, and what to look at next."""
    from interlock.cli import diagnose as command

    raise typer.Exit(command.diagnose(file, results, seen or [], observed, sheet, pairs=pairs, as_json=as_json))


@app.command()
def new(
    file: FileArgument,
    title: Annotated[str | None, _answer("the installation's name")] = None,
    chemistry: Annotated[str | None, _answer("the cells' chemistry")] = None,
    series: Annotated[str | None, _answer("cells in series")] = None,
    scan: Annotated[str | None, _answer("the time of one scan")] = None,
    probes: Annotated[str | None, _answer("how many temperature probes")] = None,
    probe_error: Annotated[str | None, _answer("a probe's error, in K")] = None,
    probe_offset: Annotated[str | None, _answer("how far a cell may be from the probe's place, in K")] = None,
    monitor: Annotated[str | None, _answer("a cell monitor with two permits: yes or no")] = None,
    reset_button: Annotated[str | None, _answer("an overheated pack waits for a person: yes or no")] = None,
    shunt: Annotated[str | None, _answer("a shunt counts the charge level: yes or no")] = None,
    sources: Annotated[str | None, _answer("charge sources, such as `roof=solar:remote, shore`")] = None,
    loads: Annotated[str | None, _answer("loads, such as `inverter, radio=dc_branch:essential`")] = None,
    one_at_a_time: Annotated[str | None, _answer("shore and generator never together: yes or no")] = None,
    force: Annotated[bool, typer.Option("--force", help="write over an existing file")] = False,
    as_json: JsonOption = False,
) -> None:
    """Write a first scheme, commented and ready to be cut to the job.

    On a terminal it asks what no option answers; elsewhere the usual answer is taken.
    """
    from interlock.cli import new as command

    answers = {
        "title": title,
        "chemistry": chemistry,
        "series": series,
        "scan": scan,
        "probes": probes,
        "probe_error": probe_error,
        "probe_offset": probe_offset,
        "monitor": monitor,
        "reset_button": reset_button,
        "shunt": shunt,
        "sources": sources,
        "loads": loads,
        "one_at_a_time": one_at_a_time,
    }
    given = {key: answer for key, answer in answers.items() if answer is not None}
    raise typer.Exit(command.new(file, given, ask=sys.stdin.isatty() and not as_json, force=force, as_json=as_json))


@app.command()
def tour(
    to: Annotated[Path, typer.Option("--to", metavar="FOLDER", help="where its drawings go")] = Path("interlock-tour"),
    as_json: JsonOption = False,
) -> None:
    """See the whole job done on an example, in a minute of reading."""
    from interlock.cli import tour as command

    raise typer.Exit(command.tour(to, as_json=as_json))


@app.command()
def draw(
    file: FileArgument,
    to: Annotated[Path, typer.Option("--to", metavar="FOLDER", help="where the drawings go")] = Path("drawings"),
    only: Annotated[
        list[str] | None,
        typer.Option(
            "--only",
            metavar="KIND",
            help="overview, wiring, matrix, ladder, logic, machine, case or permit; may be repeated",
            show_default=False,
        ),
    ] = None,
    study: Annotated[
        Path | None,
        typer.Option(
            "--study",
            metavar="STUDY",
            help="draw each claim's fault tree too, from a study that `interlock inject --json` printed",
            show_default=False,
        ),
    ] = None,
    png: Annotated[bool, typer.Option("--png", help="PNG files beside the SVG")] = False,
    portable: Annotated[
        bool, typer.Option("--portable", help="lay out with graphviz-pure even where dot is installed")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Draw the logic: overview, wiring, cause-and-effect matrix, ladders, each path, rule and case; fault trees."""
    from interlock.cli import draw as command

    raise typer.Exit(
        command.draw_files(file, to, only or [], study_file=study, png=png, portable=portable, as_json=as_json)
    )


@app.command(context_settings={"ignore_unknown_options": True})  # `-4 degC` is a value
def stimulus(
    file: FileArgument,
    sensor: Annotated[str, typer.Argument(metavar="SENSOR", help="a sensor that says what it is made of")],
    value: Annotated[
        str,
        typer.Argument(
            metavar="VALUE", help="the reading wanted, such as `3 degC`; else all thresholds", show_default=False
        ),
    ] = "",
    kits: Annotated[
        list[str] | None,
        typer.Option("--with", metavar="KIT", help="decade, e24, e96 or source; may be repeated", show_default=False),
    ] = None,
    step: Annotated[
        str, typer.Option("--step", metavar="VALUE", help="the smallest step of a decade box or source")
    ] = "",
    within: Annotated[str, typer.Option("--within", metavar="PERCENT", help="how far off what you have may be")] = "",
    as_json: JsonOption = False,
) -> None:
    """Say what to put in a sensor's place on the bench so that the controller reads a value, and what it may then read.

    A resistor stands in for a thermometer, a voltage for a divider or a shunt, snapped to what is at hand.
    """
    from interlock.cli import stimulus as command

    raise typer.Exit(command.stimulus(file, sensor, value, kits or [], step, within, as_json=as_json))


@app.command()
def settings(
    file: FileArgument,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="an .html page that prints on A4", show_default=False)
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Print the settings sheet: what is to be set inside each device, and whether the steps are in order."""
    from interlock.cli import settings as command

    raise typer.Exit(command.settings(file, to, as_json=as_json))


@app.command()
def schema(as_json: JsonOption = True) -> None:
    """Print the JSON Schema of a scheme file, for editors; it is JSON with or without --json."""
    from interlock.cli import schema as command

    del as_json

    raise typer.Exit(command.schema())


@app.command()
def reference(as_json: JsonOption = False) -> None:
    """Print the reference: every word of a scheme and what it means."""
    from interlock.cli import schema as command

    raise typer.Exit(command.reference(as_json=as_json))


firmware.register(app)
trainer.register(app)


def asked_for(arguments: Sequence[str]) -> typer.Typer:
    """The program with the one command that is asked for, where it is plain which: to make all of them ready takes as
    long as to read a scheme. To list them all their names and descriptions are enough."""
    name = arguments[0] if arguments else "--help"
    if name in HELP:
        listed = copy(app)
        listed.registered_commands = [_described(c) for c in app.registered_commands]
        return listed
    kept = [c for c in app.registered_commands if c.callback and (c.name or c.callback.__name__) == name]
    if not kept:
        return app
    narrowed = copy(app)
    narrowed.registered_commands, narrowed.registered_groups = kept, []
    return narrowed


def _described(command: CommandInfo) -> CommandInfo:
    """A command without its options: what the list of commands shows of it."""

    def nothing() -> None:
        pass

    bare = copy(command)
    assert command.callback is not None
    bare.name = command.name or command.callback.__name__
    nothing.__doc__ = command.callback.__doc__
    bare.callback = nothing
    return bare


def main() -> None:
    """The program: no traceback ever reaches a user."""
    collected_seldom()
    open_what_is_closed()
    code: int
    try:
        asked_for(sys.argv[1:])(standalone_mode=True)
        code = Exit.GOOD
    except SystemExit as stop:
        code = stop.code if isinstance(stop.code, int) else Exit.BAD_INPUT if stop.code else Exit.GOOD
    except KeyboardInterrupt:
        sys.stderr.write("\ninterrupted\n")
        code = Exit.INTERRUPTED
    except Exception as error:
        code = failed(error)
    end(written(code))
