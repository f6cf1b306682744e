"""Changes to a scheme's text that leave the rest of it as it was written: comments, order, layout.

What is inserted goes by the marks of PyYAML's composed tree. A change that finds no place raises EditError; whether
the result is a scheme is for the reader to say (`read.loads`).
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from difflib import SequenceMatcher, unified_diff

import yaml

from interlock.scheme.source import LINE_BREAK

WIDEST = 120  # characters of a line that is written here

_Loader: type = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_NOT_IN_BRACES = re.compile(r"[,\[\]{}\"\n]|: |:\Z| #|\A[\s!&*|>'%@`#?]|\A- |\s\Z|\A\Z")


class EditError(Exception):
    """The change has no place in this text, in words."""


class SchemeText:
    """A scheme's text, which the reader has accepted, and its tree with the places of every node."""

    def __init__(self, text: str) -> None:
        self.text = text
        root = yaml.compose(text, Loader=_Loader)
        if not isinstance(root, yaml.MappingNode):
            raise EditError("the text holds no mapping")
        self.root = root
        self._shared = frozenset(_shared(root))
        found = LINE_BREAK.search(text)
        self.line_break = found[0] if found else "\n"

    def find(self, *path: str | int) -> yaml.Node | None:
        """The node at the end of these keys and numbers; None where there is none.

        Raises EditError where an alias leads to it too: a change there would be one in several places.
        """
        node: yaml.Node | None = self.root
        for step in path:
            node = _step(node, step)
            if node is None:
                return None
            if id(node) in self._shared:
                raise EditError(f"`{step}` stands in several places by an alias")
        return node

    def at(self, *path: str | int) -> yaml.Node:
        """The node at the end of these keys and numbers. Raises EditError where there is none."""
        node = self.find(*path)
        if node is None:
            raise EditError(f"the scheme has no `{'.'.join(map(str, path))}`")
        return node

    def fields(self, *path: str | int) -> dict[str, str]:
        """The keys of a mapping, each with its value as it can be written in braces."""
        return {key.value: written(value) for key, value in _mapping(self.at(*path)).value}

    def edit(self) -> Edit:
        """A change to begin."""
        return Edit(self)


class Edit:
    """A change being put together; `text` is the whole text with it."""

    def __init__(self, source: SchemeText) -> None:
        self.source = source
        self._splices: list[tuple[int, int, str]] = []  # from, to, what stands there instead

    @property
    def text(self) -> str:
        """The text with all that was asked for; what was asked for at the same place stands in that order."""
        parts, done = [], 0
        for start, end, new in sorted(self._splices, key=lambda splice: splice[:2]):
            parts += [self.source.text[done:start], new.replace("\n", self.source.line_break)]
            done = end
        return "".join([*parts, self.source.text[done:]])

    def replace(self, path: tuple[str | int, ...], text: str) -> Edit:
        """Another value in the place of a scalar."""
        node = self.source.at(*path)
        if not isinstance(node, yaml.ScalarNode) or node.style in ("|", ">"):
            raise EditError(f"`{'.'.join(map(str, path))}` is no single word")
        return self._splice(_start(node), _end(node), text)

    def add_key(self, path: tuple[str | int, ...], key: str, value: str) -> Edit:
        """One more key at the end of a mapping."""
        node = _mapping(self.source.at(*path))
        if any(known.value == key for known, _ in node.value):
            raise EditError(f"`{'.'.join(map(str, path))}` has `{key}` already")
        return self._append(node, f"{key}: {value}")

    def add_name(self, path: tuple[str | int, ...], name: str) -> Edit:
        """One more name in a list; a name that stands alone becomes a list."""
        node = self.source.at(*path)
        if isinstance(node, yaml.ScalarNode):
            return self.replace(path, f"[{written(node)}, {name}]")
        if not isinstance(node, yaml.SequenceNode):
            raise EditError(f"`{'.'.join(map(str, path))}` is no list")
        return self._append(node, name if node.flow_style else f"- {name}")

    def add_entries(
        self, section: str, entries: Mapping[str, Mapping[str, str]], *, after: str = "", near: str = ""
    ) -> Edit:
        """More entries of a section, each with its keys, written as their neighbour is: in braces, or line by line.

        `after`: the entry behind which they stand; the last one where that is "". A section that is not there is
        written behind the section `near`, at the end of the file where that is "".
        """
        found = self.source.find(section)
        if found is None:
            return self._add_section(section, entries, near)
        node = _mapping(found)
        known = {key.value: (key, value) for key, value in node.value}
        if not known or (after and after not in known):
            raise EditError(f"`{section}` has no `{after}`" if after else f"`{section}` is empty")
        key, value = known[after] if after else node.value[-1]
        for name, fields in entries.items():
            if node.flow_style:
                self._splice(_end(value), _end(value), f", {name}: {{{_listed(fields)}}}")
            else:
                self._new_line(_end(value), _entry(key.start_mark.column, _column_of_keys(value), name, fields))
        return self

    # --- places

    def _add_section(self, section: str, entries: Mapping[str, Mapping[str, str]], near: str) -> Edit:
        root = self.source.root
        if root.flow_style:
            raise EditError("the whole scheme is written in braces")
        known = {key.value: value for key, value in root.value}
        place = _end(known[near]) if near in known else len(self.source.text)
        lines = [_entry(2, None, name, fields) for name, fields in entries.items()]
        return self._new_line(place, "\n".join([f"\n{section}:", *lines]))

    def _append(self, node: yaml.CollectionNode, item: str) -> Edit:
        """One more key or item at the end of a mapping or list."""
        if not node.value:
            place = _start(node) + 1
            return self._splice(place, place, item)
        last = _last(node)
        place = _end(last)
        if node.flow_style:
            first = node.value[0][0] if isinstance(node, yaml.MappingNode) else node.value[0]
            column = first.start_mark.column
            width = last.end_mark.column + _line_end(self.source.text, place) - place
            gap = " " if width + len(item) + 2 <= WIDEST else "\n" + " " * column
            return self._splice(place, place, f",{gap}{item}")
        return self._new_line(place, " " * node.start_mark.column + item)

    def _new_line(self, place: int, line: str) -> Edit:
        """A line of its own behind the one on which `place` stands, and behind that one's comment."""
        text = self.source.text
        end = _line_end(text, len(text[:place].rstrip()))  # a folded text's own end is where the next line begins
        return self._splice(end, end, "\n" + line)

    def _splice(self, start: int, end: int, text: str) -> Edit:
        self._splices.append((start, end, text))
        return self


