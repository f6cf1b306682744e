"""The tolerance classes of IEC 60751: kelvins at 0 degC, and kelvins more per degree away from it."""

from __future__ import annotations

from fractions import Fraction

CLASS_A = (Fraction("0.15"), Fraction("0.002"))
CLASS_B = (Fraction("0.3"), Fraction("0.005"))
