"""One broken wire, dead unit or lost reading that leaves a path running against a requirement."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from interlock.check.chains import condition_text, test_text
from interlock.check.facts import Facts
from interlock.check.guards import Defeat, Guard, Loss, Protection
from interlock.check.idents import Ident
from interlock.check.make import finding, listed
from interlock.check.wiring import closed, energised
from interlock.scheme.findings import Finding
from interlock.scheme.model import Claim, Output, Scheme
from interlock.scheme.source import Place
from interlock.scheme.words import Contact, LineForm, OnInvalid, Signal


@dataclass(frozen=True, slots=True)
class _Case:
    """A claim that a loss defeats, the protection by which to tell it, and the rules that still protect it."""

    claim: Claim
    protection: Protection
    left: tuple[str, ...]


def check(facts: Facts) -> Iterator[Finding]:
    """All findings of this family: one per part and kind of loss."""
    cases: dict[tuple[Ident, str], list[tuple[Defeat, _Case]]] = {}
    for claim, guard in facts.guards:
        for defeat in told_losses(facts.scheme, claim, guard):
            protection = next(p for p in guard.enough if defeat in p.defeats)
            left = tuple(p.rule for p in guard.enough if defeat not in p.defeats)
            case = (defeat, _Case(claim, protection, left))
            cases.setdefault((_IDENT[defeat.loss], defeat.part), []).append(case)
    for (ident, part), found in cases.items():
        yield _finding(facts.scheme, ident, part, found)


def _mixed(scheme: Scheme, claim: Claim) -> bool:
    """Whether a claim has conditions on the truth and beside them on what the scheme itself decides."""
    decided = [
        c.signal is Signal.PATH or (c.name in scheme.lines and scheme.lines[c.name].form.sent) for c in claim.conditions
    ]
    return any(decided) and not all(decided)


def told_losses(scheme: Scheme, claim: Claim, guard: Guard) -> list[Defeat]:
    """The losses to tell of a claim, in a settled order: those that leave it without protection, and any wire that,
    broken, takes one protection away unnoticed. A dead unit only where no single wire of its does as much.

    None where a proof has to judge: whether a loss that hides one condition leaves the others true, and whether a rule
    that limits the path's running time is enough.
    """
    if guard.limited or _mixed(scheme, claim):
        return []
    lost = guard.lost_to()
    wires = {d for p in guard.enough for d in p.defeats if d.loss in (Loss.WIRE, Loss.OVERRIDE_WIRE)}
    alone = {scheme.lines[d.part].unit for d in lost if d.loss in (Loss.WIRE, Loss.OVERRIDE_WIRE)}
    kept = {d for d in lost if d.loss is not Loss.UNIT or d.part not in alone} | wires
    order = list(Loss)
    return sorted(kept, key=lambda d: (order.index(d.loss), d.part))


_IDENT: dict[Loss, Ident] = {
    Loss.WIRE: Ident.BROKEN_WIRE_RUNS,
    Loss.OVERRIDE_WIRE: Ident.BROKEN_WIRE_OVERRIDES,
    Loss.MODE_WIRE: Ident.BROKEN_WIRE_HIDES_MODE,
    Loss.UNIT: Ident.DEAD_UNIT_RUNS,
    Loss.OPEN: Ident.LOST_READING_RUNS,
    Loss.SHORTED: Ident.LOST_READING_RUNS,
}
assert set(_IDENT) == set(Loss), set(Loss) - set(_IDENT)


def _finding(scheme: Scheme, ident: Ident, part: str, found: list[tuple[Defeat, _Case]]) -> Finding:
    found = sorted(found, key=lambda one: bool(one[1].left))  # those without protection first
    defeat, case = found[0]
    if not case.left:
        found = [one for one in found if not one[1].left]
    paths = listed(c.claim.path for _, c in found)
    requirements = listed(c.claim.requirement for _, c in found)
    losses = dict.fromkeys(d.loss for d, _ in found)
    place, message, mend = _WORDS[ident](scheme, part, [str(loss) for loss in losses])
    return finding(
        ident,
        part,
        place,
        f"{message} leaves {paths} running against {requirements}"
        if not case.left
        else f"{message} leaves {requirements} for {paths} to {listed(case.left)} alone",
        f"{chain_text(scheme, case.protection, defeat, case.claim)}. {mend}",
        tuple(
            (place, said)
            for place, said in (
                (case.claim.place, f"`{case.claim.requirement}`"),
                (scheme.rules[case.protection.rule].place, f"`{case.protection.rule}` stays without effect"),
            )
        ),
    )


# --- what each says


def _wire(scheme: Scheme, part: str, _: list[str]) -> tuple[Place, str, str]:
    line = scheme.lines[part]
    read = "on" if line.undriven_reads else "off"
    other = "off" if line.undriven_reads else "on"
    dead = f", or `{line.unit}` dead," if line.unit else ""
    turned = {
        LineForm.LOW_WHEN: "with high_when",
        LineForm.HIGH_WHEN: "with low_when",
        LineForm.EXTERNAL: "with the other contact of the switch",
        LineForm.CONFIRMS: "with the other auxiliary contact",
    }[line.form]
    return (
        line.place,
        f"a broken wire of `{part}`{dead} reads {read} and",
        (
            f"Let a broken wire forbid: `undriven_reads: {other}` with an input that really reads so, or turn the "
            f"signal round ({turned}) so that {read} means stop"
        ),
    )


def _override(scheme: Scheme, part: str, _: list[str]) -> tuple[Place, str, str]:
    line = scheme.lines[part]
    return (
        line.place,
        f"a broken wire of `{part}` reads on, overrides, and",
        ("Let a broken wire not override: `undriven_reads: off` and a button that closes"),
    )


def _mode(scheme: Scheme, part: str, _: list[str]) -> tuple[Place, str, str]:
    read = "on" if scheme.lines[part].undriven_reads else "off"
    return (
        scheme.lines[part].place,
        f"a broken wire of `{part}` reads {read}, hides the mode the path is in, and",
        (
            "Give each direction a line of its own, from the two contacts of a changeover relay, each with an "
            "`undriven_reads` that counts as that mode; or block the path by its name, in both modes"
        ),
    )


def _unit(scheme: Scheme, part: str, _: list[str]) -> tuple[Place, str, str]:
    lines = [x for x in scheme.lines.values() if x.unit == part]
    place = lines[0].place
    return (
        place,
        f"`{part}` dead, with all its lines undriven,",
        (f"Choose `undriven_reads` so that at least one of {listed(x.name for x in lines)} stops the path"),
    )


def _reading(scheme: Scheme, part: str, losses: list[str]) -> tuple[Place, str, str]:
    return (
        scheme.sensors[part].place,
        f"`{part}` lost ({' or '.join(losses)})",
        ("Let an invalid reading trip (`on_invalid: trip`), or fit a second sensor"),
    )


_WORDS: dict[Ident, Callable[[Scheme, str, list[str]], tuple[Place, str, str]]] = {
    Ident.BROKEN_WIRE_RUNS: _wire,
    Ident.BROKEN_WIRE_OVERRIDES: _override,
    Ident.BROKEN_WIRE_HIDES_MODE: _mode,
    Ident.DEAD_UNIT_RUNS: _unit,
    Ident.LOST_READING_RUNS: _reading,
}
assert set(_WORDS) == set(_IDENT.values()), set(_IDENT.values()) - set(_WORDS)


# --- the chain, link by link


def chain_text(scheme: Scheme, protection: Protection, defeat: Defeat, claim: Claim) -> str:
    """The chain from the condition to the device's input, link by link, with what the loss makes of each link."""
    links = [condition_text(scheme, protection.condition)]
    lost = False
    chain = protection.chain
    if chain is not None:
        links.append(f"{chain.name} {test_text(scheme, chain.signal, chain.name, chain.test)}")
        if defeat.part == chain.name or defeat.loss in (Loss.OPEN, Loss.SHORTED):
            lost = True
            links[-1] = _lost_origin(scheme, protection, defeat)
        for hop in chain.hops:
            rule = scheme.rules[hop.rule]
            state = "active" if hop.active is not lost else "clear"
            if lost and rule.on_invalid is OnInvalid.HOLD and hop is chain.first:
                state = "held as it is"
            links.append(f"{hop.rule} ({rule.unit}) {state}")
            if hop.line:
                if defeat in (Defeat(Loss.WIRE, hop.line), Defeat(Loss.UNIT, rule.unit)):
                    lost = True
                    what = "broken" if defeat.loss is Loss.WIRE else "undriven"
                    links.append(f"line {hop.line} {what}: reads {_level(scheme.lines[hop.line].undriven_reads)}")
                else:
                    links.append(f"line {hop.line} {_level(hop.level is not lost)}")
    if not lost:
        links.append(_without_effect(scheme, protection, defeat))
    links += _to_device(scheme, protection, claim)
    return " → ".join(links)


