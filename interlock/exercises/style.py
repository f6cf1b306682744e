"""The look of questions, on the page and on paper."""

from __future__ import annotations

STYLE = """
.set { border-top: 2px solid #8a8a8a }
.set > summary { min-height: 44px }
.exercises { padding-left: 1.6rem }
.exercise { margin: 0 0 1.4rem; padding: 0.4rem 0 0; border-top: 1px solid #8a8a8a }
.exercise .choices { list-style: none; padding: 0 }
.exercise .choices li { display: flex; flex-wrap: wrap; gap: 0.2rem 1.2rem; align-items: center; min-height: 44px }
.exercise .choices li > div { display: flex; flex-wrap: wrap; gap: 0.2rem 1.2rem; align-items: center }
.exercise .choices b { min-width: 11rem }
.exercise label { display: inline-flex; gap: 0.5rem; align-items: center; min-height: 44px }
.exercise input { width: 22px; height: 22px; accent-color: #0b4f8a; flex: none }
.exercise summary { min-height: 44px; color: #0b4f8a }
@media (max-width: 30rem) { .exercise .choices b { flex: 1 0 100% } }
@media print { .exercise { break-inside: avoid } .exercise .choices li, .exercise label { min-height: 0 }
  .exercise input { width: 3mm; height: 3mm } }
"""

# The printed set: questions first, the answers on sheets of their own.
PAPER = """
.exercise .choices li { min-height: 0 }
.answers { break-before: page }
.line { border-bottom: 0.6pt solid #000; padding-top: 9mm; max-width: 120mm }
.tick { font-size: 1.2em }
"""
