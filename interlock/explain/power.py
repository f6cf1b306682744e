"""Paths, groups and outputs, in words."""

from __future__ import annotations

from interlock.explain.chains import Chain, chain
from interlock.explain.closed import Cause
from interlock.explain.conditions import plain_conditions, plain_time, seen, seen_all, time, true_all
from interlock.explain.document import Item, Plain
from interlock.explain.measured import labels, why
from interlock.explain.phrases import Phrase, Value, listing, say
from interlock.explain.rules import target_words
from interlock.explain.tables import CAUSES, CONTACTS, ENERGISED, FLOWS, INPUTS, NEEDS
from interlock.explain.words import Say
from interlock.scheme.model import Flow, Output, Path, Rule, Scheme, Target
from interlock.scheme.words import Contact, EnergisedWhen, FlowWord


def groups(scheme: Scheme) -> list[Item]:
    """Each group the scheme names, with its paths."""
    return [
        Item(
            name,
            name,
            (
                say(Say.GROUP_HOLDS, paths=listing(target_words(scheme, t) for t in members))
                if members
                else say(Say.GROUP_EMPTY),
            ),
            data={"paths": [t.path for t in members]},
        )
        for name, members in scheme.groups.items()
    ]


def paths(scheme: Scheme) -> list[Item]:
    """Each path: which way its current flows, what it stands behind, what lets it run, stops it and starts it."""
    return [_path(scheme, path) for path in scheme.paths.values()]


def _path(scheme: Scheme, path: Path) -> Item:
    stoppers = [(rule, t) for rule in scheme.rules.values() for t in rule.blocks if t.path == path.name]
    starters = [rule.name for rule in scheme.rules.values() if path.name in rule.starts]
    carried = [p.name for p in scheme.paths.values() if p.behind == path.name]
    requirements = list(dict.fromkeys(c.requirement for c in scheme.claims if c.path == path.name))
    sentences = _flow(scheme, path.flow)
    if path.behind:
        sentences.append(say(Say.PATH_BEHIND, behind=path.behind))
    if carried:
        sentences.append(say(Say.PATH_CARRIES, paths=listing(carried)))
    if path.unswitched:
        sentences.append(say(Say.PATH_UNSWITCHED, reason=path.unswitched.rstrip(". ")))
    elif len(path.outputs) == 1:
        sentences.append(say(Say.PATH_OUTPUT, output=path.outputs[0]))
    elif path.outputs:
        sentences.append(say(Say.PATH_OUTPUTS, outputs=listing(path.outputs)))
    sentences.append(_wanted(path, starters))
    sentences.append(
        say(Say.PATH_REQUIRED, requirements=listing(requirements)) if requirements else say(Say.PATH_NOT_REQUIRED)
    )
    sentences += why(path.why)
    points = [_stopper(scheme, rule, target) for rule, target in stoppers]
    if path.behind:
        points.append(say(Say.PATH_STOPPED_BEHIND, behind=path.behind))
    if points:
        sentences.append(say(Say.PATH_STOPPED_BY))
    elif not path.unswitched:
        sentences.append(say(Say.PATH_NO_STOPPER))
    data: dict[str, Plain] = {
        "charges": None if path.flow.charge is None else plain_conditions(scheme, path.flow.charge),
        "discharges": None if path.flow.discharge is None else plain_conditions(scheme, path.flow.discharge),
        "behind": path.behind,
        "carries": [*carried],
        "unswitched": path.unswitched,
        "outputs": [*path.outputs],
        "stopped_by": list(dict.fromkeys(rule.name for rule, _ in stoppers)),
        "started_by": [*starters],
        "requirements": [*requirements],
        "why": path.why,
    }
    return Item(path.name, path.name, tuple(sentences), tuple(points), data)


def _flow(scheme: Scheme, flow: Flow) -> list[Phrase]:
    if not flow.modal:
        sides = {
            (True, False): FlowWord.CHARGE,
            (False, True): FlowWord.DISCHARGE,
            (True, True): FlowWord.BOTH,
            (False, False): FlowWord.NONE,
        }
        return [say(FLOWS[sides[flow.charge is not None, flow.discharge is not None]])]
    found = []
    for conditions, always, conditioned in (
        (flow.charge, Say.PATH_CHARGES, Say.PATH_CHARGES_WHILE),
        (flow.discharge, Say.PATH_DRAWS, Say.PATH_DRAWS_WHILE),
    ):
        if conditions:
            found.append(say(conditioned, conditions=true_all(scheme, conditions)))
        elif conditions is not None:
            found.append(say(always))
    return found


