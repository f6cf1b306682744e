"""What of a fault tree stands on which sheet.

A sheet holds as many rows as A4 has room for. A gate with more inputs goes on under the same gate on the next sheet; a
part that is too large, or too deep, stands on a sheet of its own, where a triangle leads.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from interlock.draw.gates import PITCH
from interlock.draw.metrics import fitted, text_width, wrapped
from interlock.draw.page import FOOT, HEAD, a4
from interlock.draw.said import all_of, counted, said, titled
from interlock.draw.style import LINE_HEIGHT, MARGIN, NORMAL, SMALL
from interlock.faults.factor import factored
from interlock.faults.tree import Family, Gate, GateKind
from interlock.records import replace
from interlock.scheme.words import Word

NAME, WIDE_NAME = 150.0, 190.0  # widest column of names, in a deep tree and in a shallow one
LEAST_NAME = 112.0  # room for `part AB on sheet 10`
LINES = 3  # of words beside a name; what is cut ends in an ellipsis
LEAST_ROW = 15.0
MOST_SETS = 2000  # looked at for drawing: some hundred rows fit the sheets
DEEPEST = 5  # gates in a row on one sheet
BOX = 130.0  # of the claim
GAP = 8.0


class Mark(Word):
    """The symbol at the end of a row."""

    EVENT = "event"
    ELSEWHERE = "elsewhere"  # goes on on another sheet
    COUNTED = "counted"  # not drawn


@dataclass(frozen=True, slots=True)
class Row:
    """A line of text with its symbol, and how high it is."""

    mark: Mark
    names: tuple[str, ...]
    lines: tuple[str, ...]
    says: str

    @property
    def height(self) -> float:
        """With the room between it and the next."""
        return max(LEAST_ROW, max(len(self.names) * NORMAL, len(self.lines) * SMALL) * LINE_HEIGHT + 5)


@dataclass(slots=True)
class Node:
    """A gate on a sheet with what leads into it here."""

    gate: Gate
    inputs: list[Node | Row] = field(default_factory=list)
    elsewhere: bool = False  # to stand on a sheet of its own


@dataclass(slots=True)
class Page:
    """One sheet. `gate` has the inputs it shows, `whole` is the gate they belong to. `part`: the letter of the part it
    shows, "" for the whole claim; `after`: the sheet that leads here. `root`: what leads to its box, once filled."""

    number: int
    gate: Gate
    whole: Gate
    part: str = ""
    after: int = 0
    root: Node | Row | None = None


def rows_of(made: Node | Row | None) -> Iterator[Row]:
    """The rows of a sheet from top to bottom."""
    if isinstance(made, Row):
        yield made
    elif made is not None:
        for item in made.inputs:
            yield from rows_of(item)


def levels_of(made: Node | Row | None) -> int:
    """How many gates stand in a row at most."""
    return 1 + max((levels_of(i) for i in made.inputs), default=0) if isinstance(made, Node) else 0


def planned(claim: str, words: Mapping[str, str], sets: Family, most: int) -> list[Page]:
    """The sheets of a family, `most` at the most: where it would take more, the last sets are only counted."""
    fits, too_many = 1, min(len(sets), MOST_SETS)
    pages = _Plan(claim, words, sets[:too_many], sets[too_many:]).pages
    if len(pages) <= most:
        return pages
    while too_many - fits > 1:
        middle = (fits + too_many) // 2
        tried = _Plan(claim, words, sets[:middle], sets[middle:]).pages
        if len(tried) > most:
            too_many = middle
        else:
            fits = middle
    return _Plan(claim, words, sets[:fits], sets[fits:]).pages


class _Plan:
    def __init__(self, claim: str, words: Mapping[str, str], shown: Family, left: Family) -> None:
        tree = factored(claim, shown)
        self.gates, self.words = tree.gates, words
        width, height = a4()
        levels = min(DEEPEST, self._depth(claim))
        names = widest([name for name in tree.events() if name not in self.gates], NORMAL, bold=True)
        self.name_room = min(max(names, LEAST_NAME) + 0.5, NAME if levels > 3 else WIDE_NAME)
        self.words_room = width - 2 * MARGIN - BOX - self.name_room - levels * PITCH - 6 * GAP
        self.room = height - 2 * MARGIN - HEAD - FOOT - 12
        more = said("and {count} more", count=f"{len(left):,}")
        self.counted = self._row(Mark.COUNTED, more, _sizes(left)) if left else None
        self.pages: list[Page] = []
        self.letters = 0
        top = tree.gates[claim]
        while len(top.inputs) == 1 and top.inputs[0] in tree.gates and not left:
            top = tree.gates[top.inputs[0]]  # a gate with one input says nothing
        self._page(top, top)
        for page in self.pages:  # grows while it is gone through
            self._fill(page)

    def _depth(self, name: str) -> int:
        gate = self.gates.get(name)
        return 1 + max((self._depth(i) for i in gate.inputs), default=0) if gate else 0

    def _page(self, gate: Gate, whole: Gate, part: str = "", after: int = 0) -> Page:
        page = Page(len(self.pages) + 1, gate, whole, part, after)
        self.pages.append(page)
        return page

    def _fill(self, page: Page) -> None:
        inputs = self._inputs(page)
        if page.number == 1 and self.counted:
            inputs.append(self.counted)
        alone = len(inputs) == 1 and page.gate is page.whole
        page.root = (inputs[0] if alone else Node(page.whole, inputs)) if inputs else None  # one input needs no gate
        if page.root:
            page.root = _told_once(page.root, set())

    def _inputs(self, page: Page) -> list[Node | Row]:
        """Inputs of the page's gate as long as there is room for them and a line that says where it goes on."""
        names = page.gate.inputs
        splits = page.gate.kind is not GateKind.AT_LEAST
        left = self.room - (LEAST_ROW if page.number == 1 and self.counted else 0)
        found: list[Node | Row] = []
        for i, name in enumerate(names):
            room = left - (0 if i + 1 == len(names) else LEAST_ROW)
            made = self._made(name)
            if isinstance(made, Node) and _height(made) > (self.room if splits else room):
                _shrink(made, room)
            if _height(made) > room and splits and found:
                rest = len(names) - i
                following = self._page(replace(page.gate, inputs=names[i:]), page.whole, page.part, page.number)
                more = said("{count} more on sheet {sheet}", count=rest, sheet=following.number)
                found.append(self._row(Mark.ELSEWHERE, more, said("under the same gate")))
                break
            found.append(made)
            left -= _height(made)
        return self._settled(found, page)

    def _made(self, name: str) -> Node | Row:
        """A subtree as it would stand on one sheet."""
        gate = self.gates.get(name)
        if gate is None:
            return self._row(Mark.EVENT, name, self.words.get(name, ""))
        return Node(gate, [self._made(i) for i in gate.inputs])

    def _settled(self, inputs: list[Node | Row], page: Page, level: int = 1) -> list[Node | Row]:
        """The same, with what is to stand elsewhere, or is too deep, on sheets of its own."""
        found: list[Node | Row] = []
        for item in inputs:
            if isinstance(item, Row):
                found.append(item)
            elif item.elsewhere or level >= DEEPEST:
                found.append(self._elsewhere(item.gate.name, page))
            else:
                found.append(Node(item.gate, self._settled(item.inputs, page, level + 1)))
        return found

    def _elsewhere(self, name: str, page: Page) -> Row:
        """A row that leads to a sheet on which that part stands alone."""
        letter = _letters(self.letters)
        self.letters += 1
        gate = self.gates[name]
        made = self._page(gate, gate, letter, page.number)
        part = said("part {letter} on sheet {sheet}", letter=letter, sheet=made.number)
        return self._row(Mark.ELSEWHERE, part, _inside(gate))

    def _row(self, mark: Mark, name: str, words: str) -> Row:
        names = wrapped(name, self.name_room, NORMAL, bold=True)
        lines = wrapped(words, self.words_room, SMALL) if words.strip() else []
        if len(lines) > LINES:
            lines = [*lines[: LINES - 1], fitted(" ".join(lines[LINES - 1 :]), self.words_room, SMALL)]
        return Row(mark, tuple(names), tuple(lines), titled(name, words))


