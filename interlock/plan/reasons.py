"""Why a fault cannot be found by a sheet, in words, and whether that is proved."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.logic.compiled import compile_scheme
from interlock.logic.faultset import FaultSet
from interlock.logic.program import Program
from interlock.plan.hypotheses import doubt, off_text
from interlock.plan.merged_limits import merged
from interlock.plan.reach import touched
from interlock.plan.sheet import CannotFind
from interlock.plan.side_by_side import BUDGET, Effort, NotComparedError, SideBySide, obeyed_at_once
from interlock.plan.sights import sights
from interlock.plan.stimuli import Stimuli, look_scans
from interlock.plan.wrong import Slip, Wrong, usual, with_slips
from interlock.records import replace
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.units import time_text, value_text
from interlock.scheme.words import Mode, Part

_ELEMENT = (
    "a value in the place of the element says nothing of the element's own error: compare what it reads with a"
    " reference instrument beside it"
)
_EVENT = "an event that leaves nothing behind: there is no moment at which it could be looked for"
_ALIKE = (
    "whatever the installation is given, what each device and each line is told is worked out alike with it and"
    " without it; only while a device takes its time to obey could there be a difference, and nothing is certain then"
)
_BRIEFLY = (
    "whatever the installation is given, what each device and each line is told differs for no longer than {time}: less"
    " than it takes to look"
)
_IN_DOUBT = (
    "what is given between limits that lie closer together than the errors of sensor and bench may be read as beyond"
    " one of them; and as long as it is, "
)
FEW = 60  # zones for a sight at first: what takes few is proved with few
MANY = 4 * BUDGET  # and at last


class Reasons:
    """Reasons for one scheme. `zones`: how many may be looked at for proofs over all that an installation can be
    given, in all."""

    def __init__(self, stimuli: Stimuli, zones: int) -> None:
        self.effort = Effort(FEW, zones)
        self.stimuli, self.scheme = stimuli, at_once(stimuli.scheme)
        self.looked_at = sights(self.scheme)
        self._healthy: Program | None = None

    def why(self, name: str, wrong: Wrong | None) -> CannotFind:
        """Why what is of that name is not found; `wrong` None for what no test of this kind is made for."""
        if isinstance(wrong, Slip):
            return self._slip(wrong)
        assert wrong is not None, "a fault of the catalogue"
        modes = {single.mode for single in wrong.single()}
        if modes <= {Mode.DRIFTED, Mode.MISPLACED}:
            return CannotFind(name, _ELEMENT)
        if modes <= {Mode.POWER_CYCLED}:
            return CannotFind(name, _EVENT)
        faults = FaultSet.of(wrong.single())
        if not touched(self.healthy, compile_scheme(self.scheme, [wrong]), self.looked_at, faults):
            return CannotFind(name, self._alike(wrong))
        return self._over_all(wrong) or CannotFind(name, self._not_found(wrong), proved=False)

    @property
    def healthy(self) -> Program:
        """The scheme without a fault, its devices obeying at once."""
        if self._healthy is None:
            self._healthy = compile_scheme(self.scheme)
        return self._healthy

    def _alike(self, fault: Fault) -> str:
        single = fault.single()[0]
        if single.mode is Mode.SWAPPED and single.part is Part.OUTPUT:
            one, other = single.parts
            return (
                f"{one} and {other} are told the same in every situation, so that it makes no difference which is which"
            )
        if single.mode is Mode.IGNORED:
            paths = self.scheme.outputs[single.parts[0]].drives
            also = [o for path in paths for o in self.scheme.paths[path].outputs if o not in single.parts]
            behind = [self.scheme.paths[p].behind for p in paths if self.scheme.paths[p].behind]
            others = list(dict.fromkeys([*also, *behind]))
            if others:
                stop, it = ("stops", "it") if len(paths) == 1 else ("stop", "them")
                also_stop = "stops" if len(others) == 1 else "stop"
                return f"{_listed(paths)} {stop} all the same, because {_listed(others)} always {also_stop} {it} too"
        if single.mode is Mode.OMITTED:
            rule = single.parts[0]
            return f"nothing that can be seen depends on {rule} alone: whatever it stops, another rule stops too"
        return _ALIKE

    def _not_found(self, fault: Fault) -> str:
        single = fault.single()[0]
        if single.mode is Mode.OMITTED:
            return f"no test was found in which {single.parts[0]} alone makes a difference that lasts for a look"
        return "no test was found in which it makes a certain difference that lasts for a look"

    def _slip(self, slip: Slip) -> CannotFind:
        rule = self.stimuli.scheme.rules[slip.rule]
        if slip.of_limit:
            own = usual(rule, slip.setting)
            assert own is not None, "a slip is of a setting that the rule has"
            wide = doubt(self.stimuli, rule)
            if abs(own - slip.value) <= wide + 1:
                width = value_text(wide, self.stimuli.kind_of(rule), difference=True)
                return CannotFind(
                    slip.name,
                    f"the errors of the sensor and of the bench leave {width} in doubt, and it is off by no more than"
                    f" {off_text(self.stimuli, slip)}: no value is for certain between the two limits",
                )
        edited = compile_scheme(with_slips(self.scheme, [slip]))
        if not touched(self.healthy, edited, self.looked_at, FaultSet()):
            return CannotFind(slip.name, _ALIKE)
        return self._over_all(slip) or CannotFind(
            slip.name, "no test was found in which it makes a certain difference that lasts for a look", proved=False
        )

    def _over_all(self, wrong: Wrong) -> CannotFind | None:
        """The reason proved over all that an installation can be given, if there is one: as it is, or with limits as
        one between which nothing can be given for certain."""
        at_most = look_scans(self.scheme) - 1
        words = _BRIEFLY, _ALIKE
        try:
            for scheme, of in ((self.scheme, wrong), *merged(self.stimuli, self.scheme, wrong)):
                for each in (FEW, BUDGET, MANY):
                    self.effort.each = each
                    longest = SideBySide(scheme, of, self.effort).longest(at_most)
                    if longest.scans is not None:
                        says = words[longest.scans == 0].format(time=time_text(longest.scans * self.scheme.scan_us))
                        return CannotFind(wrong.name, says)
                    if longest.real:
                        break
                words = _IN_DOUBT + _BRIEFLY, _IN_DOUBT + _ALIKE
        except NotComparedError:
            pass
        return None


def at_once(scheme: Scheme) -> Scheme:
    """The scheme with devices that obey at once. What is certain to run or to be stopped is then told the same, so that
    two installations which are told alike are never seen to differ for certain."""
    return replace(scheme, outputs=obeyed_at_once(scheme.outputs))


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else ""
