"""Results as JUnit XML, as build servers read it: one test case for each run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree


@dataclass(frozen=True, slots=True)
class Case:
    """One run: `failure` where the firmware answered otherwise, `error` where it gave no answer; "" for neither."""

    name: str
    seconds: float
    failure: str = ""
    error: str = ""


def junit_xml(suite: str, cases: Sequence[Case]) -> str:
    """The XML text. Characters that XML can't hold become question marks."""
    failures, errors = sum(bool(c.failure) for c in cases), sum(bool(c.error) for c in cases)
    counts = {"tests": str(len(cases)), "failures": str(failures), "errors": str(errors)}
    root = ElementTree.Element("testsuites", counts)
    own = ElementTree.SubElement(root, "testsuite", {"name": suite, **counts})
    for case in cases:
        attributes = {"classname": suite, "name": case.name, "time": f"{case.seconds:.3f}"}
        element = ElementTree.SubElement(own, "testcase", attributes)
        for word, text in (("failure", case.failure), ("error", case.error)):
            if text:
                plain = "".join(c if c.isprintable() or c == "\n" else "?" for c in text)
                ElementTree.SubElement(element, word, {"message": plain.splitlines()[0]}).text = plain
    ElementTree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"
