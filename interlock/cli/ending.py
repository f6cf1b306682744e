"""How the program begins and ends: what went wrong in words, all written that can be, and the exit status."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path
from typing import NoReturn

from interlock.cli.status import Exit

NO_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO})  # what a full or broken disk says


def open_what_is_closed() -> None:
    """Where the program was started without an output, what it says goes nowhere; it is done all the same."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 (to the end)


def failed(error: Exception) -> int:
    """The exit status after an error that no command has told of, which is told here."""
    from interlock.scheme.findings import SchemeError

    if isinstance(error, BrokenPipeError):  # whoever read the output has seen enough
        _drop_output()
        return Exit.GOOD
    if isinstance(error, OSError) and error.errno in NO_ROOM and error.filename is None:
        return _not_written(error)
    if isinstance(error, SchemeError):  # a command should have shown it; better late than as a traceback
        sys.stderr.write("".join(f"{f.place.line}:{f.place.column}: {f.message}\n" for f in error.findings))
        return Exit.BAD_INPUT
    if os.environ.get("INTERLOCK_TRACEBACK"):
        raise error
    sys.stderr.write(
        f"interlock failed: {type(error).__name__}: {error}\n"
        "This is a fault of the tool, not of your scheme. INTERLOCK_TRACEBACK=1 shows where; please report it.\n"
    )
    return Exit.FAULT_OF_THE_TOOL


def written(code: int) -> int:
    """The exit status once all output is out; another one where it cannot be."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _drop_output()
    except OSError as error:
        return _not_written(error)
    return code


def _not_written(error: OSError) -> int:
    _drop_output()
    sys.stderr.write(f"the output cannot be written: {error.strerror or error}\n")
    return Exit.BAD_INPUT


def _drop_output() -> None:
    """Nothing more is to be written."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def end(code: int) -> NoReturn:
    """End at once, all being written: to take apart object by object what was found takes as long as to judge a dozen
    sets. What has threads or a pool of processes ends as usual, so that they are wound up."""
    threads = sys.modules.get("threading")
    if (threads is None or threads.active_count() == 1) and "joblib" not in sys.modules:
        sys.stderr.flush()
        os._exit(code)
    sys.exit(code)
