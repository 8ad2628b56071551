"""The service and the naive model, told the same facts in any order, and asked the same things."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from random import Random
from typing import Any, ClassVar

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from sqlalchemy import select

from burrline_service.core.records import PURPOSES
from burrline_service.store import sums
from burrline_service.store.database import Connection, Database
from burrline_service.store.row_columns import RunRow
from burrline_service.store.runs import COLUMNS
from burrline_service.store.sums import Sums
from burrline_service.store.tables import SUM_NAMES, grinder_day, grinder_hour, run

from . import made_up, naive
from .cut_down import complaint_of, described, smallest
from .facts import (
    BEGIN_MS,
    DAY,
    GRINDERS,
    HOUR,
    MINUTE,
    NOW_MS,
    BurrSetFact,
    CareFact,
    CorrectionFact,
    Fact,
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
    name_of,
)
from .told import ToldService, milliseconds, text_of

picks = st.integers(0, 10_000)
CAN_BE_VOIDED = (
    RunFact,
    ReadingFact,
    TallyFact,
    PeriodFact,
    CorrectionFact,
    CareFact,
    BurrSetFact,
)


class FactsMachine(RuleBasedStateMachine):
    """Tell facts in any way; at every step sums are a recount, in the end answers are the same."""

    database: ClassVar[Database]
    is_cut_down: ClassVar[bool] = True
    found_good: ClassVar[set[str]]
    make_service: ClassVar[Callable[[Database], ToldService]] = ToldService

    def __init__(self) -> None:
        super().__init__()
        self.service = type(self).make_service(self.database)
        self.facts: dict[str, Fact] = {}
        self.voided: set[str] = set()
        self.dice = Random(0)

    @property
    def known(self) -> Known:
        return Known(tuple(self.facts.values()), frozenset(self.voided))

    @initialize(
        seed=picks,
        shapes=st.lists(made_up.runs(), min_size=8, max_size=12),
        corrections=st.lists(made_up.corrections, min_size=0, max_size=3),
        is_corrected_first=st.booleans(),
    )
    def begin(
        self,
        seed: int,
        shapes: list[RunFact],
        corrections: list[CorrectionFact],
        is_corrected_first: bool,
    ) -> None:
        """Every history has some runs that meet, and more often than not a correction."""
        self.dice = Random(seed)
        if is_corrected_first:
            self._correct(corrections)
        self.send_runs(shapes, seed)
        if not is_corrected_first:
            self._correct(corrections)

    # --- telling facts ---------------------------------------------------------------------

    @rule(shapes=st.lists(made_up.runs(), min_size=2, max_size=7), picked=picks)
    def send_runs(self, shapes: list[RunFact], picked: int) -> None:
        """One batch for each time of sending, with lines that repeat others."""
        fresh = [
            replace(self.service.sendable(shape), run_id=f"run-{len(self.facts) + number:08d}")
            for number, shape in enumerate(shapes)
        ]
        for sent_ms in sorted({fact.sent_ms for fact in fresh}):
            batch = [fact for fact in fresh if fact.sent_ms == sent_ms]
            again = [batch[picked % len(batch)]] if picked % 3 == 0 else []
            words = self.service.send_runs([*batch, *again])
            assert words == ["accepted"] * len(batch) + ["duplicate"] * len(again)
        self._keep(*fresh)

    @precondition(lambda self: self._has(*self.service.once_only))
    @rule(picked=picks, seconds=st.sampled_from((0, 60, 3600)))
    def send_again(self, picked: int, seconds: int) -> None:
        """A repeat changes nothing, whenever it comes and whatever became of the first."""
        fact = self._picked(picked, *self.service.once_only)
        if isinstance(fact, RunFact):
            later = replace(fact, sent_ms=fact.sent_ms + seconds * 1000)
            if fact.age_ms is not None:
                later = replace(later, age_ms=fact.age_ms + seconds * 1000)
            fact = later
        assert self.service.enter(fact) == "duplicate"

    @precondition(lambda self: self._has(RunFact, TallyFact))
    @rule(picked=picks, grams_mg=st.sampled_from((18_002, 5)))
    def send_other_content(self, picked: int, grams_mg: int) -> None:
        """The first that came by an id is kept."""
        other = replace(self._picked(picked, RunFact, TallyFact), grams_mg=grams_mg)
        assert self.service.enter(other) == "conflict"

    @rule(
        at_ms=made_up.instants,
        length_ms=made_up.lengths,
        grinder_id=made_up.grinder_ids,
        grams_mg=made_up.tallied_mg,
        basis=made_up.bases,
        purpose=made_up.purposes,
    )
    def add_tally(
        self,
        at_ms: int,
        length_ms: int,
        grinder_id: str,
        grams_mg: int,
        basis: str,
        purpose: str,
    ) -> None:
        name = f"tally-{len(self.facts):06d}"
        to_ms = at_ms + length_ms
        self._tell(TallyFact(name, grinder_id, at_ms, to_ms, grams_mg, basis, purpose))

    @rule(
        at_ms=made_up.beginnings,
        length_ms=made_up.long_lengths,
        grinder_id=made_up.grinder_ids,
        values=made_up.period_values,
    )
    def set_period(
        self, at_ms: int, length_ms: int | None, grinder_id: str, values: dict[str, Any]
    ) -> None:
        name = f"period-{len(self.facts):06d}"
        to_ms = None if length_ms is None else at_ms + length_ms
        self._tell(PeriodFact(name, grinder_id, at_ms, to_ms, tuple(sorted(values.items()))))

    @rule(correction=made_up.corrections)
    def add_correction(self, correction: CorrectionFact) -> None:
        self._correct([correction])

    def _correct(self, corrections: list[CorrectionFact]) -> None:
        for correction in corrections:
            self._tell(replace(correction, correction_id=f"correction-{len(self.facts):06d}"))

    @rule(
        at_ms=made_up.instants,
        lengths_ms=st.lists(st.sampled_from((0, 4_000, 9_000, 90_000)), min_size=1, max_size=3),
        grinder_id=made_up.grinder_ids,
        decicelsius=st.sampled_from((None, 455, 702)),
        ahead=st.integers(0, 4),
    )
    def add_readings(
        self,
        at_ms: int,
        lengths_ms: list[int],
        grinder_id: str,
        decicelsius: int | None,
        ahead: int,
    ) -> None:
        """Signs of life of a run that has come, that comes later, or that never will."""
        run_id = f"run-{max(0, len(self.facts) + ahead - 2):08d}"
        fresh = [
            ReadingFact(
                reading_id=f"reading-{len(self.facts) + number:06d}",
                grinder_id=grinder_id,
                at_ms=at_ms + length_ms,
                motor_decicelsius=decicelsius if ahead else 455,
                is_running=True if ahead else None,
                run_id=run_id if ahead else None,
            )
            for number, length_ms in enumerate(lengths_ms)
        ]
        assert self.service.send_readings(fresh) == ["accepted"] * len(fresh)
        self._keep(*fresh)

    @rule(
        at_ms=made_up.instants,
        length_ms=made_up.lengths,
        grinder_id=made_up.grinder_ids,
        is_care=st.booleans(),
    )
    def watch_or_clean(self, at_ms: int, length_ms: int, grinder_id: str, is_care: bool) -> None:
        if is_care:
            task = "motor_replaced" if length_ms % 2 else "cleaning"
            self._tell(CareFact(f"care-{len(self.facts):06d}", grinder_id, at_ms, task))
        else:
            self._tell(WatchedFact(grinder_id, at_ms, at_ms + length_ms))

    @rule(at_ms=made_up.instants, change=made_up.changes)
    def change_plate_or_site(self, at_ms: int, change: tuple[str, Any]) -> None:
        name, patch = change
        kind = PlateFact if name in GRINDERS else SiteFact
        fact = kind(name, at_ms, patch)
        if name_of(fact) not in self.facts:  # two changes of one instant are one, the later wins
            self._tell(fact)

    @rule(
        stay=made_up.stays,
        prior_mg=st.sampled_from((0, None, 1_500_000)),
        geometry=st.sampled_from(("flat", "conical")),
    )
    def fit_new_set(self, stay: Stay, prior_mg: int | None, geometry: str) -> None:
        stay = replace(stay, removed_ms=None)
        fact = BurrSetFact(f"set-{len(self.facts)}", geometry, prior_mg, (stay,))
        self._try(fact, lambda: self.service.enter(fact))

    @precondition(lambda self: self._has(BurrSetFact))
    @rule(picked=picks, stays=st.lists(made_up.stays, min_size=1, max_size=3))
    def move_or_mend_set(self, picked: int, stays: list[Stay]) -> None:
        fact = self._picked(picked // 2, BurrSetFact)
        if picked % 2:
            self._move(fact, stays[0])
        else:
            self._mend(fact, stays)

    def _move(self, fact: BurrSetFact, stay: Stay) -> None:
        if name_of(fact) in self.voided:
            assert self.service.fit_known(fact.burr_set_id, stay) == "NotFound"
            return
        stay = replace(stay, removed_ms=None)
        moved = replace(fact, stays=(*fact.stays, stay))
        self._try(moved, lambda: self.service.fit_known(fact.burr_set_id, stay))

    def _mend(self, fact: BurrSetFact, stays: list[Stay]) -> None:
        mended = replace(fact, stays=tuple(stays))
        if name_of(fact) in self.voided:
            assert self.service.mend(mended) == "NotFound"
            return
        self._try(mended, lambda: self.service.mend(mended))

    def _try(self, fact: BurrSetFact, act: Callable[[], str]) -> None:
        """Stays that contradict others are refused, and nothing is changed."""
        after = Known(tuple({**self.facts, name_of(fact): fact}.values()), frozenset(self.voided))
        if naive.can_be_true(after):
            assert act() == "accepted"
            self._keep(fact)
        else:
            assert act() in ("FittingsOverlap", "Invalid")

    @precondition(lambda self: self._has(*CAN_BE_VOIDED))
    @rule(picked=picks, is_twice=st.booleans())
    def void(self, picked: int, is_twice: bool) -> None:
        fact = self._picked(picked, *CAN_BE_VOIDED)
        for _ in range(1 + is_twice):
            assert self.service.void(fact) == "accepted"
        self.voided.add(name_of(fact))

    @precondition(lambda self: self._has(RunFact, CorrectionFact))
    @rule(picked=picks)
    def void_a_run_or_correction(self, picked: int) -> None:
        fact = self._picked(picked, RunFact, CorrectionFact)
        assert self.service.void(fact) == "accepted"
        self.voided.add(name_of(fact))

    # --- asking ----------------------------------------------------------------------------

    @invariant()
    def sums_are_a_recount(self) -> None:
        check_sums(self.database, self.service)

    @rule(picked=picks, ahead_ms=st.sampled_from((0, -1, 1, 1_000)), grinder_id=made_up.grinder_ids)
    def ask(self, picked: int, ahead_ms: int, grinder_id: str) -> None:
        times = times_of(self.known)
        at_ms = min(times[picked % len(times)] + ahead_ms, NOW_MS)
        check_status(self.service, self.known, grinder_id, at_ms)

    def teardown(self) -> None:
        told = repr((self.facts, sorted(self.voided)))
        if not self.facts or told in self.found_good:
            return  # the same history is drawn again and again
        try:
            check(self.database, self.service, self.known, self.dice)
            self.found_good.add(told)
        except (AssertionError, ValueError) as error:
            if not self.is_cut_down:
                raise
            raise AssertionError(self._cut_down(error)) from error

    def _cut_down(self, error: Exception) -> str:
        make_service = type(self).make_service
        tell = tell_in_another_order
        few, complaint = smallest(
            self.known,
            complaint_of(
                self.database,
                make_service,
                lambda _, service, known, dice: tell(service, known, dice),
                check,
            ),
        )
        if complaint is None:
            return f"only as it was told, step by step: {error}"
        return f"{complaint}\nThese facts are enough:\n{described(few)}"

    # --- what is kept ----------------------------------------------------------------------

    def _tell(self, fact: Fact) -> None:
        told = self.service.sendable(fact)
        if told is not None:
            assert self.service.enter(told) == "accepted"
            self._keep(told)

    def _keep(self, *facts: Fact) -> None:
        self.facts |= {name_of(fact): fact for fact in facts}

    def _has(self, *kinds: type) -> bool:
        return any(isinstance(fact, kinds) for fact in self.facts.values())

    def _picked(self, picked: int, *kinds: type) -> Any:
        among = [fact for fact in self.facts.values() if isinstance(fact, kinds)]
        return among[picked % len(among)]


def machine_on(database: Database, **settings: Any) -> type[FactsMachine]:
    fresh = {"database": database, "found_good": set(), **settings}
    return type("FactsMachine", (FactsMachine,), fresh)


# --- telling the same facts another way ---------------------------------------------------------


def tell_in_another_order(service: ToldService, known: Known, dice: Random) -> None:
    """The same facts shuffled, in other batches, with repeats, voids any time after their thing."""
    facts = list(known.entered)
    dice.shuffle(facts)
    # a voided burr set left room that others may have taken since: it comes and goes before them
    facts.sort(key=lambda fact: isinstance(fact, BurrSetFact) and name_of(fact) not in known.voided)
    live = [fact for fact in facts if isinstance(fact, BurrSetFact)]
    live = [fact for fact in live if name_of(fact) not in known.voided]
    others = [fact for fact in facts if fact not in live]
    steps: list[tuple[str, Fact]] = []
    for fact in others:
        steps.append(("enter", fact))
        if name_of(fact) in known.voided and isinstance(fact, BurrSetFact):
            steps.append(("void", fact))
    last_voided = max(
        (index for index, (what, _) in enumerate(steps) if what == "void"), default=-1
    )
    for fact in live:
        steps.insert(dice.randint(last_voided + 1, len(steps)), ("enter", fact))
    for fact in others:
        position = next(i for i, (_, other) in enumerate(steps) if other is fact)
        if name_of(fact) in known.voided and not isinstance(fact, BurrSetFact):
            steps.insert(dice.randint(position + 1, len(steps)), ("void", fact))
        if isinstance(fact, (*service.once_only, WatchedFact)) and dice.random() < 0.3:
            steps.insert(dice.randint(position + 1, len(steps)), ("again", fact))
    batch: list[RunFact] = []
    for what, fact in steps:
        if isinstance(fact, RunFact) and what != "void":
            if batch and (batch[0].sent_ms != fact.sent_ms or dice.random() < 0.2):
                service.send_runs(batch)
                batch = []
            batch.append(fact)
            continue
        if batch:
            service.send_runs(batch)
            batch = []
        if what == "void":
            assert service.void(fact) == "accepted"
        else:
            is_new = what == "enter" or isinstance(fact, WatchedFact)
            assert service.enter(fact) == ("accepted" if is_new else "duplicate"), fact
    if batch:
        service.send_runs(batch)


# --- comparing ----------------------------------------------------------------------------------


def times_of(known: Known) -> list[int]:
    """Instants at which something begins or ends."""
    times = {NOW_MS, BEGIN_MS + 25 * HOUR}
    for fact in known.entered:
        times.add(fact.own_ms)
        match fact:
            case RunFact():
                times.add(fact.own_ms + (fact.on_ms or 0))
                times.add(fact.own_ms + (fact.on_ms or 0) // 2)
            case BurrSetFact():
                times |= {stay.fitted_ms for stay in fact.stays}
                times |= {stay.removed_ms for stay in fact.stays if stay.removed_ms is not None}
            case TallyFact() | WatchedFact():
                times |= {fact.to_ms, (fact.from_ms + fact.to_ms) // 2}
            case PeriodFact() | CorrectionFact():
                times |= set() if fact.to_ms is None else {fact.to_ms}
    return sorted(time for time in times if time <= NOW_MS)


def instant_of(known: Known, dice: Random) -> int:
    """An instant to ask about, mostly about a run that is just beginning, or amid a tally."""
    corrections = known.of(CorrectionFact)
    starts = [moved_ms(fact, corrections) for fact in known.of(RunFact)]
    tallies = known.of(TallyFact)
    if tallies and dice.random() < 0.2:
        tally = dice.choice(tallies)
        at_ms = dice.randint(tally.from_ms, tally.to_ms)
    elif starts and dice.random() < 0.7:
        at_ms = dice.choice(starts) + dice.choice((0, 0, -1, 1, -1_500, -4_000, 1_500, 3_000))
    else:
        at_ms = dice.choice(times_of(known)) + dice.choice((0, 0, -1, 1, MINUTE))
    return min(NOW_MS, at_ms)


def check_sums(database: Database, service: ToldService) -> None:
    """The sums that are kept by hour and day are those of the rows that are kept."""
    account_no = service.caller.account_no

    def work(connection: Connection) -> None:
        rows = [
            RunRow(*row)
            for row in connection.execute(select(*COLUMNS).where(run.c.account_no == account_no))
        ]
        for table, unit, length_ms in ((grinder_hour, "hour", HOUR), (grinder_day, "day", DAY)):
            recount: dict[tuple[int, int, int], Sums] = defaultdict(Sums)
            for row in rows:
                key = (row.grinder_no, row.started_ms // length_ms, row.purpose)
                recount[key] = recount[key].plus(sums.of_run(row))
            kept = {
                (row.grinder_no, getattr(row, unit), row.purpose): Sums(
                    *(getattr(row, name) for name in SUM_NAMES)
                )
                for row in connection.execute(select(table).where(table.c.account_no == account_no))
            }
            assert {k: v for k, v in kept.items() if v != Sums()} == {
                k: v for k, v in recount.items() if v != Sums()
            }, unit

    database.read(account_no, work)


def check(database: Database, service: ToldService, known: Known, dice: Random) -> None:
    """What is promised of a service that was told some facts."""
    check_sums(database, service)
    check_everything(service, known, dice)
    retold = service.another()
    tell_in_another_order(retold, known, dice)
    check_sums(database, retold)
    check_same(service, retold, known, dice)
    for _ in range(2):
        at_ms = instant_of(known, dice)
        earlier = service.another()
        tell_in_another_order(earlier, known.up_to(at_ms), dice)
        check_same_at(service, earlier, at_ms, dice)


def check_everything(service: ToldService, known: Known, dice: Random) -> None:
    """Statuses, throughput and lists are those of the naive model."""
    for grinder_id in GRINDERS:
        for at_ms in {NOW_MS, *(instant_of(known, dice) for _ in range(9))}:
            check_status(service, known, grinder_id, at_ms)
        for by, length_ms in (("hour", 5 * HOUR), ("day", 3 * DAY), ("week", 6 * DAY)):
            at_ms = instant_of(known, dice)
            low_ms = instant_of(known, dice) - dice.choice((0, length_ms // 2))
            check_throughput(service, known, grinder_id, by, low_ms, low_ms + length_ms, at_ms)
        check_listed(service, known, grinder_id)
        now, then = (service.status(grinder_id, at_ms) for at_ms in (None, NOW_MS))
        must_be_equal(now, then, "status, now and as of now")


def check_status(service: ToldService, known: Known, grinder_id: str, at_ms: int) -> None:
    found = service.status(grinder_id, at_ms)
    through, duty, motor = found.throughput, found.duty, found.motor
    told = {
        "site_id": found.site_id,
        "burr_set_id": through.burr_set_id,
        "burr_mg": whole(through.burr_grams),
        "total_burr_grams": through.total_burr_grams,
        "burr_run_count": through.burr_run_count,
        "burr_estimated_mg": whole(through.burr_estimated_grams),
        "grinder_mg": whole(through.grinder_grams),
        "run_ms": whole(through.grinder_run_seconds),
        "motor_ms": whole(through.motor_run_seconds),
        "grinder_estimated_mg": whole(through.grinder_estimated_grams),
        "today_mg": whole(through.today_grams),
        "today_estimated_mg": whole(through.today_estimated_grams),
        "last_run_ms": None if through.last_run_at is None else milliseconds(through.last_run_at),
        "on_ms": whole(duty.on_seconds),
        "cycle_ms": whole(duty.cycle_seconds),
        "low_fraction": duty.low_fraction,
        "high_fraction": duty.high_fraction,
        "coverage_fraction": duty.coverage_fraction,
        "motor": (
            None
            if motor.reading_celsius is None
            else (milliseconds(motor.read_at), whole(motor.reading_celsius, 10))
        ),
    }
    expected = naive.status(known, grinder_id, at_ms)
    for name in ("low_fraction", "high_fraction", "coverage_fraction"):
        expected[name] = round(float(expected[name]), 6)
    for name in ("burr", "grinder", "today"):
        settle_estimate(told, expected, f"{name}_estimated_mg")
    assert told == expected, (grinder_id, at_ms, difference(told, expected))


def check_throughput(
    service: ToldService,
    known: Known,
    grinder_id: str,
    by: str,
    low_ms: int,
    high_ms: int,
    at_ms: int,
) -> None:
    low_ms = min(low_ms, at_ms)
    found = service.throughput(grinder_id, by, low_ms, high_ms, at_ms)
    expected = naive.buckets(known, grinder_id, by, low_ms, high_ms, at_ms)
    told = [
        {
            "from_ms": milliseconds(bucket.from_at),
            "to_ms": milliseconds(bucket.to_at),
            "mg": whole(bucket.grams),
            "estimated_mg": whole(bucket.estimated_grams),
            "cleaning_mg": whole(bucket.cleaning_grams),
            "run_count": bucket.run_count,
            "run_ms": whole(bucket.run_seconds),
            "mg_by_purpose": {k: whole(grams) for k, grams in bucket.grams_by_purpose.items()},
            "open_ms": whole(bucket.open_seconds),
            "covered_ms": whole(bucket.covered_seconds),
        }
        for bucket in found.buckets
    ]
    for mine, theirs in zip(told, expected, strict=False):
        settle_estimate(mine, theirs, "estimated_mg")
    asked = (grinder_id, by, low_ms, high_ms, at_ms)
    assert told == expected, (
        asked,
        len(told),
        len(expected),
        [difference(*pair) for pair in zip(told, expected, strict=False)],
    )


def check_listed(service: ToldService, known: Known, grinder_id: str) -> None:
    """Runs are read back as they count, in the order of their start."""
    items = service.listed(grinder_id)["list_runs"]
    told = [
        {
            "run_id": item.run.run_id,
            "started_ms": milliseconds(item.run.started_at),
            "mg": whole(item.run.grams),
            "on_ms": whole(item.run.seconds),
            "raw": (
                None if item.raw_started_at is None else milliseconds(item.raw_started_at),
                whole(item.raw_grams),
            ),
            "correction_ids": item.correction_ids,
            "counts": item.counts,
            "is_disagreeing": any(found.code == "sources_disagree" for found in item.findings),
            "from_period": item.from_period,
            "filled": {name: getattr(item.run, name) for name in naive.FILLED},
        }
        for item in items
    ]
    starts = [row["started_ms"] for row in told]
    assert starts == sorted(starts)
    told.sort(key=lambda row: (row["started_ms"], row["run_id"]))
    expected = naive.listed_runs(known, grinder_id)
    assert told == expected, [difference(*pair) for pair in zip(told, expected, strict=False)]


def check_same(one: ToldService, other: ToldService, known: Known, dice: Random) -> None:
    """Two services told the same facts answer the same to the last byte."""
    for grinder_id in GRINDERS:
        mine, theirs = (service.listed(grinder_id) for service in (one, other))
        for name, items in mine.items():
            must_be_equal(items, theirs[name], name)
    check_same_at(one, other, NOW_MS, dice)
    check_same_at(one, other, instant_of(known, dice), dice)


def check_same_at(one: ToldService, other: ToldService, at_ms: int, dice: Random) -> None:
    """Two services answer the same of an instant to the last byte."""
    for grinder_id in GRINDERS:
        mine, theirs = (service.status(grinder_id, at_ms) for service in (one, other))
        must_be_equal(mine, theirs, "status", at_ms)
        mine, theirs = (service.alerts(grinder_id, at_ms) for service in (one, other))
        must_be_equal(mine, theirs, "alerts", at_ms)
        by, length_ms = dice.choice((("hour", 5 * HOUR), ("day", 6 * DAY), ("week", 8 * DAY)))
        high_ms = at_ms + dice.choice((HOUR, 0, -1, -3 * HOUR))
        mine, theirs = (
            service.throughput(grinder_id, by, high_ms - length_ms, high_ms, at_ms)
            for service in (one, other)
        )
        must_be_equal(mine, theirs, "throughput", by, at_ms)


def must_be_equal(mine: Any, theirs: Any, *asked: Any) -> None:
    """Two answers are the same text; where they are not, the first difference is shown."""
    one, other = text_of(mine), text_of(theirs)
    if one != other:
        differs = next(
            (i for i, pair in enumerate(zip(one, other, strict=False)) if pair[0] != pair[1]),
            min(len(one), len(other)),
        )
        low = max(0, differs - 150)
        raise AssertionError(
            f"{asked}: ...{one[low : differs + 100]}... but ...{other[low : differs + 100]}..."
        )


def whole(number: float | None, per_unit: int = 1000) -> int | None:
    """The whole number of thousandths (or tenths) that an answer stands for, and no other."""
    if number is None:
        return None
    found = round(number * per_unit)
    assert number == found / per_unit, f"{number} is no whole number of 1/{per_unit}"
    return found


def settle_estimate(told: dict[str, Any], expected: dict[str, Any], name: str) -> None:
    """Estimates are rounded from a binary number: right where that is, on a half either way."""
    exact: Fraction | None = expected[name]
    if exact is None:
        return
    expected[name] = round(exact)
    if told[name] is not None and abs(exact - told[name]) <= Fraction(1, 2) + Fraction(1, 10**6):
        expected[name] = told[name]


def difference(told: dict[str, Any], expected: dict[str, Any]) -> dict[str, Any]:
    """What was told beside what was expected, where they differ."""
    return {
        name: (told.get(name), expected.get(name))
        for name in told.keys() | expected.keys()
        if told.get(name) != expected.get(name)
    }


assert set(PURPOSES) == set(naive.PURPOSES)
