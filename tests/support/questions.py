"""Questions for the second opinions: claims of small random schemes, healthy and under faults, and what the project's
prover and the brute force answer to them."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache
from itertools import count, groupby
from pathlib import Path
from typing import Protocol

from interlock.proof.prove import BUDGET, Outcome, prove
from interlock.records import replace
from interlock.scheme.model import Claim, Fault, Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import (
    MODES,
    Combine,
    Contact,
    EnergisedWhen,
    LineForm,
    Mode,
    Must,
    OnInvalid,
    Part,
    PowerUp,
    Signal,
)
from tests.support.brute import BruteVerdict, Options, judge
from tests.support.brute_parts import OutOfReach
from tests.support.chosen import REWRITES, Pick, keep, picked
from tests.support.profiles import Profile
from tests.support.random_schemes import TINY, random_scheme_text
from tests.support.random_worlds import even_fault_set

PROFILE = replace(TINY, readings=(1, 2))  # tiny has too few of them for each way to combine to be among a few dozen
FAULTS_LOOKED_AT, FAULTS_ASKED = 8, 2
# The share of healthy claims that are kept where no figure can be wrong (vacuous, or endless whatever the delays are),
# and where it hardly can (a run of one scan, or none).
DULL, SHORT = 0.1, 0.5
DULL_ASKED = 0.15  # the same in `stream`
_BLUNT = (Mode.WRONG_CONTACT, Mode.IGNORED, Mode.BYPASSED, Mode.WELDED)  # nearly always make a difference: asked last


@dataclass(frozen=True)
class Question:
    """One claim of one random scheme under some faults, and what the brute force finds (None: it declines)."""

    seed: int
    text: str
    scheme: Scheme
    claim: Claim
    faults: tuple[Fault, ...]
    found: BruteVerdict | None

    @property
    def brute(self) -> str:
        """What the brute force answers."""
        return in_words(self.found)

    @property
    def timed(self) -> bool:
        """Whether the answer is a figure that a scan more or less would change: a longest run of two scans or more."""
        return _timed(self.found)

    @property
    def pick(self) -> Pick:
        """By what it is known."""
        return Pick(self.seed, self.claim.name, tuple(f.name for f in self.faults))

    def __str__(self) -> str:
        under = ", ".join(f.name for f in self.faults) or "no fault"
        return f"seed {self.seed}, {self.claim.name}, {under}"


def questions(seed: int) -> list[Question]:
    """Claims of one random scheme, healthy and under single faults that make a difference where some do, a finite one
    before others: a fault that changes nothing would be answered right without being looked at."""
    rng = random.Random(seed)
    text = random_scheme_text(rng, PROFILE)
    scheme = loads(text)
    by_mode: dict[str, list[Fault]] = {}
    for fault in scheme.faults.values():
        by_mode.setdefault("together" if fault.together else f"{fault.part} {fault.mode}", []).append(fault)
    found = []
    for claim in scheme.claims:
        healthy = by_brute(scheme, claim, ())
        if rng.random() > (DULL if _dull(healthy) else 1 if _timed(healthy) else SHORT):
            continue
        modes = rng.sample(sorted(by_mode), min(FAULTS_LOOKED_AT, len(by_mode)))
        sets = [(rng.choice(by_mode[mode]),) for mode in modes]
        answers = [(by_brute(scheme, claim, faults), faults) for faults in sets]
        answers.sort(
            key=lambda pair: (in_words(pair[0]) == in_words(healthy), _dull(pair[0]), pair[1][0].mode in _BLUNT)
        )
        for said, faults in [(healthy, ()), *answers[:FAULTS_ASKED]]:
            found.append(Question(seed, text, scheme, claim, faults, said))
    return found


def stream(
    profile: Profile, faults: int, first: int, options: Options | None = None, *, kind: str = "", word: str = ""
) -> Iterator[Question]:
    """Claims of random schemes from a seed on, each scheme under one fault set of that size, without end.

    Most random claims are vacuous, or endless whatever the delays are: only a share of these is asked. `kind`: a kind
    of fault that each set must hold ("sensor stuck"). `word`: what each question must exercise, as in `exercised`.
    """
    for seed in count(first):
        rng = random.Random(seed)
        text = random_scheme_text(rng, profile)
        scheme = loads(text, "random.yaml")
        present = even_fault_set(rng, scheme, faults, kind)
        if kind and not present:
            continue
        for claim in scheme.claims:
            question = Question(seed, text, scheme, claim, present, None)
            if word and word not in _exercised(question):
                continue
            found = by_brute(scheme, claim, present, options)
            if found is not None and (not _dull(found) or rng.random() < DULL_ASKED):
                yield replace(question, found=found)


def chosen(profile: Profile, pick: Pick, options: Options | None = None, *, answered: bool = True) -> Question:
    """A question that was kept, with what the brute force finds if it is to be `answered`."""
    text, scheme = _random_scheme(profile, pick.seed)
    claim = next(c for c in scheme.claims if c.name == pick.claim)
    faults = tuple(scheme.faults[name] for name in pick.faults)
    found = by_brute(scheme, claim, faults, options) if answered else None
    return Question(pick.seed, text, scheme, claim, faults, found)


@lru_cache(maxsize=1)  # the claims of one scheme are asked one after the other
def _random_scheme(profile: Profile, seed: int) -> tuple[str, Scheme]:
    text = random_scheme_text(random.Random(seed), profile)
    return text, loads(text, "random.yaml")


def exercised(asked: Sequence[Question]) -> Counter[str]:
    """In how many of some questions each fault mode is, and each construct of a scheme."""
    counts: Counter[str] = Counter(dict.fromkeys(_WORDS, 0))
    for question in asked:
        counts.update(set(_exercised(question)))
    return counts


_BY_MODE = [f"fault: {part} {mode}" for part, modes in MODES.items() for mode in modes]
_BY_MODE += [f"fault: {part} {Mode.SWAPPED}" for part in (Part.SENSOR, Part.LINE, Part.OUTPUT)]
_PLAIN = (
    "fault: together",
    "reset by hand",
    "reset by nobody",
    "overridden",
    "override at most",
    "blocks in a mode",
    "starts",
    "behind",
    "two outputs on a path",
    "two paths on an output",
    "two units",
    "stops within",
    "starts within",
    "stale after",
    "unattended",
    "two quantities on a sensor",
    "condition on a mode",
)
_WORDS = (
    *_BY_MODE,
    *_PLAIN,
    *(f"watches {signal}" for signal in Signal if signal is not Signal.QUANTITY),
    *(f"only while {signal}" for signal in (Signal.LINE, Signal.PATH, Signal.RULE)),
    *(f"condition on {signal}" for signal in (Signal.QUANTITY, Signal.LINE, Signal.PATH)),
    *(f"on invalid {word}" for word in OnInvalid),
    *(f"power up {word}" for word in PowerUp),
    *(f"line {word}" for word in LineForm),
    *(f"contact {word}" for word in Contact),
    *(f"energised when {word}" for word in EnergisedWhen),
    *(str(word) for word in (*Combine, *Must)),
)


def _exercised(question: Question) -> Iterator[str]:
    scheme, claim = question.scheme, question.claim
    for fault in question.faults:
        if fault.together:
            yield "fault: together"
        yield from (f"fault: {single.part} {single.mode}" for single in fault.single())
    yield str(claim.must)
    if claim.must is Must.NEVER_STOPPED and not claim.attended:
        yield "unattended"
    if claim.any_of:
        yield "condition on a mode"
    yield from (f"condition on {condition.signal}" for condition in claim.conditions)
    if len(scheme.units) > 1:
        yield "two units"
    for sensor in scheme.sensors.values():
        yield from ["stale after"] * bool(sensor.stale_after)
        yield from ["two quantities on a sensor"] * (len(sensor.measures) > 1)
    yield from (str(reading.combine) for reading in scheme.readings.values())
    yield from (f"line {line.form}" for line in scheme.lines.values())
    for path in scheme.paths.values():
        yield from ["behind"] * bool(path.behind) + ["two outputs on a path"] * (len(path.outputs) > 1)
    for output in scheme.outputs.values():
        yield from (f"contact {output.contact}", f"energised when {output.energised_when}")
        yield from ["two paths on an output"] * (len(output.drives) > 1)
        yield from ["stops within"] * bool(output.stops_within.scans)
        yield from ["starts within"] * bool(output.starts_within.scans)
    for rule in scheme.rules.values():
        yield from (f"watches {rule.watches}", f"power up {rule.power_up}")
        yield from (f"only while {condition.signal}" for condition in rule.only_while)
        yield from [f"on invalid {rule.on_invalid}"] * rule.watches.numeric + ["starts"] * bool(rule.starts)
        yield from [f"reset by {'hand' if rule.reset_by else 'nobody'}"] * rule.manual
        yield from ["overridden"] * bool(rule.overridden_by) + ["override at most"] * bool(rule.override_at_most)
        yield from ["blocks in a mode"] * any(target.when for target in rule.blocks)


class Opinion(Protocol):
    """What a second opinion says: the longest run of bad scans (None: without end) and the verdict."""

    @property
    def n(self) -> int | None: ...

    def verdict(self, scheme: Scheme, claim: Claim) -> str: ...


def answer(question: Question, opinion: Opinion) -> str:
    """A verdict with its figure, as it is compared."""
    verdict = opinion.verdict(question.scheme, question.claim)
    return verdict if verdict == "vacuous" else f"{verdict}, n = {'endless' if opinion.n is None else opinion.n}"


def by_prover(question: Question, budget: int = BUDGET) -> str:
    """The same from the project's prover; `undecided` where it says so."""
    found = prove(question.scheme, question.claim, question.faults, budget=budget, margins=False, trace=False)
    if found.outcome in (Outcome.VACUOUS, Outcome.UNDECIDED):
        return str(found.outcome)
    return f"{found.outcome}, n = {'endless' if found.endless else found.scans}"


