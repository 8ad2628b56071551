"""What the answers must be, worked out the slow way from all facts at once.

Shares no line with the service: plain ints and fractions, every pair of runs looked at, every
stretch of time cut at every border. What it keeps between questions is kept for one set of facts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

from .facts import (
    BASES,
    DAY,
    GRINDERS,
    HOUR,
    MINUTE,
    PURPOSES,
    SECOND,
    SITES,
    BurrSetFact,
    CareFact,
    CorrectionFact,
    Known,
    PeriodFact,
    PlateFact,
    ReadingFact,
    RunFact,
    SiteFact,
    Stay,
    TallyFact,
    WatchedFact,
    moved_ms,
    reaches,
)

FILLED = ("setting", "coffee_lot", "rpm", "purpose", "feed")
WEIGHED = ("weighed_out", "weighed_in")
LONGEST_RUN_MS = 6 * HOUR
QUARTER = 15 * MINUTE
FOR_EVER = 2**60
Span = tuple[int, int]


@dataclass(frozen=True)
class Counted:
    """A run with the corrections made."""

    run: RunFact
    started_ms: int
    grams_mg: int | None
    is_out: bool
    correction_ids: tuple[str, ...]

    @property
    def is_placed(self) -> bool:
        return self.run.time_source != "received"

    @property
    def ended_ms(self) -> int:
        return self.started_ms + (self.run.on_ms or 0)


@dataclass(frozen=True)
class Share:
    """What a run adds to the sums, once it is known which device is believed."""

    counted: Counted
    purpose: str
    is_run: bool
    on_ms: int | None
    grams_mg: int | None
    grind_has_seconds: bool
    grind_has_grams: bool
    is_grind_weighed: bool
    disagrees: bool


@dataclass(frozen=True)
class Total:
    run_count: int
    on_ms: int
    grams_mg: int
    estimated_mg: int
    ungrammed_ms: int
    paired_mg: int
    paired_ms: int

    @property
    def flow(self) -> Fraction | None:
        if self.paired_mg > 0 and self.paired_ms > 0:
            return Fraction(self.paired_mg, self.paired_ms)
        return None


# --- what holds when ----------------------------------------------------------------------------


def plate_at(known: Known, grinder_id: str, at_ms: int) -> dict[str, Any]:
    plate = dict(GRINDERS[grinder_id])
    changes = [fact for fact in known.of(PlateFact) if fact.grinder_id == grinder_id]
    for fact in sorted(changes, key=lambda fact: fact.effective_ms):
        if fact.effective_ms <= at_ms:
            plate = _patched(plate, dict(fact.patch))
    return plate


def site_at(known: Known, site_id: str, at_ms: int) -> dict[str, Any]:
    site = dict(SITES[site_id])
    changes = [fact for fact in known.of(SiteFact) if fact.site_id == site_id]
    for fact in sorted(changes, key=lambda fact: fact.effective_ms):
        if fact.effective_ms <= at_ms:
            site = _patched(site, dict(fact.patch))
    return site


def _patched(whole: dict[str, Any], patch: dict[str, Any]) -> dict[str, Any]:
    """A merge patch (RFC 7396): objects are merged, all else is replaced, null takes away."""
    both = {
        name: _patched(whole.get(name) or {}, value) if isinstance(value, dict) else value
        for name, value in patch.items()
    }
    return {name: value for name, value in {**whole, **both}.items() if value is not None}


def told_by_periods(known: Known, grinder_id: str, name: str, at_ms: int) -> Any:
    saying = [
        (fact.from_ms, fact.period_id, dict(fact.values)[name])
        for fact in known.of(PeriodFact)
        if fact.grinder_id == grinder_id
        and name in dict(fact.values)
        and fact.from_ms <= at_ms
        and (fact.to_ms is None or at_ms < fact.to_ms)
    ]
    return max(saying)[2] if saying else None


# --- runs ---------------------------------------------------------------------------------------


@lru_cache(maxsize=64)
def counted_runs(known: Known, grinder_id: str) -> list[Counted]:
    """All runs of a grinder, those that are out marked."""
    voided = {name.removeprefix("run ") for name in known.voided if name.startswith("run ")}
    corrections = known.of(CorrectionFact)
    found = []
    for run in known.entered:
        if not isinstance(run, RunFact) or run.grinder_id != grinder_id:
            continue
        applied = [fact for fact in corrections if reaches(fact, run)]
        grams_mg = run.grams_mg
        if grams_mg is not None and applied:
            exact = Fraction(grams_mg)
            for fact in applied:
                if fact.factor_ppm is not None:
                    exact *= Fraction(fact.factor_ppm, 1_000_000)
            exact += sum(fact.offset_mg or 0 for fact in applied)
            grams_mg = max(0, round(exact))
        found.append(
            Counted(
                run=run,
                started_ms=moved_ms(run, corrections),
                grams_mg=grams_mg,
                is_out=run.run_id in voided or any(fact.is_void for fact in applied),
                correction_ids=tuple(sorted(fact.correction_id for fact in applied)),
            )
        )
    return found


def grinds_of(runs: list[Counted]) -> list[list[Counted]]:
    """Runs that hang together: of two devices, and overlapping or at most 2 s apart."""
    group = list(range(len(runs)))
    for _ in runs:
        is_changed = False
        for i, one in enumerate(runs):
            for j, other in enumerate(runs):
                if group[i] != group[j] and _are_one_grind(one, other):
                    old, new = max(group[i], group[j]), min(group[i], group[j])
                    group = [new if number == old else number for number in group]
                    is_changed = True
        if not is_changed:
            break
    return [
        [run for run, mine in zip(runs, group, strict=True) if mine == number]
        for number in sorted(set(group))
    ]


def _are_one_grind(one: Counted, other: Counted) -> bool:
    first, later = sorted((one, other), key=lambda counted: counted.started_ms)
    return (
        (one.run.source or "") != (other.run.source or "")
        and one.is_placed
        and other.is_placed
        and later.started_ms - first.ended_ms <= 2 * SECOND
    )


@lru_cache(maxsize=256)
def shares(known: Known, grinder_id: str, at_ms: int) -> list[Share]:
    """What each run begun by an instant adds, nothing that began later being known."""
    begun = [
        counted
        for counted in counted_runs(known, grinder_id)
        if not counted.is_out and counted.started_ms <= at_ms
    ]
    found = []
    for grind in grinds_of(begun):
        found += _shares_of_grind(known, grind)
    return found


def _shares_of_grind(known: Known, grind: list[Counted]) -> list[Share]:
    sources = sorted({counted.run.source or "" for counted in grind})
    grams: dict[str, int] = {}
    worst: dict[str, int] = {}
    seconds: dict[str, int] = {}
    for source in sources:
        mine = [counted for counted in grind if (counted.run.source or "") == source]
        weights = [counted for counted in mine if counted.grams_mg is not None]
        if weights:
            grams[source] = sum(counted.grams_mg or 0 for counted in weights)
            worst[source] = max(BASES.index(counted.run.basis) for counted in weights)
        times = [counted.run.on_ms for counted in mine if counted.run.on_ms is not None]
        if times:
            seconds[source] = sum(times)
    of_grams = min(grams, key=lambda source: (worst[source], source)) if grams else None
    of_seconds = min(seconds, key=lambda source: (-seconds[source], source)) if seconds else None
    believed = of_grams if of_grams is not None else of_seconds
    if believed is None:
        believed = sources[0]
    weighed = [source for source in grams if BASES[worst[source]] in WEIGHED]
    disagreeing = {
        one
        for one in weighed
        for other in weighed
        if abs(grams[one] - grams[other]) > 300
        and Fraction(abs(grams[one] - grams[other]), max(grams[one], grams[other]))
        > Fraction(3, 100)
    }
    return [
        Share(
            counted=counted,
            purpose=counted.run.purpose
            or told_by_periods(known, counted.run.grinder_id, "purpose", counted.started_ms)
            or "service",
            is_run=(counted.run.source or "") == believed,
            on_ms=counted.run.on_ms if (counted.run.source or "") == of_seconds else None,
            grams_mg=counted.grams_mg if (counted.run.source or "") == of_grams else None,
            grind_has_seconds=of_seconds is not None,
            grind_has_grams=of_grams is not None,
            is_grind_weighed=of_grams in weighed,
            disagrees=counted.grams_mg is not None and (counted.run.source or "") in disagreeing,
        )
        for counted in grind
    ]


def total(
    known: Known,
    grinder_id: str,
    at_ms: int,
    low_ms: int,
    high_ms: int | None,
    purposes: Iterable[str],
) -> Total:
    """Sums of runs started, and of tallies, in [low, high); without high, up to the instant."""
    wanted = set(purposes)
    inside = [
        share
        for share in shares(known, grinder_id, at_ms)
        if share.purpose in wanted
        and low_ms <= share.counted.started_ms
        and (high_ms is None or share.counted.started_ms < high_ms)
    ]
    tallied = {True: 0, False: 0}
    for tally in known.of(TallyFact):
        if tally.grinder_id == grinder_id and tally.purpose in wanted and tally.from_ms <= at_ms:
            until = at_ms if high_ms is None else min(high_ms, at_ms)
            tallied[tally.basis == "estimated"] += _poured(tally, until) - _poured(tally, low_ms)
    grams = [share for share in inside if share.grams_mg is not None]
    return Total(
        run_count=sum(share.is_run for share in inside),
        on_ms=sum(
            min(share.on_ms, at_ms - share.counted.started_ms)
            for share in inside
            if share.on_ms is not None
        ),
        grams_mg=tallied[False]
        + sum(share.grams_mg or 0 for share in grams if share.counted.run.basis != "estimated"),
        estimated_mg=tallied[True]
        + sum(share.grams_mg or 0 for share in grams if share.counted.run.basis == "estimated"),
        ungrammed_ms=sum(share.on_ms or 0 for share in inside if not share.grind_has_grams),
        paired_mg=sum(share.grams_mg or 0 for share in inside if _is_paired(share)),
        paired_ms=sum(share.on_ms or 0 for share in inside if _is_paired(share)),
    )


def _is_paired(share: Share) -> bool:
    return share.grind_has_seconds and share.is_grind_weighed


def _poured(tally: TallyFact, at_ms: int) -> int:
    passed = min(max(at_ms - tally.from_ms, 0), tally.to_ms - tally.from_ms)
    exact = Fraction(tally.grams_mg * passed, tally.to_ms - tally.from_ms)
    return exact.numerator // exact.denominator


COFFEE = tuple(purpose for purpose in PURPOSES if purpose != "cleaning")


# --- burr sets ----------------------------------------------------------------------------------


def stays(known: Known) -> list[tuple[BurrSetFact, Stay, int | None]]:
    """Every stay of every burr set, with the end that counts."""
    entered = [(fact, stay) for fact in known.of(BurrSetFact) for stay in fact.stays]
    found = []
    for fact, stay in entered:
        ends = [] if stay.removed_ms is None else [stay.removed_ms]
        for other, another in entered:
            is_related = another.grinder_id == stay.grinder_id or other is fact
            if is_related and another.fitted_ms > stay.fitted_ms:
                ends.append(another.fitted_ms)
        found.append((fact, stay, min(ends) if ends else None))
    return found


def can_be_true(known: Known) -> bool:
    """Whether the stays do not contradict each other."""
    entered = [(fact, stay) for fact in known.of(BurrSetFact) for stay in fact.stays]
    for fact, stay in entered:
        if stay.removed_ms is not None and stay.removed_ms <= stay.fitted_ms:
            return False
        for other, another in entered:
            if another is stay or not (another.grinder_id == stay.grinder_id or other is fact):
                continue
            if another.fitted_ms == stay.fitted_ms:
                return False
            if stay.removed_ms is not None and (
                stay.fitted_ms < another.fitted_ms < stay.removed_ms
            ):
                return False
    return True


def set_within(known: Known, grinder_id: str, at_ms: int) -> BurrSetFact | None:
    for fact, stay, end_ms in stays(known):
        if (
            stay.grinder_id == grinder_id
            and stay.fitted_ms <= at_ms
            and (end_ms is None or end_ms > at_ms)
        ):
            return fact
    return None


def through(known: Known, fitted: BurrSetFact, at_ms: int) -> Total:
    """The coffee that went through a set by an instant, wherever it was."""
    pieces = [
        total(
            known,
            stay.grinder_id,
            at_ms,
            stay.fitted_ms,
            end_ms if end_ms is not None and end_ms <= at_ms else None,
            COFFEE,
        )
        for fact, stay, end_ms in stays(known)
        if fact is fitted and stay.fitted_ms <= at_ms
    ]
    names = tuple(Total.__dataclass_fields__)
    return Total(**{name: sum(getattr(piece, name) for piece in pieces) for name in names})


# --- time on a line -----------------------------------------------------------------------------


def measured_ms(
    low_ms: int, high_ms: int, spans: Iterable[Span], holds: Callable[[int], bool]
) -> int:
    """How much of [low, high) something holds that changes only at the ends of some spans."""
    borders = {low_ms, high_ms}
    for span in spans:
        borders |= {at_ms for at_ms in span if low_ms < at_ms < high_ms}
    return sum(later - first for first, later in pairwise(sorted(borders)) if holds(first))


def _within(at_ms: int, spans: Iterable[Span]) -> bool:
    return any(low <= at_ms < high for low, high in spans)


def ran_spans(known: Known, grinder_id: str, at_ms: int) -> list[Span]:
    """When the motor is known to have run, by whichever device."""
    return [
        (counted.started_ms, min(counted.ended_ms, at_ms))
        for counted in counted_runs(known, grinder_id)
        if not counted.is_out and counted.is_placed and counted.started_ms <= at_ms
    ]


def open_runs(known: Known, grinder_id: str, since_ms: int, at_ms: int) -> list[Span]:
    """Stretches that readings show of runs which have not come."""
    come = {
        counted.run.run_id
        for counted in counted_runs(known, grinder_id)
        if counted.started_ms <= at_ms
    }
    seen: dict[str, list[int]] = {}
    for fact in known.of(ReadingFact):
        if (
            fact.grinder_id == grinder_id
            and fact.is_running
            and fact.run_id is not None
            and fact.run_id not in come
            and since_ms - LONGEST_RUN_MS <= fact.at_ms <= at_ms
        ):
            seen.setdefault(fact.run_id, []).append(fact.at_ms)
    return [(min(times), max(times)) for times in seen.values()]


def is_known_at(
    known: Known, grinder_id: str, at_ms: int
) -> tuple[list[Span], Callable[[int], bool]]:
    """Whether it is known what the motor did at an instant, from what was known by another."""
    ran = ran_spans(known, grinder_id, at_ms)
    first_ms = min((low for low, _ in ran), default=None)
    taken_back = [
        (fact.from_ms, FOR_EVER if fact.to_ms is None else fact.to_ms)
        for fact in known.of(CorrectionFact)
        if fact.grinder_id == grinder_id and fact.is_unwatched
    ]
    watched = [
        (fact.from_ms, fact.to_ms)
        for fact in known.of(WatchedFact)
        if fact.grinder_id == grinder_id
        and fact.from_ms <= at_ms
        and not any(low <= fact.from_ms and fact.to_ms <= high for low, high in taken_back)
    ]
    tallied = [
        (fact.from_ms, fact.to_ms)
        for fact in known.of(TallyFact)
        if fact.grinder_id == grinder_id and fact.from_ms <= at_ms
    ]
    idle = [
        (_to_ms(span["from"]), at_ms if span["to"] is None else _to_ms(span["to"]))
        for span in plate_at(known, grinder_id, at_ms).get("out_of_service", ())
    ]
    reports = [] if watched or first_ms is None else [(first_ms, at_ms)]

    def holds(instant_ms: int) -> bool:
        if _within(instant_ms, ran):
            return True
        if _within(instant_ms, watched) and not _within(instant_ms, taken_back):
            return True
        if _within(instant_ms, tallied):
            return False
        return _within(instant_ms, reports) or _within(instant_ms, idle)

    return [*ran, *watched, *taken_back, *tallied, *idle, *reports], holds


# --- answers ------------------------------------------------------------------------------------


def estimate(of: Total, flow: Fraction | None) -> Fraction | None:
    if flow is None:
        return None if of.ungrammed_ms else Fraction(of.estimated_mg)
    return of.estimated_mg + of.ungrammed_ms * flow


def expected_flow(known: Known, grinder_id: str, at_ms: int) -> Fraction | None:
    grind = plate_at(known, grinder_id, at_ms).get("grind") or {}
    expected = grind.get("expected_grams_per_second")
    return None if expected is None else Fraction(expected)


def status(known: Known, grinder_id: str, at_ms: int) -> dict[str, Any]:
    """The numbers of a status, grams in mg and times in ms."""
    fitted = set_within(known, grinder_id, at_ms)
    coffee = total(known, grinder_id, at_ms, 0, None, COFFEE)
    burr = coffee if fitted is None else through(known, fitted, at_ms)
    flow = burr.flow or expected_flow(known, grinder_id, at_ms)
    flow_of_all = coffee.flow or expected_flow(known, grinder_id, at_ms)
    plate = plate_at(known, grinder_id, at_ms)
    zone = site_at(known, plate["site_id"], at_ms)["time_zone"]
    midnight_ms = max(
        start for start in _starts(zone, "day", at_ms - 2 * DAY, at_ms + 1) if start <= at_ms
    )
    replaced_ms = max(
        (
            fact.at_ms
            for fact in known.of(CareFact)
            if fact.grinder_id == grinder_id
            and fact.task == "motor_replaced"
            and fact.at_ms <= at_ms
        ),
        default=0,
    )
    today = total(known, grinder_id, at_ms, midnight_ms, None, COFFEE)
    begun = [
        counted.started_ms
        for counted in counted_runs(known, grinder_id)
        if not counted.is_out and counted.started_ms <= at_ms
    ]
    return {
        "site_id": plate["site_id"],
        "burr_set_id": None if fitted is None else fitted.burr_set_id,
        "burr_mg": None if fitted is None else burr.grams_mg,
        "total_burr_grams": (
            None
            if fitted is None or fitted.prior_mg is None
            else fitted.prior_mg / 1000 + burr.grams_mg / 1000
        ),
        "burr_run_count": None if fitted is None else burr.run_count,
        "burr_estimated_mg": None if fitted is None else estimate(burr, flow),
        "grinder_mg": coffee.grams_mg,
        "run_ms": total(known, grinder_id, at_ms, 0, None, PURPOSES).on_ms,
        "motor_ms": total(known, grinder_id, at_ms, replaced_ms, None, PURPOSES).on_ms,
        "grinder_estimated_mg": estimate(coffee, flow_of_all),
        "today_mg": today.grams_mg,
        "today_estimated_mg": estimate(today, flow_of_all),
        "last_run_ms": max(begun, default=None),
        **_duty(known, grinder_id, at_ms, plate, flow),
        "motor": _motor(known, grinder_id, at_ms),
    }


def _duty(
    known: Known, grinder_id: str, at_ms: int, plate: dict[str, Any], flow: Fraction | None
) -> dict[str, Any]:
    cycle_ms = round((plate.get("rated_duty") or {}).get("cycle_seconds", 600) * SECOND)
    since_ms = at_ms - cycle_ms
    ran = ran_spans(known, grinder_id, at_ms) + open_runs(known, grinder_id, since_ms, at_ms)
    on_ms = measured_ms(since_ms, at_ms, ran, lambda instant: _within(instant, ran))
    borders, holds = is_known_at(known, grinder_id, at_ms)
    covered_ms = measured_ms(
        since_ms, at_ms, [*borders, *ran], lambda instant: holds(instant) or _within(instant, ran)
    )
    possible_ms: Fraction | None = Fraction(0)
    for share in shares(known, grinder_id, at_ms):
        lasted_ms = Fraction(0)
        if share.counted.started_ms < since_ms - LONGEST_RUN_MS:
            continue
        if share.counted.run.on_ms is None and not share.grind_has_seconds and share.grams_mg:
            if not flow:
                possible_ms = None  # it may have lasted as long as any run
                break
            lasted_ms = share.grams_mg / flow
        if not share.counted.is_placed:
            lasted_ms += share.counted.run.on_ms or 0
        ended_ms = share.counted.started_ms + lasted_ms
        possible_ms += max(Fraction(0), ended_ms - max(since_ms, share.counted.started_ms))
    high = Fraction(1)
    if possible_ms is not None:
        high = min(Fraction(1), (on_ms + cycle_ms - covered_ms + possible_ms) / Fraction(cycle_ms))
    return {
        "on_ms": on_ms,
        "cycle_ms": cycle_ms,
        "low_fraction": Fraction(on_ms, cycle_ms),
        "high_fraction": high,
        "coverage_fraction": Fraction(covered_ms, cycle_ms),
    }


def _motor(known: Known, grinder_id: str, at_ms: int) -> tuple[int, int] | None:
    """The instant and tenths of a degree of the latest motor temperature of the last 24 h."""
    read = [
        (fact.at_ms, fact.motor_decicelsius)
        for fact in known.of(ReadingFact)
        if fact.grinder_id == grinder_id
        and fact.motor_decicelsius is not None
        and at_ms - DAY < fact.at_ms <= at_ms
    ]
    read += [
        (counted.ended_ms, counted.run.motor_decicelsius)
        for counted in counted_runs(known, grinder_id)
        if counted.run.motor_decicelsius is not None
        and not counted.is_out
        and counted.is_placed
        and at_ms - DAY < counted.started_ms
        and counted.ended_ms <= at_ms
    ]
    return max(read, default=None)


def buckets(
    known: Known, grinder_id: str, by: str, low_ms: int, high_ms: int, at_ms: int
) -> list[dict[str, Any]]:
    """The numbers of a throughput answer, grams in mg and times in ms."""
    site = site_at(known, plate_at(known, grinder_id, at_ms)["site_id"], at_ms)
    high_ms = min(high_ms, at_ms)
    starts = _starts(site["time_zone"], by, low_ms - 9 * DAY, high_ms + 9 * DAY)
    coffee = total(known, grinder_id, at_ms, 0, None, COFFEE)
    flow = coffee.flow or expected_flow(known, grinder_id, at_ms)
    borders, holds = is_known_at(known, grinder_id, at_ms)
    opened = open_minutes(site)
    found = []
    for start, end in pairwise(starts):
        if high_ms <= low_ms or end <= low_ms or start >= high_ms:
            continue
        inside = total(known, grinder_id, at_ms, start, end, COFFEE)
        everything = total(known, grinder_id, at_ms, start, end, PURPOSES)
        by_purpose = {
            purpose: total(known, grinder_id, at_ms, start, end, [purpose]).grams_mg
            for purpose in PURPOSES
        }
        until = max(start, min(end, at_ms))
        minutes = [
            (max(minute, start), min(minute + MINUTE, until))
            for minute in range(start // MINUTE * MINUTE, until, MINUTE)
            if opened(minute)
        ]
        found.append(
            {
                "from_ms": start,
                "to_ms": end,
                "mg": inside.grams_mg,
                "estimated_mg": estimate(inside, flow),
                "cleaning_mg": by_purpose["cleaning"],
                "run_count": everything.run_count,
                "run_ms": everything.on_ms,
                "mg_by_purpose": {name: mg for name, mg in by_purpose.items() if mg},
                "open_ms": sum(high - low for low, high in minutes),
                "covered_ms": sum(
                    measured_ms(low, high, borders, holds) for low, high in _merged(minutes)
                ),
            }
        )
    return found


def listed_runs(known: Known, grinder_id: str) -> list[dict[str, Any]]:
    """Every run as it must be read back."""
    parts = {share.counted.run.run_id: share for share in shares(known, grinder_id, 2**60)}
    found = []
    for counted in counted_runs(known, grinder_id):
        run, share = counted.run, parts.get(counted.run.run_id)
        has_grams = share is not None and share.grams_mg is not None
        has_seconds = share is not None and share.on_ms is not None
        own = {
            "setting": None if run.setting_milli is None else run.setting_milli / 1000,
            "coffee_lot": run.coffee_lot,
            "purpose": run.purpose,
        }
        told = {
            name: told_by_periods(known, grinder_id, name, counted.started_ms)
            for name in FILLED
            if own.get(name) is None
        }
        told = {name: value for name, value in told.items() if value is not None}
        found.append(
            {
                "run_id": run.run_id,
                "started_ms": counted.started_ms,
                "mg": counted.grams_mg,
                "on_ms": run.on_ms,
                "raw": (
                    (run.raw_started_ms, run.grams_mg) if counted.correction_ids else (None, None)
                ),
                "correction_ids": counted.correction_ids,
                "counts": ("grams",) * has_grams + ("seconds",) * has_seconds,
                "is_disagreeing": share is not None and share.disagrees,
                "from_period": tuple(name for name in FILLED if name in told),
                "filled": {name: (own | told).get(name) for name in FILLED}
                | {"purpose": (own | told).get("purpose") or "service"},
            }
        )
    return sorted(found, key=lambda row: (row["started_ms"], row["run_id"]))


# --- calendar -----------------------------------------------------------------------------------


@lru_cache(maxsize=100_000)
def _local(zone: str, at_ms: int) -> datetime:
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=at_ms)
    return at.astimezone(ZoneInfo(zone))


@lru_cache(maxsize=10_000)
def _starts(zone: str, by: str, low_ms: int, high_ms: int) -> list[int]:
    """Every instant in [low, high) at which a local hour, day or week begins."""
    found = []
    for at_ms in range(low_ms // QUARTER * QUARTER, high_ms, QUARTER):
        local = _local(zone, at_ms)
        if (
            local.minute == 0
            and (by == "hour" or local.hour == 0)
            and (by != "week" or local.weekday() == 0)
        ):
            found.append(at_ms)
    return found


def open_minutes(site: dict[str, Any]) -> Callable[[int], bool]:
    """Whether a site is open in the minute that begins at an instant."""
    zone, closed = site["time_zone"], frozenset(site["closed_days"])
    hours = site.get("opening_hours")
    kept = (
        None
        if hours is None
        else tuple((name, tuple(map(tuple, pairs))) for name, pairs in sorted(hours.items()))
    )
    return lambda at_ms: _is_open(zone, closed, kept, at_ms)


@lru_cache(maxsize=200_000)
def _is_open(zone: str, closed: frozenset[str], hours: Any, at_ms: int) -> bool:
    local = _local(zone, at_ms)
    if hours is None:
        return local.date().isoformat() not in closed
    clock = f"{local:%H:%M}"
    for days_back in (0, 1):
        day = local.date() - timedelta(days=days_back)
        if day.isoformat() in closed:
            continue
        for low, high in dict(hours).get(f"{day:%a}".lower(), ()):
            is_overnight = high <= low
            if days_back == 0 and low <= clock and (is_overnight or clock < high):
                return True
            if days_back == 1 and is_overnight and clock < high:
                return True
    return False


def _merged(spans: list[Span]) -> list[Span]:
    merged: list[Span] = []
    for low, high in spans:
        if merged and merged[-1][1] == low:
            merged[-1] = (merged[-1][0], high)
        else:
            merged.append((low, high))
    return merged


def _to_ms(at: datetime) -> int:
    return (at - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)