def _wanted(path: Path, starters: list[str]) -> Phrase:
    if not path.started_by:
        return say(Say.PATH_ALWAYS_WANTED)
    return say(Say.PATH_STARTED_BY if len(starters) == 1 else Say.PATH_STARTED_BY_ANY, rules=listing(starters))


def _stopper(scheme: Scheme, rule: Rule, target: Target) -> Phrase:
    condition = seen(scheme, rule.watches, rule.watched, rule.trips.test, rule.trips.delay)
    conditions: list[Value] = []
    if rule.only_while:
        conditions.append(seen_all(scheme, rule.only_while))
    if target.when:
        conditions.append(listing((seen_all(scheme, a) for a in target.when), Say.EITHER_WHOLE, Say.EITHER_WHOLE))
    if not conditions:
        return say(Say.PATH_STOPPER, rule=rule.name, condition=condition)
    return say(Say.PATH_STOPPER_WHILE, rule=rule.name, condition=condition, conditions=listing(conditions))


# --- outputs


def outputs(scheme: Scheme) -> list[Item]:
    """Each output: when it is on, and its chain link by link, healthy and with a link broken."""
    return [_output(scheme, output) for output in scheme.outputs.values()]


def _output(scheme: Scheme, output: Output) -> Item:
    names = listing(output.drives)
    sentences = [
        _on_while(scheme, output),
        say(
            ENERGISED[output.energised_when],
            **({"paths": names} if output.energised_when is EnergisedWhen.STOPS else {}),
        ),
        say(NEEDS[output.runs_when]),
    ]
    if output.stops_within.us:
        sentences.append(say(Say.OUTPUT_STOPS_WITHIN, time=time(scheme, output.stops_within)))
    if output.starts_within.us:
        sentences.append(say(Say.OUTPUT_STARTS_WITHIN, time=time(scheme, output.starts_within)))
    confirming = [line.name for line in scheme.lines.values() if line.output == output.name]
    if confirming:
        sentences.append(say(Say.OUTPUT_CONFIRMED, lines=listing(confirming)))
    sentences += [*labels(output.terminal, output.wire), *why(output.why)]
    chains = [chain(output, cause) for cause in Cause]
    data: dict[str, Plain] = {
        "unit": output.unit,
        "drives": [*output.drives],
        "contact": str(output.contact),
        "runs_when": str(output.runs_when),
        "energised_when": str(output.energised_when),
        "stops_within": plain_time(output.stops_within),
        "starts_within": plain_time(output.starts_within),
        "terminal": output.terminal,
        "wire": output.wire,
        "confirmed_by": [*confirming],
        "chains": [
            {
                "cause": str(c.cause),
                "energised": c.energised,
                "closed": c.closed,
                "device_sees": "closed" if c.made else "open",
                "path": "runs" if c.runs else "stopped",
            }
            for c in chains
        ],
        "why": output.why,
    }
    heading = say(Say.HEADING_OUTPUT, name=output.name, unit=output.unit)
    return Item(output.name, heading, tuple(sentences), tuple(_chain(output, c) for c in chains), data)


def _on_while(scheme: Scheme, output: Output) -> Phrase:
    started = all(scheme.paths[p].started_by == output.unit for p in output.drives)
    if len(output.drives) == 1:
        key = Say.OUTPUT_ON_WANTED if started else Say.OUTPUT_ON
    else:
        key = Say.OUTPUT_ON_ANY_WANTED if started else Say.OUTPUT_ON_ANY
    return say(key, unit=output.unit, paths=listing(output.drives))


def _chain(output: Output, found: Chain) -> Phrase:
    contact, level = CAUSES[found.cause]
    cause = level if output.contact is Contact.DRIVEN else contact
    links: list[Value] = []
    if found.energised is not None:
        links.append(say(Say.LINK_ENERGISED if found.energised else Say.LINK_RELEASED, output=output.name))
    if found.closed is not None:
        links.append(say(CONTACTS[output.contact][0 if found.closed else 1]))
    links.append(say(INPUTS[output.runs_when][0 if found.made else 1]))
    if found.cause in (Cause.WIRE_BROKEN, Cause.CONTACT_WELDED):
        links.append(say(Say.LINK_WHATEVER, unit=output.unit))
    stopped = Say.RESULT_STOPPED if len(output.drives) == 1 else Say.RESULT_STOPPED_MANY
    names_unit = found.cause in (Cause.RUNS, Cause.STOPS, Cause.UNIT_DEAD)
    return say(
        Say.CHAIN,
        cause=say(cause, unit=output.unit) if names_unit else say(cause),
        links=listing(links, Say.COMMA),
        result=say(Say.RESULT_RUNS if found.runs else stopped, paths=listing(output.drives)),
    )
