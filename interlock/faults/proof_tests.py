"""How often what can sleep is to be tested.

Two things: the formulas of IEC 61508-6:2010, annex B, for one channel and for redundant ones, and inspection intervals
for the dormant faults of a scheme, such that a second fault meets a sleeping one no more often than a stated bound.
Rates are per hour, times in hours. Nothing here invents a rate: where one is missing the answer says whose.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import expm1, isfinite, sqrt

from interlock.scheme.words import Word

HOURS_A_YEAR = 8760.0
HOURS_A_DAY = 24.0


class Voting(Word):
    """How many channels of how many must work for the protection to act."""

    ONE_OF_ONE = "1oo1"
    ONE_OF_TWO = "1oo2"
    TWO_OF_THREE = "2oo3"


# In how many orders two channels can fail such that the protection is lost: 2 of 2, or 2 of 3.
_ORDERS = {Voting.ONE_OF_TWO: 2, Voting.TWO_OF_THREE: 6}
assert {*_ORDERS, Voting.ONE_OF_ONE} == set(Voting), set(Voting) - set(_ORDERS)


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel of a protection, by the words of IEC 61508-6 annex B.

    `dangerous`: rate of its dangerous failures (lambda D). `coverage`: the part of them that diagnosis detects (DC).
    `test_interval`: hours between proof tests (T1). `beta`: the part of undetected failures that have a common cause;
    `beta_detected`: the same of detected ones, half of beta where None. `repair`: mean repair time after a proof test
    (MRT); `restoration`: mean time to restoration after a detected failure (MTTR). Raises ValueError for a negative
    rate or time and for a part that is not from 0 to 1.
    """

    dangerous: float
    coverage: float
    test_interval: float
    beta: float = 0.0
    beta_detected: float | None = None
    repair: float = 8.0
    restoration: float = 8.0

    def __post_init__(self) -> None:
        for what, value in (
            ("rate", self.dangerous),
            ("test interval", self.test_interval),
            ("repair time", self.repair),
            ("time to restoration", self.restoration),
        ):
            _positive(what, value)
        for what, value in (("coverage", self.coverage), ("beta", self.beta), ("beta_detected", self.detected_beta)):
            if not 0 <= value <= 1:
                raise ValueError(f"{what} is {value!r}; expected a number from 0 to 1")

    @property
    def undetected(self) -> float:
        """Rate of dangerous failures that diagnosis does not detect (lambda DU)."""
        return self.dangerous * (1 - self.coverage)

    @property
    def detected(self) -> float:
        """Rate of dangerous failures that diagnosis detects (lambda DD)."""
        return self.dangerous * self.coverage

    @property
    def detected_beta(self) -> float:
        """The common-cause part of detected failures (beta D)."""
        return self.beta / 2 if self.beta_detected is None else self.beta_detected

    def down_time(self, part: int) -> float:
        """Mean hours down after a failure, which arises after the first `part`-th of the interval: 2 for one channel
        (tCE), 3 for a pair (tGE)."""
        found_by_test = self.test_interval / part + self.repair
        return (1 - self.coverage) * found_by_test + self.coverage * self.restoration

    @property
    def independent(self) -> float:
        """Rate of dangerous failures without a common cause."""
        return (1 - self.detected_beta) * self.detected + (1 - self.beta) * self.undetected


def _positive(what: str, value: float) -> None:
    if not (isfinite(value) and value >= 0):
        raise ValueError(f"a {what} of {value!r} is none; expected a number from 0 up")


def failure_on_demand(voting: Voting, channel: Channel) -> float:
    """The average probability of dangerous failure on demand (PFDavg) of equal channels.

    IEC 61508-6:2010, B.3.2.2: 1oo1 lambda D tCE; 1oo2 2 (independent)^2 tCE tGE + beta D lambda DD MTTR + beta lambda
    DU (T1/2 + MRT); 2oo3 with 6 for 2.
    """
    if voting is Voting.ONE_OF_ONE:
        return channel.dangerous * channel.down_time(2)
    both = _ORDERS[voting] * channel.independent**2 * channel.down_time(2) * channel.down_time(3)
    detected = channel.detected_beta * channel.detected * channel.restoration
    return both + detected + channel.beta * channel.undetected * (channel.test_interval / 2 + channel.repair)


