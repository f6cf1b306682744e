"""A real browser driven over its DevTools protocol by a pair of pipes: JSON messages, each ended by a zero byte.

Nothing is installed for it, nothing listens on a network, and each `Browser` keeps its storage in its own folder until
it is opened there again.
"""

from __future__ import annotations

import base64
import json
import os
import select
import subprocess
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.draw.browser import browser

PATIENCE_S = 180.0
MIDDLE = """(() => {
  const e = document.querySelector(%s);
  e.scrollIntoView({block: 'center'});
  const b = e.getBoundingClientRect();
  return [b.left + b.width / 2, b.top + b.height / 2];
})()"""


class Browser:
    """One tab of a headless browser. `said`: all events seen so far, as (method, parameters)."""

    def __init__(self, process: subprocess.Popen[bytes], to: int, back: int) -> None:
        self.process, self.to, self.back = process, to, back
        self.said: list[tuple[str, Mapping[str, Any]]] = []
        self.waiting = b""
        self.last = 0
        self.session = ""

    def open_tab(self) -> None:
        """A tab whose requests, errors and console are seen."""
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self.session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Ask for something and wait for the answer. Raises AssertionError where the browser refuses."""
        self.last += 1
        message: dict[str, Any] = {"id": self.last, "method": method, "params": parameters}
        if self.session:
            message["sessionId"] = self.session
        os.write(self.to, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._message()
            if answer.get("id") == self.last:
                assert "error" not in answer, (method, answer)
                result: dict[str, Any] = answer["result"]
                return result

    def _message(self) -> dict[str, Any]:
        deadline = time.monotonic() + PATIENCE_S
        while b"\0" not in self.waiting:
            ready, _, _ = select.select([self.back], [], [], max(0.0, deadline - time.monotonic()))
            assert ready, "the browser does not answer"
            self.waiting += os.read(self.back, 1 << 16)
        one, self.waiting = self.waiting.split(b"\0", 1)
        message: dict[str, Any] = json.loads(one)
        if "method" in message:
            self.said.append((message["method"], message["params"]))
        return message

    def go(self, url: str) -> None:
        """Open a page, or open it anew, and wait until it has loaded."""
        before = self._loads()
        self.call("Page.navigate", url=url)
        while self._loads() == before:
            self._message()

    def reload(self) -> None:
        """Load the page again and wait until it has."""
        before = self._loads()
        self.call("Page.reload")
        while self._loads() == before:
            self._message()

    def _loads(self) -> int:
        return sum(method == "Page.loadEventFired" for method, _ in self.said)

    def ask(self, code: str) -> Any:
        """The value of an expression of the page's own. Raises AssertionError where it throws."""
        answer = self.call("Runtime.evaluate", expression=code, returnByValue=True, awaitPromise=True, userGesture=True)
        assert "exceptionDetails" not in answer, (code, answer)
        return answer["result"].get("value")

    def click(self, selector: str) -> None:
        """A click in the middle of an element, as by a finger."""
        at = self.ask(MIDDLE % json.dumps(selector))
        for kind in ("mousePressed", "mouseReleased"):
            self.call("Input.dispatchMouseEvent", type=kind, x=at[0], y=at[1], button="left", clickCount=1)

    def type(self, selector: str, words: str) -> None:
        """Text typed into a field."""
        self.click(selector)
        self.call("Input.insertText", text=words)

    def key(self, name: str, code: int, text: str = "") -> None:
        """One key pressed and let go."""
        for kind in ("keyDown", "keyUp"):
            self.call(
                "Input.dispatchKeyEvent", type=kind, key=name, code=name, windowsVirtualKeyCode=code,
                **({"text": text} if text and kind == "keyDown" else {}),
            )  # fmt: skip

    def pdf(self) -> bytes:
        """The page as it prints."""
        data: str = self.call("Page.printToPDF", preferCSSPageSize=True, printBackground=True)["data"]
        return base64.b64decode(data)

    def complaints(self) -> list[str]:
        """Errors and warnings of the console and of the page's script."""
        found = [str(p["exceptionDetails"]) for m, p in self.said if m == "Runtime.exceptionThrown"]
        found += [str(p["args"]) for m, p in self.said if m == "Runtime.consoleAPICalled"]
        return found + [p["entry"]["text"] for m, p in self.said if m == "Log.entryAdded"]

    def requests(self) -> list[str]:
        """Every address that was asked for."""
        return [p["request"]["url"] for m, p in self.said if m == "Network.requestWillBeSent"]


@contextmanager
def opened(folder: Path, *flags: str) -> Iterator[Browser]:
    """A browser whose storage is in `folder`. It is ended when the context is left, killed if it must be."""
    program = browser()
    assert program
    read_end, to = os.pipe()
    back, write_end = os.pipe()

    def pipes() -> None:
        kept = os.dup(read_end), os.dup(write_end)
        os.dup2(kept[0], 3)
        os.dup2(kept[1], 4)

    process = subprocess.Popen(
        [
            program, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
            "--disable-background-networking", "--disable-component-update", "--disable-sync",
            "--remote-debugging-pipe", f"--user-data-dir={folder}", *flags, "about:blank",
        ],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, pass_fds=(3, 4),
        preexec_fn=pipes,  # noqa: PLW1509 (it only copies descriptors, which takes no lock)
    )  # fmt: skip
    os.close(read_end)
    os.close(write_end)
    tab = Browser(process, to, back)
    try:
        tab.open_tab()
        yield tab
        tab.session = ""
        os.write(to, b'{"id": 0, "method": "Browser.close"}\0')
        process.wait(timeout=20)
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()
        os.close(to)
        os.close(back)
