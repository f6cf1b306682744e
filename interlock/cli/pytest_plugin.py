"""Schemes as tests: pytest collects every scheme file among a project's tests, once this package is installed.

Each claim, each case and each path compared with the committed baseline is a test of its own. Nothing of the tool is
imported before there is a scheme to test. Set `interlock_schemes = no` to collect none, and `interlock_baseline` to
another revision than HEAD, or to nothing to compare with none.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from interlock.compare.verdict import Comparison
    from interlock.proof.index import Index
    from interlock.scheme.model import Case, Claim, Scheme
    from interlock.scheme.source import Source

SUFFIXES = (".yaml", ".yml")
BEGINS_A_SCHEME = re.compile(rb"^scheme[ \t]*:", re.MULTILINE)
LOOKED_AT = 64 * 1024  # bytes of a file, to tell whether it is a scheme


def pytest_addoption(parser: pytest.Parser) -> None:
    """Two settings of the project's own configuration."""
    parser.addini(
        "interlock_schemes", "whether scheme files among the tests are tests themselves", "bool", default=True
    )
    parser.addini("interlock_baseline", "the git revision that no path may be looser than", default="HEAD")


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> SchemeFile | None:
    """A YAML file with a `scheme:` at its top level."""
    if file_path.suffix not in SUFFIXES or not parent.config.getini("interlock_schemes"):
        return None
    try:
        with file_path.open("rb") as file:
            found = BEGINS_A_SCHEME.search(file.read(LOOKED_AT))
    except OSError:
        return None
    return SchemeFile.from_parent(parent, path=file_path) if found else None


class FoundError(Exception):
    """What a test of a scheme has to say, in words for people."""


class SchemeFile(pytest.File):
    """A scheme: that it can be read, its cases, its claims, and its paths against the baseline."""

    def collect(self) -> Iterator[pytest.Item]:
        """One test that fails where the file is no scheme; else its tests."""
        from interlock.scheme.findings import SchemeError

        yield ReadTest.from_parent(self, name="can be read")
        try:
            scheme = self.scheme
        except SchemeError:
            return
        for case in scheme.cases:
            yield CaseTest.from_parent(self, name=f"case {case.name}", case=case)
        for claim in scheme.claims:
            yield ClaimTest.from_parent(self, name=f"claim {claim.name}", claim=claim)
        before = self.baseline
        for path in scheme.paths if before else ():
            yield PathTest.from_parent(self, name=f"{path} is not looser than {self.revision}", path_name=path)

    @property
    def revision(self) -> str:
        """The revision that is compared with; "" for none."""
        return str(self.config.getini("interlock_baseline"))

    @cached_property
    def source(self) -> Source:
        """The file's text. Raises SchemeError."""
        from interlock.scheme.read import open_source

        return open_source(self.path)

    @cached_property
    def scheme(self) -> Scheme:
        """The scheme. Raises SchemeError."""
        from interlock.scheme.read import read

        return read(self.source)

    @cached_property
    def index(self) -> Index:
        """What all its claims' proofs share."""
        from interlock.proof.index import Index

        return Index(self.scheme)

    @cached_property
    def baseline(self) -> Scheme | None:
        """The scheme as it was committed; None where there is none that can be read."""
        if not self.revision:
            return None
        from interlock.cli.opened import from_git
        from interlock.scheme.findings import SchemeError
        from interlock.scheme.read import as_source, read

        name = f"{self.revision}:./{self.path.name}"
        try:
            return read(as_source(lambda: from_git(name, self.path.parent)))
        except SchemeError:
            return None

    @cached_property
    def comparison(self) -> Comparison:
        """This scheme against the baseline. Raises ValueError where they do not scan alike."""
        from interlock.compare.verdict import Comparison

        assert self.baseline is not None
        return Comparison(self.baseline, self.scheme)


class SchemeTest(pytest.Item):
    """A test of a scheme."""

    parent: SchemeFile
    line: int | None = None

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """The words alone: where a test of a scheme fails is no matter of this program's lines."""
        return str(excinfo.value) if isinstance(excinfo.value, FoundError) else super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, int | None, str]:
        """Where the test stands in the scheme's file."""
        return self.path, None if self.line is None else self.line - 1, self.name


class ReadTest(SchemeTest):
    """The file is a scheme."""

    def runtest(self) -> None:
        """Fail with the reader's findings."""
        from io import StringIO

        from interlock.cli.render import print_findings
        from interlock.scheme.findings import SchemeError

        try:
            assert self.parent.scheme
        except SchemeError as error:
            out = StringIO()
            source = self.parent.__dict__.get("source")
            print_findings(error.findings, source, self.path.name, out)
            raise FoundError(out.getvalue().rstrip()) from error


class CaseTest(SchemeTest):
    """An example in the scheme does what it expects."""

    def __init__(self, *, case: Case, **more: Any) -> None:
        super().__init__(**more)
        self.case, self.line = case, case.place.line

    def runtest(self) -> None:
        """Run the case."""
        from interlock.cli.cases import told
        from interlock.logic.cases import run_case

        scheme = self.parent.scheme
        result = run_case(scheme, self.case)
        if not result.passed:
            raise FoundError("\n".join(told(result, scheme.scan_us, self.path.name)))


class ClaimTest(SchemeTest):
    """A claim of the scheme holds."""

    def __init__(self, *, claim: Claim, **more: Any) -> None:
        super().__init__(**more)
        self.claim, self.line = claim, claim.place.line

    def runtest(self) -> None:
        """Prove the claim."""
        from interlock.cli.prove import said
        from interlock.explain.trace import told
        from interlock.proof.prove import Outcome, prove

        scheme = self.parent.scheme
        verdict = prove(scheme, self.claim, index=self.parent.index, margins=False)
        if verdict.outcome is not Outcome.HOLDS:
            story = told(scheme, self.claim, verdict.trace) if verdict.trace else []
            raise FoundError("\n".join([f"{verdict.outcome}: {said(scheme, verdict)}", *story]))


class PathTest(SchemeTest):
    """A path is let run at no scan at which the committed scheme stops it."""

    def __init__(self, *, path_name: str, **more: Any) -> None:
        super().__init__(**more)
        self.path_name = path_name
        self.line = self.parent.scheme.paths[path_name].place.line

    def runtest(self) -> None:
        """Compare the path with the baseline's."""
        from interlock.compare.verdict import Meaning
        from interlock.explain.comparison import history, sentence

        try:
            comparison = self.parent.comparison
        except ValueError as error:
            raise FoundError(f"this scheme and that of {self.parent.revision} do not scan alike") from error
        if self.path_name not in comparison.paths:
            raise FoundError(f"{self.path_name} is new: nothing in {self.parent.revision} to compare it with")
        verdict = comparison.verdict(self.path_name)
        if verdict.meaning in (Meaning.SAME, Meaning.STRICTER):
            return
        merged = comparison.merged.scheme
        lines = [f"{verdict.meaning}{f': {verdict.reason}' if verdict.reason else ''}"]
        for difference in verdict.differences:
            lines.append(sentence(merged, self.path_name, difference))
            lines += [f"  {line}" for line in history(merged, verdict, difference)]
        raise FoundError("\n".join(lines))
