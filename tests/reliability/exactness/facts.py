"""Facts as people and devices know them: whole milliseconds, milligrams and tenths of a degree.

Neither the service nor the naive model: both are told these. A fact's own time is what ``as_of``
goes by; when it was sent never matters.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

SECOND = 1000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR

# Friday 2026-03-27 00:00 UTC. The clocks of Berlin go forward on Sunday at 01:00 UTC.
BEGIN_MS = 1_774_569_600_000
NOW_MS = BEGIN_MS + 6 * DAY + 9 * HOUR
EARLIEST_CREDIBLE_MS = 1_577_836_800_000  # 2020-01-01
AHEAD_MS = 5 * MINUTE  # a device's clock may run ahead by as much

BASES = ("weighed_out", "weighed_in", "target", "estimated")
PURPOSES = ("service", "break_in", "dial_in", "measurement", "purge", "cleaning")


@dataclass(frozen=True)
class RunFact:
    run_id: str
    grinder_id: str
    sent_ms: int
    started_ms: int | None = None
    age_ms: int | None = None
    on_ms: int | None = None
    grams_mg: int | None = None
    basis: str = "weighed_out"
    purpose: str | None = None
    source: str | None = None
    setting_milli: int | None = None
    coffee_lot: str | None = None
    motor_decicelsius: int | None = None

    @property
    def time_source(self) -> str:
        if self.started_ms is not None and (
            EARLIEST_CREDIBLE_MS <= self.started_ms <= self.sent_ms + AHEAD_MS
        ):
            return "device"
        return "received" if self.age_ms is None else "age"

    @property
    def raw_started_ms(self) -> int:
        if self.time_source == "device":
            assert self.started_ms is not None
            return self.started_ms
        if self.time_source == "age":
            assert self.age_ms is not None
            return self.sent_ms - self.age_ms
        return self.sent_ms - (self.on_ms or 0)

    @property
    def own_ms(self) -> int:
        return self.raw_started_ms


@dataclass(frozen=True)
class TallyFact:
    tally_id: str
    grinder_id: str
    from_ms: int
    to_ms: int
    grams_mg: int
    basis: str
    purpose: str

    @property
    def own_ms(self) -> int:
        return self.from_ms


@dataclass(frozen=True)
class PeriodFact:
    period_id: str
    grinder_id: str
    from_ms: int
    to_ms: int | None
    values: tuple[tuple[str, Any], ...]

    @property
    def own_ms(self) -> int:
        return self.from_ms


@dataclass(frozen=True)
class CorrectionFact:
    correction_id: str
    grinder_id: str
    source: str | None
    from_ms: int
    to_ms: int | None
    offset_mg: int | None = None
    factor_ppm: int | None = None
    clock_ms: int | None = None
    is_void: bool = False
    is_unwatched: bool = False

    @property
    def own_ms(self) -> int:
        return self.from_ms

    @property
    def is_about_runs(self) -> bool:
        made = (self.offset_mg, self.factor_ppm, self.clock_ms)
        return self.is_void or any(one is not None for one in made)


@dataclass(frozen=True)
class CareFact:
    care_id: str
    grinder_id: str
    at_ms: int
    task: str

    @property
    def own_ms(self) -> int:
        return self.at_ms


@dataclass(frozen=True)
class ReadingFact:
    reading_id: str
    grinder_id: str
    at_ms: int
    motor_decicelsius: int | None = None
    is_running: bool | None = None
    run_id: str | None = None
    source: str | None = None

    @property
    def own_ms(self) -> int:
        return self.at_ms


@dataclass(frozen=True)
class WatchedFact:
    grinder_id: str
    from_ms: int
    to_ms: int

    @property
    def own_ms(self) -> int:
        return self.from_ms


@dataclass(frozen=True)
class Stay:
    """A burr set's fitting to a grinder, as it was entered."""

    grinder_id: str
    fitted_ms: int
    removed_ms: int | None = None


@dataclass(frozen=True)
class BurrSetFact:
    """A burr set with its stays as they were last mended."""

    burr_set_id: str
    geometry: str
    prior_mg: int | None
    stays: tuple[Stay, ...]

    @property
    def own_ms(self) -> int:
        return min(stay.fitted_ms for stay in self.stays)


@dataclass(frozen=True)
class PlateFact:
    """A change of a grinder's plate, or of the site it stands at, from an instant on."""

    grinder_id: str
    effective_ms: int
    patch: tuple[tuple[str, Any], ...]

    @property
    def own_ms(self) -> int:
        return self.effective_ms


