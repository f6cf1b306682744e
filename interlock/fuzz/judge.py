"""The fuzzer's own judge of a claim: it counts consecutive scans, and knows nothing of how the proof does it.

By the reference, section Requirements: n is the longest run of consecutive scans in which all conditions hold and the
path may be running (may be stopped). The exposure is n + 1 scans for a never_running claim that looks at a quantity or
an external line, since truth can turn just after a scan; else n scans.
"""

from __future__ import annotations

from collections.abc import Mapping

from interlock.logic.readings import compare
from interlock.logic.scan import Engine, Seen
from interlock.scheme.model import Claim, Condition, Fault, Limit, Rule, Scheme
from interlock.scheme.words import LineForm, Must, Signal, Word


class Resets(Word):
    """Who gives a manual reset."""

    LINE = "line"  # whoever moves the line
    AT_ONCE = "at_once"  # a person, at the first scan that accepts it
    NEVER = "never"


def resets_of(claim: Claim) -> Resets:
    """What a claim assumes about manual resets."""
    if claim.must is Must.NEVER_RUNNING:
        return Resets.LINE
    return Resets.AT_ONCE if claim.attended else Resets.NEVER


class _NeverReset(Engine):
    """An engine with nobody there to reset anything, whatever the reset lines do."""

    def _reset_edge(self, rule: Rule) -> bool:  # noqa: ARG002
        return False


def engine_for(scheme: Scheme, installed: frozenset[Fault], resets: Resets) -> Engine:
    """The readable engine under what a claim assumes about resets."""
    match resets:
        case Resets.LINE:
            return Engine(scheme, installed)
        case Resets.AT_ONCE:
            return Engine(scheme, installed, attended=True)
        case Resets.NEVER:
            return _NeverReset(scheme, installed)


class Judge:
    """One claim over one behaviour. Feed it every scan in order."""

    def __init__(self, scheme: Scheme, claim: Claim) -> None:
        self.claim = claim
        self.scan_us = scheme.scan_us
        self.forbids_running = claim.must is Must.NEVER_RUNNING
        looked_at = [*claim.conditions, *(c for alternative in claim.any_of for c in alternative)]
        on_truth = any(
            c.signal is Signal.QUANTITY or (c.signal is Signal.LINE and scheme.lines[c.name].form is LineForm.EXTERNAL)
            for c in looked_at
        )
        self.added = int(self.forbids_running and on_truth)
        self.run = 0  # scans of the run under way
        self.longest = 0
        self.held = False  # the conditions have held
        self.could = False  # the path could do what the claim is about

    def see(self, truth: Mapping[str, int], seen: Seen, scans: int) -> None:
        """`scans` scans, all alike but for timers."""
        may = (seen.may_run if self.forbids_running else seen.may_stop)[self.claim.path]
        met = all(self._met(c, truth, seen) for c in self.claim.conditions)
        if met and self.claim.any_of:
            met = any(all(self._met(c, truth, seen) for c in joint) for joint in self.claim.any_of)
        self.held |= met
        self.could |= may
        self.run = self.run + scans if met and may else 0
        self.longest = max(self.longest, self.run)

    def _met(self, condition: Condition, truth: Mapping[str, int], seen: Seen) -> bool:
        test = condition.test
        match condition.signal:
            case Signal.QUANTITY:
                assert isinstance(test, Limit)
                return compare(truth[condition.name], test)
            case Signal.LINE:
                return seen.lines[condition.name] is test  # what is really on it, not what a unit reads
            case Signal.PATH:
                return seen.may_run[condition.name] if test is True else seen.may_stop[condition.name]
            case Signal.RULE | Signal.SENSOR | Signal.READING:
                raise AssertionError(f"a claim looks at no {condition.signal}")

    @property
    def exposure_us(self) -> int | None:
        """The exposure so far, in microseconds; None while the conditions never held or the path could not do it."""
        return (self.longest + self.added) * self.scan_us if self.held and self.could else None

    @property
    def violated(self) -> bool:
        """The exposure so far is beyond the time allowed."""
        return self.exposure_us is not None and self.exposure_us > self.claim.longer_than.us

    @property
    def missing(self) -> int:
        """How many more scans the run under way would take to violate the claim."""
        return max(1, self.claim.longer_than.us // self.scan_us + 1 - self.added - self.run)