def failure_per_hour(voting: Voting, channel: Channel) -> float:
    """The average frequency of dangerous failure per hour (PFH) of equal channels.

    IEC 61508-6:2010, B.3.3.2 (from memory): 1oo1 lambda DU; 1oo2 2 (independent) (1 - beta) lambda DU tCE + beta
    lambda DU; 2oo3 with 6 for 2.
    """
    if voting is Voting.ONE_OF_ONE:
        return channel.undetected
    second = (1 - channel.beta) * channel.undetected * channel.down_time(2)
    return _ORDERS[voting] * channel.independent * second + channel.beta * channel.undetected


def single_channel_per_hour(mean_years: float) -> float:
    """The frequency of dangerous failure per hour of a single untested channel of that mean time to dangerous failure.

    ISO 13849-1:2015, annex K, categories B and 1: 1 / (MTTFd 8760 h). Raises ValueError unless the time is positive.
    """
    if not (isfinite(mean_years) and mean_years > 0):
        raise ValueError(f"a mean time to failure of {mean_years!r} years is none; expected a number above 0")
    return 1 / (mean_years * HOURS_A_YEAR)


# --- inspection intervals


@dataclass(frozen=True, slots=True)
class Arising:
    """A fault and how often it arises per hour, None where nobody gave a rate."""

    name: str
    per_hour: float | None = None


@dataclass(frozen=True, slots=True)
class Sleeper:
    """A dormant fault and the second faults that do harm once it is there."""

    fault: Arising
    seconds: tuple[Arising, ...]


class Due(Word):
    """What is known about how often a dormant fault is to be tested."""

    EVERY = "every"  # after so many hours at the latest
    NOT_IN_LIFE = "not_in_life"  # within the service life its share of the bound is kept without a test
    AT_LEAST_EVERY = "at_least_every"  # as EVERY, but second faults without a rate may ask for more
    NOT_BY_TESTS = "not_by_tests"  # the bound is spent while what was found is being repaired
    NO_RATE = "no_rate"  # the rate of the fault, or of every second one, is not given
    NO_SECOND = "no_second"  # no second fault makes it dangerous


@dataclass(frozen=True, slots=True)
class Interval:
    """The answer for one dormant fault. `hours`: with EVERY and AT_LEAST_EVERY. `unrated`: whose rate is missing.
    `per_hour`: how often a second fault with a rate then meets it asleep, None where no rate says."""

    name: str
    due: Due
    hours: float | None = None
    unrated: tuple[str, ...] = ()
    per_hour: float | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """The intervals of all dormant faults, in their order, and what they come to: `per_hour` of the `bound`.

    `complete`: every rate is given, so that the bound holds for all of them; else it holds for those with rates only.
    """

    intervals: tuple[Interval, ...]
    bound: float
    per_hour: float
    complete: bool


def bound_per_hour(per_mission: float, hours: float) -> float:
    """The bound per hour that keeps a bound on the probability within a mission.

    The number of meetings expected in the mission is no less than the probability of at least one, so a frequency of
    `per_mission` / `hours` keeps it. Raises ValueError for a probability that is none and for a mission without length.
    """
    if not 0 <= per_mission <= 1:
        raise ValueError(f"a bound of {per_mission!r} per mission is no probability; expected a number from 0 to 1")
    if not (isfinite(hours) and hours > 0):
        raise ValueError(f"a mission of {hours!r} h is none; expected a number above 0")
    return per_mission / hours


def inspection_plan(
    sleepers: Sequence[Sleeper], bound: float, *, life: float = 20 * HOURS_A_YEAR, repair: float = 0.0
) -> Plan:
    """How often each dormant fault is to be tested so that all meetings together stay within `bound` per hour.

    A fault of rate a, tested every T hours and then mended within `repair` hours, is there for at most a (T/2 + repair)
    of the time (the T1/2 + MRT of IEC 61508-6); second faults of rates b find it asleep a (T/2 + repair) sum(b) times
    per hour. The bound is a frequency because that does not depend on how long anyone looks; `bound_per_hour` makes one
    of a probability per mission.

    Of all ways to share the bound among the faults this is the one with the fewest tests: by Lagrange, T is
    proportional to 1 / sqrt(a sum(b)). No fault is tested less often than once in the service `life`; what that saves
    goes to the others. Faults without a rate have no part in it, and are named.

    Raises ValueError for a bound or life that is not above 0, for negative rates and for a fault named twice.
    """
    for what, value in (("bound", bound), ("life", life)):
        if not (isfinite(value) and value > 0):
            raise ValueError(f"a {what} of {value!r} is none; expected a number above 0")
    _positive("repair time", repair)
    names = [s.fault.name for s in sleepers]
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice is not None:
        raise ValueError(f"the dormant fault {twice!r} is named twice")
    harm = {s.fault.name: h for s in sleepers if (h := _harm(s)) is not None}
    left = bound - sum(harm.values()) * repair
    hours = _fewest_tests(harm, left, life) if left > 0 else {}
    intervals = tuple(_interval(s, harm, hours, life, repair) for s in sleepers)
    complete = not any(i.unrated for i in intervals)
    return Plan(intervals, bound, sum(i.per_hour or 0.0 for i in intervals), complete)


