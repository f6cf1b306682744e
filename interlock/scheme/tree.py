"""YAML text into a tree of nodes that keep their places. Every scalar stays the word that was written.

PyYAML's parser gives the events; the tree is built here because places, duplicate keys, the commas that YAML takes for
separators, and limits on depth and size all need the events themselves. Nothing is ever constructed or executed.
"""

from __future__ import annotations

from typing import Protocol

import yaml
from msgspec import Struct, field

from interlock.scheme.findings import Finding, SchemeError
from interlock.scheme.source import Place, Source

DEEPEST = 24
MOST_NODES = 400_000

_Loader: type = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class Scalar(Struct, frozen=True):
    """A word, number or text. `plain`: written without quotes; `offsets`: characters stand where the text says."""

    text: str
    place: Place
    plain: bool = True
    offsets: bool = True

    def part(self, start: int, length: int) -> Place:
        """The place of a part of the text; of the whole where it does not stand letter by letter on one line."""
        if not self.offsets:
            return self.place
        return self.place.part(start + (0 if self.plain else 1), length)


class Entry(Struct, frozen=True):
    """One key of a mapping and its node."""

    key: Scalar
    value: Node


class MappingNode(Struct):
    """A mapping, in the file's order."""

    place: Place
    flow: bool
    entries: list[Entry] = field(default_factory=list)
    weight: int = 1

    def get(self, key: str) -> Node | None:
        """The node under that key, or None."""
        for entry in self.entries:
            if entry.key.text == key:
                return entry.value
        return None


class SequenceNode(Struct):
    """A list."""

    place: Place
    flow: bool
    items: list[Node] = field(default_factory=list)
    weight: int = 1


Node = Scalar | MappingNode | SequenceNode


def parse_tree(source: Source) -> MappingNode:
    """The file's one mapping. Raises SchemeError with every fault of its YAML."""
    builder = _Builder()
    try:
        for event in yaml.parse(source.text, Loader=_Loader):
            if not builder.take(event):
                break
    except yaml.MarkedYAMLError as error:
        builder.findings.append(_syntax(error))
    except yaml.reader.ReaderError as error:
        builder.findings.append(_bad_character(error, source))
    except (UnicodeError, OverflowError, MemoryError) as error:
        builder.findings.append(Finding("yaml-syntax", f"the text can't be read as YAML: {error}", Place(1, 1)))
    if builder.findings:
        raise SchemeError(builder.findings)
    root = builder.root
    if root is None:
        raise SchemeError(
            [
                Finding(
                    "empty-file",
                    "the file holds no scheme",
                    Place(1, 1),
                    "`interlock new FILE` writes one to start from",
                )
            ]
        )
    if not isinstance(root, MappingNode):
        raise SchemeError(
            [
                Finding(
                    "not-a-mapping",
                    "a scheme is a mapping of sections, this file holds " + kind_of(root),
                    root.place,
                    "start with `scheme: TITLE` on a line of its own",
                )
            ]
        )
    return root


def kind_of(node: Node) -> str:
    """What a node is, in words, for messages."""
    match node:
        case Scalar(text=""):
            return "nothing"
        case Scalar(text=text):
            return f"`{shortened(text)}`"
        case MappingNode():
            return "a mapping"
        case SequenceNode():
            return "a list"


def shortened(text: str, most: int = 60) -> str:
    """A text fit for a message: one line, no control characters, at most `most` characters."""
    line = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in " ".join(text.split()))
    return line if len(line) <= most else line[: most - 1] + "…"


class _Mark(Protocol):
    """Where an event stands, lines and columns from 0; the two parsers have a class each."""

    @property
    def line(self) -> int: ...
    @property
    def column(self) -> int: ...


def _mark(mark: _Mark | None) -> Place:
    return Place(mark.line + 1, mark.column + 1) if mark else Place(1, 1)


def _syntax(error: yaml.MarkedYAMLError) -> Finding:
    place = _mark(error.problem_mark or error.context_mark)
    problem = error.problem or "not YAML"
    also: tuple[tuple[Place, str], ...] = ()
    if error.context and error.context_mark:
        also = ((_mark(error.context_mark), error.context),)
    hint = "check indentation, brackets and quotes; a text with `: `, `,` or `#` in it needs quotes"
    if "\\t" in problem or "tab" in problem:
        hint = "indent with spaces, not with tabs"
    return Finding("yaml-syntax", f"not valid YAML: {shortened(problem, 160)}", place, hint, also)


def _bad_character(error: yaml.reader.ReaderError, source: Source) -> Finding:
    position = error.position if isinstance(error.position, int) else 0
    before = source.text[:position]
    line = before.count("\n") + 1
    column = position - (before.rfind("\n") + 1) + 1
    character = error.character if isinstance(error.character, int) else 0
    return Finding(
        "yaml-syntax", f"the character U+{character:04X} may not stand in YAML", Place(line, column), "remove it"
    )