OUT_OF_REACH = "out of reach"


def by_brute(
    scheme: Scheme, claim: Claim, faults: Sequence[Fault], options: Options | None = None
) -> BruteVerdict | None:
    """What the brute force finds; None where it declines."""
    try:
        return judge(scheme, claim, faults, options)
    except OutOfReach:
        return None


def in_words(found: BruteVerdict | None) -> str:
    """A finding of the brute force as it is compared."""
    if found is None:
        return OUT_OF_REACH
    if found.verdict == "vacuous":
        return "vacuous"
    return f"{found.verdict}, n = {'endless' if found.n is None else found.n}"


def _dull(found: BruteVerdict | None) -> bool:
    """Whether no figure of it can be wrong."""
    return found is None or found.verdict == "vacuous" or found.n is None


def _timed(found: BruteVerdict | None) -> bool:
    return found is not None and found.n is not None and found.n > 1


@dataclass
class Tally:
    """Answers held against each other; `differences` are written out whole."""

    asked: Counter[str] = field(default_factory=Counter)
    differences: list[str] = field(default_factory=list)

    def compare(self, question: Question, by: str, said: str) -> None:
        """One second opinion, `by` spin or z3, held against the prover and the brute force."""
        self.asked[said.split(",", 1)[0]] += 1
        self.asked["healthy" if not question.faults else "under a fault"] += 1
        self.asked["n of two or more"] += question.timed
        for other, answered in (("the prover", by_prover(question)), ("the brute force", question.brute)):
            if answered in ("undecided", OUT_OF_REACH):
                self.asked[f"{other}: {answered}"] += 1
            elif answered == said:
                self.asked[f"agrees with {other}"] += 1
            else:
                self.differences.append(f"{question}: {by} says {said}, {other} says {answered}\n{question.text}")

    def __str__(self) -> str:
        return ", ".join(f"{what}: {number}" for what, number in sorted(self.asked.items()))


CLAIMS_A_CHUNK = 36


CHOSEN = Path(__file__).with_name("chosen_questions.txt")


def chunk_of(first: int, *, answered: bool = True) -> list[list[Question]]:
    """The questions of enough schemes from a seed on that the claims come to `CLAIMS_A_CHUNK`, scheme by scheme. Only
    where they are to be `answered` is the brute force asked."""
    if REWRITES:
        keep(CHOSEN, str(first), [question.pick for asked in _chosen_anew(first) for question in asked])
    picks = groupby(picked(CHOSEN, str(first)), key=lambda pick: pick.seed)
    return [[chosen(PROFILE, pick, answered=answered) for pick in mine] for _, mine in picks]


@cache
def _chosen_anew(first: int) -> list[list[Question]]:
    chunk: list[list[Question]] = []
    for seed in count(first):
        if sum(map(len, chunk)) >= CLAIMS_A_CHUNK:
            break
        if asked := questions(seed):
            chunk.append(asked)
    return chunk