@dataclass(frozen=True)
class SiteFact:
    site_id: str
    effective_ms: int
    patch: tuple[tuple[str, Any], ...]

    @property
    def own_ms(self) -> int:
        return self.effective_ms


Fact = (
    RunFact
    | TallyFact
    | PeriodFact
    | CorrectionFact
    | CareFact
    | ReadingFact
    | WatchedFact
    | BurrSetFact
    | PlateFact
    | SiteFact
)

SITES: dict[str, dict[str, Any]] = {
    "mill-lane": {
        "time_zone": "Europe/Berlin",
        "opening_hours": {
            "fri": [["07:00", "19:00"], ["21:00", "02:00"]],
            "sat": [["09:00", "12:30"]],
            "sun": [["00:00", "00:00"]],
            "mon": [["06:30", "18:00"]],
        },
        "closed_days": ["2026-03-30"],
    },
    "quay": {"time_zone": "Asia/Kolkata", "opening_hours": None, "closed_days": []},
}
GRINDERS: dict[str, dict[str, Any]] = {
    "bar-1": {
        "site_id": "mill-lane",
        "rated_duty": {"kind": "intermittent", "on_seconds": 120.0, "cycle_seconds": 300.0},
        "grind": {"expected_grams_per_second": 2.0},
        "motor": {"sensor": "housing", "limit_celsius": 60.0},
    },
    "bar-2": {"site_id": "quay"},
}


@dataclass(frozen=True, eq=False)
class Known:
    """All facts there are: what was entered, what of it was voided or revoked since."""

    entered: tuple[Fact, ...] = ()
    voided: frozenset[str] = frozenset()

    def of(self, kind: type) -> list[Any]:
        """The facts of a kind that are in force, in the order of entering."""
        return [
            fact
            for fact in self.entered
            if isinstance(fact, kind) and name_of(fact) not in self.voided
        ]

    def up_to(self, at_ms: int) -> Known:
        """Only the facts whose own time is at or before an instant; a void goes with its thing.

        A correction is known together with the runs it is about, as a void is with its thing: what
        it moves is known by where it was moved to, with every other correction of it.
        """
        corrections = self.of(CorrectionFact)
        kept: list[Fact] = []
        for fact in self.entered:
            if isinstance(fact, BurrSetFact):
                stays = tuple(stay for stay in fact.stays if stay.fitted_ms <= at_ms)
                if stays:
                    kept.append(replace(fact, stays=stays))
            elif isinstance(fact, RunFact):
                if moved_ms(fact, corrections) <= at_ms:
                    kept.append(fact)
            elif fact.own_ms <= at_ms or isinstance(fact, CorrectionFact):
                kept.append(fact)
        return Known(tuple(kept), self.voided & {name_of(fact) for fact in kept})


def moved_ms(run: RunFact, corrections: list[CorrectionFact]) -> int:
    """Where a run's start lies once the clocks are put right."""
    at_ms = run.raw_started_ms
    for fact in corrections:
        if reaches(fact, run):
            at_ms += fact.clock_ms or 0
    return at_ms


def reaches(correction: CorrectionFact, run: RunFact) -> bool:
    """Whether a correction is about a run: by grinder, source and the start as it was sent."""
    return (
        correction.is_about_runs
        and correction.grinder_id == run.grinder_id
        and correction.source in (None, run.source or "")
        and correction.from_ms <= run.raw_started_ms
        and (correction.to_ms is None or run.raw_started_ms < correction.to_ms)
    )


def name_of(fact: Fact) -> str:
    """A name by which a fact is told from all others."""
    match fact:
        case RunFact(run_id=name):
            return f"run {name}"
        case TallyFact(tally_id=name):
            return f"tally {name}"
        case PeriodFact(period_id=name):
            return f"period {name}"
        case CorrectionFact(correction_id=name):
            return f"correction {name}"
        case CareFact(care_id=name):
            return f"care {name}"
        case ReadingFact(reading_id=name):
            return f"reading {name}"
        case BurrSetFact(burr_set_id=name):
            return f"burr set {name}"
        case WatchedFact():
            return f"watched {fact.grinder_id} {fact.from_ms} {fact.to_ms}"
        case PlateFact():
            return f"plate {fact.grinder_id} {fact.effective_ms}"
        case SiteFact():
            return f"site {fact.site_id} {fact.effective_ms}"