class _Builder:
    """Takes events one by one; `root` is the finished tree."""

    def __init__(self) -> None:
        self.root: Node | None = None
        self.findings: list[Finding] = []
        self._stack: list[MappingNode | SequenceNode] = []
        self._keys: list[Scalar | None] = []  # the key that waits for its value, per open mapping
        self._seen: list[dict[str, Place]] = []
        self._anchors: dict[str, Node | None] = {}
        self._anchor_of: list[str | None] = []
        self._total = 0
        self._documents = 0

    def take(self, event: yaml.Event) -> bool:
        """One event; False when reading must stop (too deep, too large)."""
        match event:
            case yaml.ScalarEvent():
                return self._scalar(event)
            case yaml.MappingStartEvent() | yaml.SequenceStartEvent():
                return self._open(event)
            case yaml.MappingEndEvent() | yaml.SequenceEndEvent():
                return self._close()
            case yaml.AliasEvent():
                return self._alias(event)
            case yaml.DocumentStartEvent():
                return self._document(event)
            case _:
                return True

    def _document(self, event: yaml.DocumentStartEvent) -> bool:
        self._documents += 1
        if self._documents > 1:
            self._find("several-documents", "a second document begins here", event, "one file holds one scheme")
            return False
        return True

    def _scalar(self, event: yaml.ScalarEvent) -> bool:
        self._refuse_tag(event)
        start, end = event.start_mark, event.end_mark
        assert start is not None
        assert end is not None
        plain = event.style is None or event.style == ""
        width = end.column - start.column if end.line == start.line else 1
        exact = end.line == start.line and event.style not in ("|", ">")
        exact = exact and width == len(event.value) + (0 if plain else 2)
        node = Scalar(event.value, Place(start.line + 1, start.column + 1, max(1, width)), plain, exact)
        return self._put(node, event.anchor)

    def _open(self, event: yaml.MappingStartEvent | yaml.SequenceStartEvent) -> bool:
        self._refuse_tag(event)
        place = _mark(event.start_mark)
        if len(self._stack) >= DEEPEST:
            self._find("too-deep", f"more than {DEEPEST} levels of nesting", event, "no scheme needs so many levels")
            return False
        node: MappingNode | SequenceNode
        if isinstance(event, yaml.MappingStartEvent):
            node = MappingNode(place, bool(event.flow_style))
        else:
            node = SequenceNode(place, bool(event.flow_style))
        if event.anchor:
            self._anchors[event.anchor] = None  # open: an alias to it here would contain itself
        self._stack.append(node)
        self._keys.append(None)
        self._seen.append({})
        self._anchor_of.append(event.anchor)
        return True

    def _close(self) -> bool:
        node = self._stack.pop()
        self._keys.pop()
        self._seen.pop()
        anchor = self._anchor_of.pop()
        return self._put(node, anchor)

    def _alias(self, event: yaml.AliasEvent) -> bool:
        name = event.anchor
        if name not in self._anchors:
            self._find("alias-unknown", f"`*{name}` names no anchor", event, f"write `&{name}` before the first use")
            return self._put(Scalar("", _mark(event.start_mark)), None)
        node = self._anchors[name]
        if node is None:
            self._find("alias-loop", f"`*{name}` would contain itself", event, "write the value out")
            return False
        return self._put(node, None)

    def _put(self, node: Node, anchor: str | None) -> bool:
        weight = 1 if isinstance(node, Scalar) else node.weight
        self._total += 1
        if weight > MOST_NODES or self._total > MOST_NODES:
            self.findings.append(
                Finding("too-large", f"more than {MOST_NODES:,} values", node.place, "no scheme needs so many")
            )
            return False
        if anchor:
            self._anchors[anchor] = node
        if not self._stack:
            self.root = node
            return True
        parent = self._stack[-1]
        parent.weight += weight
        if isinstance(parent, SequenceNode):
            parent.items.append(node)
        elif self._keys[-1] is None:
            self._keys[-1] = self._key(node, parent)
        else:
            self._entry(parent, self._keys[-1], node)
            self._keys[-1] = None
        return True

    def _key(self, node: Node, parent: MappingNode) -> Scalar:
        if not isinstance(node, Scalar):
            what = kind_of(node)
            hint = "a key is one word"
            if parent.flow:
                hint = "in braces, write `KEY: VALUE`, separated by commas"
            self.findings.append(Finding("key-not-a-word", f"{what} stands where a key belongs", node.place, hint))
            return Scalar("", node.place)
        return node

    def _entry(self, parent: MappingNode, key: Scalar, value: Node) -> None:
        if not key.text and key.plain and not isinstance(value, Scalar):
            return  # already reported as a key that is no word
        if parent.flow and key.plain and value == Scalar("", value.place) and _follows_key(key, value):
            before = parent.entries[-1] if parent.entries else None
            where = f" of `{before.key.text}`" if before else ""
            self.findings.append(
                Finding(
                    "comma-splits-text",
                    f"`{shortened(key.text)}` stands alone: YAML took the comma before it for the end{where}",
                    key.place,
                    "put the whole text in quotes, or write `KEY: VALUE`"
                    if before
                    else "give it a value, or remove it",
                    ((before.key.place, "the text that the comma cut"),) if before else (),
                )
            )
            return
        if key.text in self._seen[-1]:
            self.findings.append(
                Finding(
                    "duplicate-key",
                    f"`{shortened(key.text)}` is given twice",
                    key.place,
                    "keep one of them",
                    ((self._seen[-1][key.text], "first given here"),),
                )
            )
            return
        self._seen[-1][key.text] = key.place
        parent.entries.append(Entry(key, value))

    def _refuse_tag(self, event: yaml.ScalarEvent | yaml.CollectionStartEvent) -> None:
        if event.tag not in (None, "!"):
            self._find("yaml-tag", f"the tag `{shortened(event.tag)}` is not for a scheme", event, "remove the tag")

    def _find(self, ident: str, message: str, event: yaml.Event, hint: str) -> None:
        self.findings.append(Finding(ident, message, _mark(event.start_mark), hint))


def _follows_key(key: Scalar, value: Node) -> bool:
    """Whether the empty value is one YAML supplied itself: it stands right where the key ends."""
    end = key.place.column + key.place.length
    return value.place.line != key.place.line or value.place.column <= end
