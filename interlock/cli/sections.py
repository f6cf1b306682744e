"""The list of commands in `--help`, by what one is about to do. Set in plain text: a page of boxes would take longer
to load than most commands take to answer."""

from __future__ import annotations

from typing import Any, ClassVar, Final

from typer.core import TyperGroup

# Who needs what, in the order in which the work is done.
SECTIONS: Final[dict[str, tuple[str, ...]]] = {
    "To begin": ("tour", "new", "reference", "schema"),
    "Look at a scheme": ("check", "explain", "draw", "cases"),
    "Before the pack is energised": ("prove", "fuzz", "inject"),
    "At the installation": ("plan", "stimulus", "settings", "diagnose", "record"),
    "For firmware": ("compare", "export", "vectors", "conform"),
    "To teach with": ("handbook", "slides", "exercises", "words"),
}


class Listed(TyperGroup):
    """Lists commands, each with its whole first paragraph, under the headings of `sections`."""

    sections: ClassVar[dict[str, tuple[str, ...]]] = {}

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write the sections that have a command; what no section names comes last."""
        commands = ((name, self.get_command(ctx, name)) for name in self.list_commands(ctx))
        left = {name: _first_paragraph(command.help) for name, command in commands if command is not None}
        width = max(len(name) for name in left)
        named = [(heading, [name for name in names if name in left]) for heading, names in self.sections.items()]
        placed = {name for _, names in named for name in names}
        for heading, names in [*named, ("Commands", [name for name in left if name not in placed])]:
            # Padded by hand, so that the descriptions stand in one column over all sections.
            rows = [(name.ljust(width), left[name]) for name in names]
            if rows:
                with formatter.section(heading):
                    formatter.write_dl(rows)


class Sections(Listed):
    """The commands of `interlock` itself."""

    sections = SECTIONS


def _first_paragraph(text: str | None) -> str:
    return " ".join((text or "").strip().split("\n\n")[0].split())
