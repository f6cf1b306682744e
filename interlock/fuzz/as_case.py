"""A violation as a case of the scheme: it fails as long as the violation is there, and passes once it is mended.

A case gives readings and lines, not truth, and a person's resets as presses. Where that can't bring the same about it
is no case, and None comes back: every case is run before it is shown.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from interlock.fuzz.found import Found
from interlock.fuzz.judge import Resets, engine_for, resets_of
from interlock.fuzz.script import Script, Step, stretches_of
from interlock.logic.cases import run_case
from interlock.records import replace
from interlock.scheme.model import Case, Claim, Expectation, Fault, Scheme, Setting
from interlock.scheme.model import Step as CaseStep
from interlock.scheme.units import time_text, value_text
from interlock.scheme.words import TWO_WORDS, LineForm, Must, Signal, State


@dataclass(frozen=True, slots=True)
class Part:
    """A stretch of the behaviour with the lines pressed at its first scan."""

    step: Step
    presses: tuple[str, ...] = ()


@dataclass(frozen=True)
class AsCase:
    """A case as a record of the model and as text for the section `cases:`."""

    case: Case
    text: str = field(compare=False)


def as_case(scheme: Scheme, found: Found) -> AsCase | None:
    """What was found as a case; None where it can't be one."""
    return case_of(scheme, found.claim, found.script, f"{found.claim.name}, found by fuzz")


def case_of(scheme: Scheme, claim: Claim, script: Script, name: str) -> AsCase | None:
    """A behaviour that violates a claim, as a case of that name; None where it can't be one."""
    parts = _parts(scheme, claim, script)
    if parts is None:
        return None
    case = Case(name, tuple(_steps(scheme, claim, script, parts)))
    failures = run_case(scheme, case).steps[-1].failures
    if not failures:
        return None
    return AsCase(case, _text(scheme, case))


def _parts(scheme: Scheme, claim: Claim, script: Script) -> list[Part] | None:
    """The behaviour cut where a person resets something. None where a reset is none of a button's."""
    resets = resets_of(claim)
    if resets is not Resets.AT_ONCE:
        return [Part(step) for step in script.steps]
    engine = engine_for(scheme, script.plan.installed, resets)
    parts: list[Part] = []
    for step in script.steps:
        at, cuts, done = 0, [], 0
        was = {name: machine.state for name, machine in engine.machines.items()}
        for _, lasted in stretches_of(engine, script.plan, step):
            now = {name: machine.state for name, machine in engine.machines.items()}
            reset = [n for n in now if was[n] is State.AWAITING_RESET and now[n] is State.CLEAR]
            if reset:
                cuts.append((done, tuple(dict.fromkeys(scheme.rules[n].reset_by for n in reset))))
            was, done = now, done + lasted
        pressed: tuple[str, ...] = ()
        for cut, lines in cuts:
            if any(not n or scheme.lines[n].form is not LineForm.EXTERNAL or step.lines[n] for n in lines):
                return None
            if cut > at:
                parts.append(Part(replace(step, scans=cut - at, cycles=step.cycles if at == 0 else ()), pressed))
            at, pressed = cut, lines
        parts.append(Part(replace(step, scans=step.scans - at, cycles=step.cycles if at == 0 else ()), pressed))
    return parts


def _steps(scheme: Scheme, claim: Claim, script: Script, parts: list[Part]) -> Iterator[CaseStep]:
    plan = script.plan
    named = {fault.name: fault for fault in plan.faults}
    sensors = _sensors(scheme, plan.faults)
    before: Step | None = None
    for number, part in enumerate(parts, 1):
        step = part.step
        readings = [
            Setting(Signal.SENSOR, name, step.readings[name])
            for name in sensors
            if before is None or before.readings[name] != step.readings[name]
        ]
        lines = [
            Setting(Signal.LINE, name, on)
            for name, on in step.lines.items()
            if on is not (before is not None and before.lines[name])
        ]
        faults = [named[name] for name in step.arisen if before is None or name not in before.arisen]
        if before is None:
            installed = [f for f in plan.faults if any(s in plan.installed for s in f.single())]
            faults = [*installed, *(f for f in faults if f not in installed)]
        faults += [f for unit in step.cycles if (f := scheme.fault(f"{unit}.power_cycled"))]
        last = number == len(parts)
        wanted = claim.must is Must.NEVER_STOPPED
        expects = (Expectation(Signal.PATH, claim.path, wanted),) if last else ()
        yield CaseStep((*readings, *lines), part.presses, tuple(faults), (), step.scans, expects)
        before = step


def _sensors(scheme: Scheme, faults: tuple[Fault, ...]) -> list[str]:
    """The sensors that some rule reads, and those that a fault exchanges for them."""
    read = {part for fault in faults for single in fault.single() for part in single.parts}
    for rule in scheme.rules.values():
        if rule.watches is Signal.SENSOR:
            read.add(rule.watched)
        elif rule.watches is Signal.READING:
            read.update(scheme.readings[rule.watched].sensors)
    return [name for name in scheme.sensors if name in read]


def _text(scheme: Scheme, case: Case) -> str:
    lines = [f'  "{case.name}":']
    for step in case.steps:
        parts = []
        if step.sets:
            parts.append("set: {" + ", ".join(f"{s.name}: {_value(scheme, s)}" for s in step.sets) + "}")
        if step.presses:
            parts.append(f"press: {_listed(step.presses)}")
        if step.faults:
            parts.append(f"fault: {_listed(tuple(f.name for f in step.faults))}")
        parts.append(f"for: {time_text(step.scans * scheme.scan_us)}")
        parts += [f"expect: {{{e.name}: {TWO_WORDS[Signal.PATH][not e.wanted]}}}" for e in step.expects]
        lines += [f"    {'- ' if i == 0 else '  '}{part}" for i, part in enumerate(parts)]
    return "\n".join(lines) + "\n"


def _listed(names: tuple[str, ...]) -> str:
    return names[0] if len(names) == 1 else "[" + ", ".join(names) + "]"


def _value(scheme: Scheme, setting: Setting) -> str:
    if setting.signal is Signal.LINE:
        return TWO_WORDS[Signal.LINE][not setting.value]
    return value_text(setting.value, scheme.sensors[setting.name].kind)