def _height(made: Node | Row) -> float:
    if isinstance(made, Row):
        return made.height
    return LEAST_ROW if made.elsewhere else sum(_height(i) for i in made.inputs)


def _shrink(made: Node, room: float) -> None:
    """Send as little of a subtree elsewhere as makes it fit; all of it where nothing less does."""
    while _height(made) > room:
        parts = list(_below(made))
        if not parts:
            made.elsewhere = True
            return
        over = _height(made) - room + LEAST_ROW
        enough = [node for node in parts if _height(node) >= over]
        chosen = min(enough, key=_height) if enough else max(parts, key=_height)
        chosen.elsewhere = True


def _below(made: Node) -> Iterator[Node]:
    """The gates below one, those that stand elsewhere left out."""
    for item in made.inputs:
        if isinstance(item, Node) and not item.elsewhere:
            yield item
            yield from _below(item)


def _told_once(made: Node | Row, told: set[str]) -> Node | Row:
    """The words of an event that stands on a sheet more than once: only where it stands first."""
    if isinstance(made, Node):
        return Node(made.gate, [_told_once(i, told) for i in made.inputs])
    if made.mark is not Mark.EVENT or not made.lines:
        return made
    if made.says in told:
        return replace(made, lines=(said("the same fault as above"),))
    told.add(made.says)
    return made


def _letters(number: int) -> str:
    letter = chr(ord("A") + number % 26)
    return letter if number < 26 else _letters(number // 26 - 1) + letter


def _sizes(sets: Sequence[Sequence[str]]) -> str:
    count: dict[int, int] = {}
    for one in sets:
        count[len(one)] = count.get(len(one), 0) + 1
    sizes = [
        counted(size, "{sets} of {count} fault", "{sets} of {count} faults", sets=f"{found:,}")
        for size, found in sorted(count.items())
    ]
    return said("sets that are not drawn: {sizes}", sizes=all_of(sizes))


def _inside(gate: Gate) -> str:
    match gate.kind:
        case GateKind.AND:
            if len(gate.inputs) <= 2:
                return said("two parts together")
            return said("all {count} together", count=len(gate.inputs))
        case GateKind.OR:
            return said("any one of {count}", count=len(gate.inputs))
        case GateKind.AT_LEAST:
            return said("{needs} of {count}", needs=gate.needs, count=len(gate.inputs))


def widest(texts: Sequence[str], size: float, *, bold: bool = False) -> float:
    """The width of the widest text."""
    return max((text_width(text, size, bold=bold) for text in texts), default=0.0)
