"""What holds of a circuit once it is built: free rules that one input can stand for, and in which directions each
signal moves the bad scan."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from interlock.proof.components import ACT, Abstraction, FreeUse, Kind, Layout, Settled, Statement
from interlock.proof.expr import FALSE, Expr, signs
from interlock.proof.index import Index
from interlock.scheme.model import Scheme


class Signed:
    """The part of a circuit that looks at what was built."""

    index: Index
    scheme: Scheme
    abstraction: Abstraction
    layout: Layout
    statements: list[Statement]
    nexts: dict[int, Expr]
    free: list[FreeUse]
    settling: dict[int, tuple[str, Settled]]
    phase: str
    bad: Expr
    sign: dict[str, set[int]] | None  # None before signs are taken, which takes all circuits of a layout
    _moves: dict[str, list[tuple[str, int]]]  # of signals whose directions were taken, what moves them

    def _unite_free(self) -> None:
        """Free rules that act in the same places and nowhere else need one input between them (`united`)."""
        uses: dict[str, list[FreeUse]] = {}
        for use in self.free:
            uses.setdefault(use.name, []).append(use)
        first: dict[object, str] = {}
        self.alias: dict[str, str] = {}
        self.united: dict[str, list[str]] = {}  # input: the rules it stands for, where they can be followed as a group
        for name, listed in uses.items():
            places = frozenset(u.use for u in listed)
            plain = all(not self.scheme.rules[u.rule].only_while for u in listed)
            modal = any(self.index.modal(u.rule) for u in listed)
            if ACT in places or not plain or modal or any(self.scheme.rules[u.rule].overridden_by for u in listed):
                continue
            known = first.setdefault(places, name)
            rules = list(dict.fromkeys(u.rule for u in listed))
            if all(self.abstraction.whole(r) for r in rules):
                self.united.setdefault(known, []).extend(rules)
            if known != name:
                self.alias[name] = known

    def take_signs(self, seeds: Iterable[tuple[str, int]] = ()) -> None:
        """For each signal, the directions in which it moves the bad scan; both where it helps and hurts.

        `seeds`: what other circuits know of the components.
        """
        known_signs = self.sign = {} if self.sign is None else self.sign
        by_name = {s.name: s for s in self.statements}
        moves = self._moves
        todo = self._aliased(signs(self.bad))
        todo += [(self.phase, s) for s in (1, -1) if self.phase]
        todo += seeds
        while todo:
            name, sign = todo.pop()
            known = known_signs.setdefault(name, set())
            if sign in known:
                continue
            known.add(sign)
            if name not in moves:
                moves[name] = self._moved_by(name, by_name)
            todo += moves[name] if sign > 0 else [(n, -s) for n, s in moves[name]]

    def _moved_by(self, name: str, by_name: Mapping[str, Statement]) -> list[tuple[str, int]]:
        """What moves a signal, and in which direction: +1 with it, -1 against it, both where it may be either."""
        found: list[tuple[str, int]] = []
        if name[0] == "p" and int(name[1:]) in self.nexts:
            found = signs(self.nexts[int(name[1:])])
        elif name in by_name:
            statement = by_name[name]
            found = [(statement.code, 1)] if statement.code else signs(statement.expr)
            if statement.comp >= 0 and self._two_sided(statement.comp):
                found = [(n, s) for n, sign in signs(statement.expr) for s in (sign, -sign)]
            for e in (statement.clears, statement.edge):
                if e != FALSE:
                    found += signs(e, -1)
            if statement.cycle != FALSE:
                found += [(n, s) for n, _ in signs(statement.cycle) for s in (1, -1)]
        return self._aliased(found)

    def _aliased(self, found: list[tuple[str, int]]) -> list[tuple[str, int]]:
        return [(self.alias.get(n, n), s) for n, s in found] if self.alias else found

    def _two_sided(self, comp: int) -> bool:
        """Whether what moves the component may help as well as hurt, whatever the component does."""
        settling = self.settling.get(comp)
        return self.layout.comps[comp].kind is Kind.OVERRIDE or (settling is not None and settling[1].least > 0)

    def one_sign(self, name: str) -> int:
        """+1 or -1 where the signal moves the bad scan in one direction only; 0 where in both; 2 where in none."""
        assert self.sign is not None, "signs are asked for before they are taken"
        known = self.sign.get(self.alias.get(name, name), set())
        return 2 if not known else 0 if len(known) > 1 else next(iter(known))