def _unrated(sleeper: Sleeper) -> tuple[str, ...]:
    return tuple(dict.fromkeys(f.name for f in (sleeper.fault, *sleeper.seconds) if f.per_hour is None))


def _harm(sleeper: Sleeper) -> float | None:
    """Rate times the second faults' rates, None where one side has none."""
    for fault in (sleeper.fault, *sleeper.seconds):
        if fault.per_hour is not None:
            _positive(f"rate of {fault.name}", fault.per_hour)
    rates = [s.per_hour for s in sleeper.seconds if s.per_hour is not None]
    return sleeper.fault.per_hour * sum(rates) if sleeper.fault.per_hour is not None and rates else None


def _fewest_tests(harm: dict[str, float], left: float, life: float) -> dict[str, float]:
    """The interval of each fault: proportional to 1 / sqrt(harm), none above `life`, sum(harm interval / 2) = left."""
    hours = {name: life for name, h in harm.items() if h == 0}
    open_ = {name: h for name, h in harm.items() if h > 0}
    while open_:
        roots = sum(sqrt(h) for h in open_.values())
        tried = {name: 2 * left / (sqrt(h) * roots) for name, h in open_.items()}
        longer = [name for name, t in tried.items() if t >= life]
        if not longer:
            return hours | tried
        for name in longer:
            hours[name] = life
            left -= open_.pop(name) * life / 2
    return hours


def _interval(
    sleeper: Sleeper, harm: dict[str, float], hours: dict[str, float], life: float, repair: float
) -> Interval:
    name, unrated = sleeper.fault.name, _unrated(sleeper)
    if not sleeper.seconds:
        return Interval(name, Due.NO_SECOND)
    if name not in harm:
        return Interval(name, Due.NO_RATE, unrated=unrated)
    if name not in hours:
        return Interval(name, Due.NOT_BY_TESTS, unrated=unrated)
    every = hours[name]
    rate = sleeper.fault.per_hour or 0.0
    seconds = sum(s.per_hour or 0.0 for s in sleeper.seconds)
    per_hour = (asleep(rate, every) + rate * repair) * seconds
    if unrated:
        return Interval(name, Due.AT_LEAST_EVERY, every, unrated, per_hour)
    if every >= life:
        return Interval(name, Due.NOT_IN_LIFE, per_hour=per_hour)
    return Interval(name, Due.EVERY, every, per_hour=per_hour)


def asleep(per_hour: float, interval: float) -> float:
    """The mean part of an interval in which a fault is there unseen: 1 - (1 - exp(-x)) / x for x = rate times interval.

    The mean of 1 - exp(-rate t) over the interval; at most x / 2, and about that where x is small.
    """
    _positive("rate", per_hour)
    _positive("test interval", interval)
    x = per_hour * interval
    if x < 1e-4:
        return x / 2 - x * x / 6  # the series: the difference below would lose its digits
    return 1 + expm1(-x) / x


USUAL: tuple[tuple[float, str], ...] = (
    (HOURS_A_DAY, "every day"),
    (7 * HOURS_A_DAY, "every week"),
    (HOURS_A_YEAR / 12, "every month"),
    (HOURS_A_YEAR / 4, "every 3 months"),
    (HOURS_A_YEAR / 2, "every 6 months"),
    (HOURS_A_YEAR, "every year"),
    (2 * HOURS_A_YEAR, "every 2 years"),
    (5 * HOURS_A_YEAR, "every 5 years"),
    (10 * HOURS_A_YEAR, "every 10 years"),
)


def usual_interval(hours: float) -> str | None:
    """The longest usual interval that is not longer, in words; None where even every day is too seldom."""
    return next((words for usual, words in reversed(USUAL) if usual <= hours * (1 + 1e-12)), None)


def yearly_tests(intervals: Iterable[Interval]) -> float:
    """How many tests a year the intervals come to."""
    return sum(HOURS_A_YEAR / i.hours for i in intervals if i.hours)
