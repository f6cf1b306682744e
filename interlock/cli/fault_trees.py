"""The fault trees of a study, as drawings."""

from __future__ import annotations

from interlock.cli.inject_words import tree_of
from interlock.draw.faulttree import fault_tree
from interlock.draw.page import Drawing
from interlock.faults.claim_chances import claim_chances
from interlock.faults.inject import Study
from interlock.scheme.model import Scheme

MISSION = 8760.0  # hours over which chances are worked out: a year


def fault_trees(scheme: Scheme, study: Study, mission: float = MISSION) -> list[Drawing]:
    """The tree of each claim that some set of faults violates, on as many sheets as it takes."""
    return [
        sheet
        for claim, found in zip(scheme.claims, study.cut_sets, strict=True)
        if found.minimal
        for sheet in fault_tree(scheme, tree_of(scheme, claim, found, claim_chances(scheme, claim, found, mission)))
    ]