def _level(on: bool) -> str:
    return "on" if on else "off"


def _lost_origin(scheme: Scheme, protection: Protection, defeat: Defeat) -> str:
    chain = protection.chain
    assert chain is not None
    if defeat.loss in (Loss.OPEN, Loss.SHORTED):
        sensor = scheme.sensors[defeat.part]
        reads = sensor.open_reads if defeat.loss is Loss.OPEN else sensor.shorted_reads
        rule = scheme.rules[chain.first.rule]
        if reads is None or reads not in sensor.valid:
            return f"{defeat.part} {defeat.loss}: invalid, counts as {rule.on_invalid}"
        return f"{defeat.part} {defeat.loss}: reads a valid value"
    return f"{defeat.part} broken: reads {_level(scheme.lines[defeat.part].undriven_reads)}"


def _without_effect(scheme: Scheme, protection: Protection, defeat: Defeat) -> str:
    rule = protection.rule
    if defeat.loss is Loss.OVERRIDE_WIRE:
        return f"{defeat.part} broken: reads on, {rule} overridden"
    if defeat.loss is Loss.MODE_WIRE:
        read = _level(scheme.lines[defeat.part].undriven_reads)
        return f"{defeat.part} broken: reads {read}, so {rule} does not block this mode"
    return f"{defeat.part} lost: {rule} not in force"


def _to_device(scheme: Scheme, protection: Protection, claim: Claim) -> list[str]:
    unit = scheme.rules[protection.rule].unit
    outputs = scheme.drives(unit, claim.path) or scheme.paths[claim.path].outputs
    return [*(output_text(scheme.outputs[o]) for o in outputs), f"{claim.path} runs"]


def output_text(output: Output, *, on: bool = True) -> str:
    """An output while on (or not on): coil, contact, and what the device's input sees."""
    power = energised(output, on=on)
    made = closed(output, energised=power)
    coil = "energised" if power else "released"
    needs = f"input runs when {output.runs_when}"
    if output.contact is Contact.DRIVEN:
        return f"{output.name} {coil}, {'high' if made else 'low'} → {needs}"
    contact = f"{str(output.contact).replace('_', ' ')} contact {'closed' if made else 'open'}"
    return f"{output.name} {coil}, {contact} → {needs}"
