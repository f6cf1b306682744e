"""Arguments and options that many commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="the scheme file", show_default=False)]
JsonOption = Annotated[bool, typer.Option("--json", help="print the result as JSON")]