def diff(before: str, after: str, name: str, around: int = 1) -> str:
    """The lines that differ as a unified diff, with so many lines around them."""
    lines = unified_diff(before.splitlines(), after.splitlines(), name, name, n=around, lineterm="")
    return "".join(f"{line}\n" for line in lines)


def changed_lines(before: str, after: str) -> list[tuple[int, str]]:
    """The lines that differ, each as in a diff with its sign, and the number it has after the change (of one that went,
    the number it had)."""
    found: list[tuple[int, str]] = []
    old, new = before.splitlines(), after.splitlines()
    for kind, i, i_end, j, j_end in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if kind != "equal":
            found += [(n + 1, f"-{old[n]}") for n in range(i, i_end)]
            found += [(n + 1, f"+{new[n]}") for n in range(j, j_end)]
    return found


def quoted(text: str) -> str:
    """A text as it can be written in braces: in double quotes where it needs them."""
    plain = text.isprintable() and not _NOT_IN_BRACES.search(text)
    return text if plain else json.dumps(text, ensure_ascii=not text.isprintable())


def written(node: yaml.Node) -> str:
    """A node's value as it can be written in braces on one line."""
    match node:
        case yaml.MappingNode():
            return f"{{{_listed({key.value: written(value) for key, value in node.value})}}}"
        case yaml.SequenceNode():
            return f"[{', '.join(written(item) for item in node.value)}]"
    assert isinstance(node, yaml.ScalarNode)
    plain = node.style is None or node.style == ""
    return quoted(node.value) if plain else json.dumps(node.value, ensure_ascii=not node.value.isprintable())


# --- nodes and their places


def _step(node: yaml.Node | None, step: str | int) -> yaml.Node | None:
    if isinstance(node, yaml.MappingNode):
        return next((value for key, value in node.value if key.value == step), None)
    if isinstance(node, yaml.SequenceNode) and isinstance(step, int) and step < len(node.value):
        found = node.value[step]
        assert isinstance(found, yaml.Node)
        return found
    return None


def _shared(root: yaml.Node) -> Iterator[int]:
    """The nodes that more than one place leads to."""
    seen: set[int] = set()
    waiting: list[yaml.Node] = [root]
    while waiting:
        node = waiting.pop()
        if id(node) in seen:
            yield id(node)
            continue
        seen.add(id(node))
        if isinstance(node, yaml.MappingNode):
            waiting += [part for entry in node.value for part in entry]
        elif isinstance(node, yaml.SequenceNode):
            waiting += node.value


def _mapping(node: yaml.Node) -> yaml.MappingNode:
    if not isinstance(node, yaml.MappingNode):
        raise EditError("a mapping was expected")
    return node


def _start(node: yaml.Node) -> int:
    return int(node.start_mark.index)


def _end(node: yaml.Node) -> int:
    """Where what is written of a node ends. A block's own end mark stands before whatever follows it."""
    if isinstance(node, yaml.CollectionNode) and not node.flow_style and node.value:
        return _end(_last(node))
    return int(node.end_mark.index)


def _last(node: yaml.CollectionNode) -> yaml.Node:
    last = node.value[-1][1] if isinstance(node, yaml.MappingNode) else node.value[-1]
    assert isinstance(last, yaml.Node)
    if _start(last) < _start(node):
        raise EditError("what stands last is an alias")
    return last


def _line_end(text: str, place: int) -> int:
    """The end of the line on which a place stands, before its line break."""
    found = LINE_BREAK.search(text, place)
    return found.start() if found else len(text)


# --- what is written


def _listed(fields: Mapping[str, str]) -> str:
    return ", ".join(f"{key}: {value}" for key, value in fields.items())


def _entry(indent: int, inner: int | None, name: str, fields: Mapping[str, str]) -> str:
    """An entry: its keys one a line at the column `inner`, or in braces, with breaks where a line would be too long."""
    if inner is not None:
        keys = (" " * inner + f"{key}: {value}" for key, value in fields.items())
        return "\n".join([" " * indent + f"{name}:", *keys])
    head = " " * indent + f"{name}: {{"
    lines = [head]
    for number, (key, value) in enumerate(fields.items(), 1):
        item = f"{key}: {value}" + ("," if number < len(fields) else "}")
        if lines[-1] == head:
            lines[-1] += item
        elif len(lines[-1]) + 1 + len(item) <= WIDEST:
            lines[-1] += f" {item}"
        else:
            lines.append(" " * len(head) + item)
    return "\n".join(lines)


def _column_of_keys(value: yaml.Node) -> int | None:
    """The column of the keys of an entry that is written line by line; None for any other."""
    if not isinstance(value, yaml.MappingNode) or value.flow_style or not value.value:
        return None
    return int(value.value[0][0].start_mark.column)
