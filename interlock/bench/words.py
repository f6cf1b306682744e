"""The bench's own words: a catalogue's texts by name, with fields in braces. The handbook's catalogue holds them."""

from __future__ import annotations

from collections.abc import Mapping

Words = Mapping[str, str]
