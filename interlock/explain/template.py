"""What a sentence is made from: one class, so that a catalogue holds the templates of every module of words."""

from __future__ import annotations

from enum import Enum


class Template(Enum):
    """A template's English text; its fields in braces are names, values, or other phrases."""
