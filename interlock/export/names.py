"""Names of a scheme as identifiers of another language: valid, unique, and none of its own words."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

# C99 (6.4.1), what C11 and C23 added, C++ (ISO/IEC 14882:2020, 5.11 and 5.13 table 5), and macros of the headers used.
_C = """auto break case char const continue default do double else enum extern float for goto if inline int long
    register restrict return short signed sizeof static struct switch typedef union unsigned void volatile while
    alignas alignof atomic bool constexpr false nullptr static_assert thread_local true typeof typeof_unqual noreturn
    and and_eq asm bitand bitor catch char8_t char16_t char32_t class co_await co_return co_yield compl concept
    const_cast consteval constinit decltype delete dynamic_cast explicit export friend import module mutable namespace
    new noexcept not not_eq operator or or_eq private protected public reinterpret_cast requires static_cast template
    this throw try typeid typename using virtual wchar_t xor xor_eq
    errno main linux unix near far interrupt in out state kept"""
C_WORDS = frozenset(_C.split())
# IEC 61131-3:2013, table 4 and the standard functions and types that structured text of any dialect reserves.
_ST = """abs abstract acos action add and any array asin at atan begin bool by byte case class concat configuration
    constant continue cos ctd ctu ctud date delete dint div do dt dword else elsif end exit exp expt extends f_edge
    f_trig false final find for from function function_block ge get gt if implements in inout input insert int interface
    internal interval le left len limit lint ln log lreal lt lword max method mid min mod move mul mux namespace ne
    non_retain not null of on or output overlap overload override persistent pointer priority private program property
    protected public r_edge r_trig read_only read_write real ref reference region repeat replace resource retain return
    right rol ror rs sel set shl shr sin single sint sqrt sr step string struct sub super super_ t tan task then this
    time tod tof ton to tp transition true trunc type udint uint ulint union until usint using var var_access var_config
    var_external var_global var_in_out var_input var_inst var_output var_stat var_temp while with wstring word xor
    d dt l n p q s x y"""
ST_WORDS = frozenset(_ST.split())
LONGEST = 63  # significant characters of an internal name, C99 5.2.4.1


class Names:
    """Gives out identifiers, each once. `folded`: names that differ in case alone are one name (structured text)."""

    def __init__(self, words: Iterable[str], *, folded: bool = False) -> None:
        self._folded = folded
        self._taken = {self._key(word) for word in words}

    def _key(self, name: str) -> str:
        return name.lower() if self._folded else name

    def take(self, *parts: str, longest: int = LONGEST) -> str:
        """An identifier made of the parts, that none was given before."""
        stem = identifier("_".join(parts))[:longest].rstrip("_")
        name, number = stem, 1
        while self._key(name) in self._taken:
            number += 1
            end = f"_{number}"
            name = stem[: longest - len(end)].rstrip("_") + end
        self._taken.add(self._key(name))
        return name


def identifier(text: str) -> str:
    """Letters A to Z, digits and single underscores, a letter first: valid in C and in structured text.

    Accents are dropped; letters of other scripts become their code in hexadecimal, so that they stay told apart.
    """
    plain = unicodedata.normalize("NFKD", text)
    coded = "".join(
        c if c.isascii() else "" if unicodedata.combining(c) else f"_u{ord(c):x}_" if c.isalnum() else "_"
        for c in plain
    )
    name = re.sub(r"_+", "_", re.sub(r"[^A-Za-z0-9]", "_", coded)).strip("_")
    return name if name and not name[0].isdigit() else f"n_{name}".rstrip("_")
