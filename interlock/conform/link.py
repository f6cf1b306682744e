"""A line sent, a line answered: a program on a pipe or a board on a serial line. Each can hang, die, talk nonsense."""

from __future__ import annotations

import os
import selectors
import shlex
import subprocess
import time
from contextlib import suppress
from types import TracebackType
from typing import Protocol

LONGEST_LINE = 65_536  # bytes without a line break: that is no answer


class LinkError(Exception):
    """The other side gave no answer; the message says what it did instead."""


class NoStartError(LinkError):
    """The other side could not even be started or opened."""


class SilentError(LinkError):
    """No answer within the time allowed."""


class GoneError(LinkError):
    """The other side has ended or was cut off."""


class NonsenseError(LinkError):
    """What came is no line of text."""


class Link(Protocol):
    """One line out, one line in."""

    def ask(self, line: str, timeout: float) -> str:
        """Send a line and give the answer, without its end. Raises LinkError."""

    def next_line(self, timeout: float) -> str:
        """One more line. Raises LinkError."""

    def close(self) -> None:
        """End it."""


class _Lines:
    """Bytes as they come, taken as lines."""

    def __init__(self) -> None:
        self._bytes = bytearray()

    def add(self, data: bytes) -> None:
        """More bytes."""
        self._bytes += data

    def take(self) -> str | None:
        """The next whole line; None where there is none yet."""
        end = self._bytes.find(b"\n")
        if end < 0:
            if len(self._bytes) > LONGEST_LINE:
                raise NonsenseError(f"{len(self._bytes):,} bytes came without an end of line")
            return None
        line, self._bytes = bytes(self._bytes[:end]), self._bytes[end + 1 :]
        if any(byte > 126 or (byte < 32 and byte not in b"\t\r") for byte in line):
            raise NonsenseError(f"an answer is no plain text: {shown(line.decode('latin-1'))}")
        return line.decode("ascii").rstrip("\r")


def shown(line: str, longest: int = 60) -> str:
    """A line as it can be shown on a terminal."""
    plain = "".join(c if " " <= c <= "~" else "?" for c in line)
    return repr(plain if len(plain) <= longest else plain[: longest - 3] + "...")


class Pipe:
    """A program run on a pipe: its standard input and output. The end of what it writes to standard error is kept."""

    def __init__(self, command: str) -> None:
        try:
            words = shlex.split(command)
        except ValueError as error:
            raise NoStartError(f"the command can't be read: {error}") from error
        if not words:
            raise NoStartError("the command is empty")
        try:
            self._process = subprocess.Popen(
                words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, bufsize=0,
                start_new_session=True,
            )  # fmt: skip
        except OSError as error:
            raise NoStartError(f"`{words[0]}` can't be run: {error.strerror}") from error
        assert self._process.stdout is not None
        assert self._process.stderr is not None
        self._lines, self._said = _Lines(), bytearray()
        self._selector = selectors.DefaultSelector()
        for stream in (self._process.stdout, self._process.stderr):
            os.set_blocking(stream.fileno(), False)
            self._selector.register(stream, selectors.EVENT_READ)

    def __enter__(self) -> Pipe:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def ask(self, line: str, timeout: float) -> str:
        """Send a line and give the answer. Raises LinkError."""
        assert self._process.stdin is not None
        data = memoryview(line.encode("ascii") + b"\n")
        os.set_blocking(self._process.stdin.fileno(), False)
        end = time.monotonic() + timeout
        while data:
            try:
                data = data[os.write(self._process.stdin.fileno(), data) :]
            except BlockingIOError:
                if time.monotonic() > end:
                    raise SilentError(f"it takes no input for {timeout:g} s") from None
                time.sleep(0.01)
            except OSError as error:
                raise GoneError(self._last_words()) from error
        return self.next_line(max(0.0, end - time.monotonic()))

    def next_line(self, timeout: float) -> str:
        """One more line. Raises LinkError."""
        end = time.monotonic() + timeout
        while (found := self._lines.take()) is None:
            left = end - time.monotonic()
            if left <= 0:
                raise SilentError(f"no answer within {timeout:.3g} s")
            for key, _ in self._selector.select(left):
                stream = key.fileobj
                data = os.read(key.fd, 65_536)
                if stream is self._process.stdout:
                    if not data:
                        raise GoneError(self._last_words())
                    self._lines.add(data)
                elif data:
                    self._said = (self._said + data)[-2000:]
                else:
                    self._selector.unregister(stream)
        return found

    def _last_words(self) -> str:
        try:
            code = self._process.wait(1)
        except subprocess.TimeoutExpired:
            return "it closed its output"
        if self._process.stderr is not None:
            with suppress(OSError, ValueError):
                self._said += self._process.stderr.read() or b""
        how = f"it was ended by signal {-code}" if code < 0 else f"it ended with exit status {code}"
        lines = self._said.decode("utf-8", "replace").strip().splitlines()
        return how + (f"; its last words: {shown(lines[-1], 200)}" if lines else "")

    def close(self) -> None:
        """End the program, and what it started."""
        for stream in (self._process.stdin, self._process.stdout, self._process.stderr):
            if stream is not None:
                with suppress(OSError):
                    stream.close()
        self._selector.close()
        if self._process.poll() is None:
            try:
                self._process.wait(0.2)
            except subprocess.TimeoutExpired:
                _end(self._process)


def _end(process: subprocess.Popen[bytes]) -> None:
    import signal

    try:
        os.killpg(process.pid, signal.SIGKILL)  # its own session: nothing but what it started
    except OSError:
        process.kill()
    process.wait()


class Serial:
    """A board on a serial line, through pyserial."""

    def __init__(self, port: str, baud: int) -> None:
        try:
            import serial
        except ImportError as error:
            raise NoStartError("serial lines need the package pyserial: pip install 'interlock[serial]'") from error
        self._failed: type[Exception] = serial.SerialException
        try:
            self._port = serial.serial_for_url(port, baudrate=baud, timeout=0.05, write_timeout=2)
        except (serial.SerialException, ValueError, OSError) as error:
            raise NoStartError(f"{port} can't be opened: {error}") from error
        self._lines = _Lines()

    def ask(self, line: str, timeout: float) -> str:
        """Send a line and give the answer. Raises LinkError."""
        try:
            self._port.write(line.encode("ascii") + b"\n")
        except (self._failed, OSError) as error:
            raise GoneError(f"the line is cut off: {error}") from error
        return self.next_line(timeout)

    def next_line(self, timeout: float) -> str:
        """One more line. Raises LinkError."""
        end = time.monotonic() + timeout
        while (found := self._lines.take()) is None:
            if time.monotonic() > end:
                raise SilentError(f"no answer within {timeout:g} s")
            try:
                self._lines.add(self._port.read(max(1, self._port.in_waiting)))
            except (self._failed, OSError) as error:
                raise GoneError(f"the line is cut off: {error}") from error
        return found

    def close(self) -> None:
        """Close the port."""
        self._port.close()
