"""Evidence on the flow: cells with kilograms, days and seatings, from sums and cells alone."""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import event

from burrline_service.actions import asked, entries, folding, ingest, keep, places, stream
from burrline_service.actions.counting import count
from burrline_service.actions.stream import StreamEvidence
from burrline_service.core.records import Caller
from burrline_service.core.stream_eligible import fold_runs
from burrline_service.core.stream_periods import told_by_periods
from burrline_service.core.stream_sessions import HourPlace, read_sessions
from burrline_service.store import driver, grinders, stream_cells, stream_runs
from burrline_service.store.database import Connection, Database
from burrline_service.store.stream_cells import Folded
from burrline_service.store.tables import HOUR_MS
from burrline_service.store.types import to_milliseconds
from histories import histories
from small_chain import (
    DAY,
    HOUR,
    MINUTE,
    NOW,
    OPENED_AT,
    SECOND,
    a_run,
    fit,
    make_site,
    new_chain,
    send,
)

ANY = frozenset({-1})
FITTED_AT = OPENED_AT + 17 * MINUTE
ZERO = {"task": "burrs_removed", "zero_setting": 0.3}


def about(
    connection: Connection, caller: Caller, at: datetime | None, now: datetime = NOW
) -> asked.Asked:
    row = grinders.by_id(connection, caller.account_no, "bar-1", as_of=at or now)
    assert row is not None
    (one,) = asked.about(connection, caller.account_no, [row], as_of=at, now=now)
    return one


def evidence(
    database: Database, caller: Caller, at: datetime | None = None, *, keeps: bool = False
) -> StreamEvidence:
    def work(connection: Connection) -> tuple[StreamEvidence, Folded | None]:
        one = about(connection, caller, at)
        stream.want_stream(one.found.grinder_no, one.stays)
        count(connection, caller.account_no, {stay.counter for stay in one.stays})
        return stream.stream_evidence_of(
            connection, caller.account_no, one.found.grinder_no, one.stays, at_ms=one.at_ms
        )

    found, folded = database.read(caller.account_no, work)
    if keeps:
        stream.keep_folded(database, caller.account_no, folded)
    return found


def shots(number: int, at: datetime, **fields: Any) -> list[Any]:
    """A run at that minute of each of six hours from an instant on."""
    given = {"setting": 4.8, "feed": "hopper", **fields}
    return [a_run(10 * number + n, at + n * HOUR, seconds=8.0 + n / 10, **given) for n in range(6)]


def period(database: Database, caller: Caller, at: datetime, **fields: Any) -> None:
    entries.set_period(
        database, caller, grinder_id="bar-1", fields={"from_at": at, **fields}, now=NOW
    )


def full_scene(database: Database) -> Caller:
    """Six days with all that shifts kilograms, days and seatings."""
    caller = new_chain(database)
    fit(database, caller, "bar-1", "set-1", FITTED_AT)
    for day in range(6):
        at = OPENED_AT + day * DAY
        send(database, caller, shots(3 * day, at + 30 * MINUTE))
        send(database, caller, shots(3 * day + 1, at + 31 * MINUTE, setting=None, feed=None))
        send(database, caller, shots(3 * day + 2, at + 32 * MINUTE, purpose="cleaning"))
    period(database, caller, OPENED_AT + DAY + 3 * HOUR + 31 * MINUTE, setting=5.0, feed="hopper")
    period(database, caller, OPENED_AT + 2 * DAY + 90 * MINUTE, purpose="cleaning",
           to_at=OPENED_AT + 2 * DAY + 4 * HOUR)  # fmt: skip
    fields = {"grinder_id": "bar-1", "from_at": OPENED_AT + DAY, "to_at": OPENED_AT + 3 * DAY}
    for basis, grams in (("weighed_in", 1234.567), ("estimated", 9000.0)):
        entries.add_tally(
            database, caller, fields={**fields, "grams": grams, "basis": basis}, now=NOW
        )
    cared = {**ZERO, "at": OPENED_AT + 3 * DAY + 2 * HOUR + 31 * MINUTE}
    entries.record_care(database, caller, grinder_id="bar-1", fields=cared, now=NOW)
    ingest.void_run(database, caller, run_id="run-00000002", now=NOW)
    send(database, caller, shots(99, OPENED_AT + 4 * DAY + 30 * MINUTE + SECOND, source="plug"))
    return caller


def test_the_scene_told_by_hand(database: Database) -> None:
    caller = new_chain(database)
    fit(database, caller, "bar-1", "set-1", FITTED_AT)
    # in the hour of the fitting, in two whole ones, in that of the seating, in one after it
    for number, minutes in enumerate((10, 40, 65, 70, 125, 185, 245)):
        send(
            database,
            caller,
            [a_run(number, OPENED_AT + minutes * MINUTE, setting=4.8, feed="hopper")],
        )
    cared = {**ZERO, "at": OPENED_AT + 200 * MINUTE}
    entries.record_care(database, caller, grinder_id="bar-1", fields=cared, now=NOW)
    found = evidence(database, caller)
    day = OPENED_AT.date().toordinal()
    assert found.closed_before == NOW.date().toordinal()
    assert found.ended_at == {day: OPENED_AT + 5 * HOUR}
    assert found.sessions.left_out == {"burrs_out": 3}
    assert [
        (c.session, c.setting_milli, c.seating, c.grinds_count, c.sum_twice_place_mg)
        for c in found.sessions.cells
    ] == [
        # 18 g went through before the first whole hour, 36 g in it, 18 g in the next
        (day, 4500, 1, 1, 90_000 + 108_000),
        (day, 4800, 0, 3, 2 * (18_000 + 54_000) + (54_000 + 72_000)),
    ]
    assert [(c.session, c.to_mg) for c in found.sessions.closes] == [(day, 108_000)]


def counted_naively(database: Database, caller: Caller, at: datetime | None) -> Any:
    """The same from single runs and from a count of every hour by itself."""

    def work(connection: Connection) -> Any:
        one = about(connection, caller, at)
        number, account_no = one.found.grinder_no, caller.account_no
        (stay,) = one.stays
        first, end = -(-stay.from_ms // HOUR_MS), one.at_ms // HOUR_MS
        for hour in range(first, end):
            stay.counter.want(stay.from_ms, hour * HOUR_MS)
            stay.counter.want(stay.from_ms, (hour + 1) * HOUR_MS)
        count(connection, account_no, [stay.counter])
        runs = list(stream_runs.of_hours(connection, account_no, number, range(first - 1, end)))
        hours = {run.started_ms // HOUR_MS for run in runs}
        seated_ms = to_milliseconds(OPENED_AT + 3 * DAY + 2 * HOUR + 31 * MINUTE)
        made = {}
        for hour in hours - {first - 1, seated_ms // HOUR_MS}:
            middle = datetime.fromtimestamp(hour * 3600 + 1800, UTC)
            was_seated = seated_ms < hour * HOUR_MS
            made[hour] = HourPlace(
                middle.astimezone(ZoneInfo("Europe/Dublin")).toordinal(),
                stay.counter.coffee(stay.from_ms, hour * HOUR_MS).grams_mg,
                stay.counter.coffee(stay.from_ms, (hour + 1) * HOUR_MS).grams_mg,
                int(was_seated),
                300 if was_seated else None,
            )
        told = told_by_periods(stay.counter.periods, hours)
        return read_sessions(fold_runs(runs), made, told)

    return database.read(caller.account_no, work)


def test_kilograms_are_those_of_a_count_of_every_hour(database: Database) -> None:
    caller = full_scene(database)
    reasons: set[str] = set()
    for at in (None, OPENED_AT + 4 * DAY + 3 * HOUR, OPENED_AT + 5 * DAY + 45 * MINUTE):
        found = evidence(database, caller, at)
        assert found.sessions == counted_naively(database, caller, at)
        assert len(found.sessions.cells) > 6
        reasons |= found.sessions.left_out.keys()
    assert reasons >= {"burrs_out", "changed_in_hour", "feed_unrecorded", "not_service"}
    assert "two_devices" in reasons


@contextmanager
def without_runs(monkeypatch: pytest.MonkeyPatch, connection: Connection) -> Iterator[list[str]]:
    """Statements on the way, none of which may name the table of runs."""
    told: list[str] = []

    def tell(statement: str) -> None:
        told.append(statement)
        words = statement.replace(",", " ").replace("(", " ").split()
        assert "run" not in words and "run_more" not in words, statement

    @event.listens_for(connection, "before_cursor_execute")
    def listen(_c: Any, _cursor: Any, statement: str, *_rest: Any) -> None:
        tell(statement)

    rows_of = driver.rows_of

    def telling(connection: Any, statement: str, parameters: Any) -> Any:
        tell(statement)
        return rows_of(connection, statement, parameters)

    monkeypatch.setattr(driver, "rows_of", telling)
    yield told
    monkeypatch.undo()
    event.remove(connection, "before_cursor_execute", listen)


def test_no_run_is_read_once_all_hours_are_folded(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    caller = full_scene(database)
    expected = evidence(database, caller)
    folding.fold_stream(database)

    def work(connection: Connection) -> StreamEvidence:
        one = about(connection, caller, None)
        stream.want_stream(one.found.grinder_no, one.stays)
        count(connection, caller.account_no, {stay.counter for stay in one.stays})
        with without_runs(monkeypatch, connection) as told:
            found, folded = stream.stream_evidence_of(
                connection, caller.account_no, one.found.grinder_no, one.stays, at_ms=one.at_ms
            )
            assert folded is None
            assert 5 <= len(told) <= 8
            with pytest.raises(AssertionError, match="FROM run"):
                list(stream_runs.of_hours(connection, caller.account_no, 1, [1]))
        return found

    assert database.read(caller.account_no, work) == expected


def test_a_read_keeps_what_it_folded_and_answers_the_same(database: Database) -> None:
    caller = full_scene(database)
    first = evidence(database, caller, keeps=True)
    with_memo = database.read(
        caller.account_no,
        lambda c: stream_cells.fold(c, caller.account_no, about(c, caller, None).found.grinder_no),
    )
    assert with_memo is None
    assert evidence(database, caller) == first
    folding.fold_stream(database)
    assert evidence(database, caller) == first


def test_retention_changes_nothing(database: Database) -> None:
    caller = full_scene(database)
    at = NOW - 3 * DAY
    expected = evidence(database, caller, at)
    send(database, caller, [a_run(5000, NOW - DAY)])
    assert keep.archive_runs(database, retained_days=10, now=NOW + 40 * DAY) > 50
    assert evidence(database, caller, at) == expected


def test_days_go_by_the_clock_where_the_grinder_stood(database: Database) -> None:
    caller = new_chain(database)
    make_site(database, caller, "quay", time_zone="Pacific/Auckland")
    fit(database, caller, "bar-1", "set-1", OPENED_AT)
    moved = {"site_id": "quay", "effective_at": OPENED_AT + 10 * DAY}
    places.update_grinder(database, caller, grinder_id="bar-1", fields=moved, if_match=ANY, now=NOW)
    changed = {"time_zone": "America/St_Johns", "effective_at": OPENED_AT + 20 * DAY}
    places.update_site(database, caller, site_id="quay", fields=changed, if_match=ANY, now=NOW)
    late = (
        OPENED_AT + 5 * HOUR + 30 * MINUTE
    )  # 11:30 in Dublin, 0:30 in Auckland, 8:00 in St John's
    for number, days in enumerate((5, 15, 25)):
        send(database, caller, shots(number, late + days * DAY)[:1])
    days = [cell.session for cell in evidence(database, caller).sessions.cells]
    first = OPENED_AT.date().toordinal()
    assert days == [first + 5, first + 16, first + 25]
    # the day is not over in Auckland while it is elsewhere
    for hours, closed in ((5, 16), (-1, 15)):
        at = OPENED_AT + 15 * DAY + hours * HOUR + 59 * MINUTE
        assert evidence(database, caller, at).closed_before == first + closed


FACTS = ("runs", "runs", "runs", "plug", "period", "care", "tally", "correct", "void", "cancel")


@histories(3)
@given(facts=st.lists(st.sampled_from(FACTS), min_size=4, max_size=10), seed=st.integers(0, 10**6))
def test_an_instant_knows_only_what_lies_before_it(
    database: Database, facts: list[str], seed: int
) -> None:
    """The same bytes as from a service that was told nothing later, in another order."""
    dice = random.Random(seed)
    at = OPENED_AT + 4 * DAY + dice.choice([0, 6, 7]) * HOUR + dice.choice([0, 0, 1]) * MINUTE
    at -= 6 * HOUR  # often midnight in Dublin
    told: list[tuple[str, datetime, Any]] = []
    for number, fact in enumerate(facts):
        begins = at + dice.choice([-70, -30, -25, -2, -1, 0, 20]) * HOUR + dice.choice(
            [-20, 0, 600, 3590]
        ) * SECOND  # fmt: skip
        told.append((fact, begins, number))
    if dice.random() < 0.5:  # a grind that two devices tell across the instant
        edge = dice.choice(["edge", "edge-weighed-in"])
        told += [(edge, at - SECOND, 50), ("edge-plug", at + SECOND, 51)]
    whole, before = new_chain(database), new_chain(database)
    for caller, known in (
        (whole, told),
        (before, [one for one in reversed(told) if one[1] <= at]),
    ):
        fit(database, caller, "bar-1", f"set-{caller.account_no}", FITTED_AT)
        for fact, begins, number in known:
            tell(database, caller, fact, begins, number, at)
        if dice.random() < 0.5:
            folding.fold_stream(database)
    assert evidence(database, whole, at) == evidence(database, before, at)


def tell(
    database: Database, caller: Caller, fact: str, at: datetime, number: int, cut: datetime
) -> None:
    if fact in ("runs", "plug"):
        send(
            database,
            caller,
            [
                a_run(20 * number + n, at + n * 7 * SECOND, setting=4.8 if n % 2 else None,
                      feed="hopper", source="plug" if fact == "plug" else None)
                for n in range(4)
                if at + n * 7 * SECOND <= cut or at > cut
            ],
        )  # fmt: skip
    elif fact.startswith("edge"):
        source = "plug" if fact == "edge-plug" else None
        basis = "weighed_in" if fact == "edge-weighed-in" else "weighed_out"
        run = a_run(9000 + number, at, setting=4.8, feed="hopper", source=source, grams_basis=basis)
        send(database, caller, [run])
    elif fact == "period":
        period(database, caller, at, setting=5.0, purpose=("cleaning", "service")[number % 2],
               period_id=f"p-{number}")  # fmt: skip
    elif fact == "care":
        fields = {**ZERO, "at": at, "care_id": f"c-{number}"}
        entries.record_care(database, caller, grinder_id="bar-1", fields=fields, now=NOW)
    elif fact == "tally":
        fields = {"tally_id": f"t-{number}", "grinder_id": "bar-1", "grams": 500.123}
        fields |= {"basis": "weighed_in", "from_at": at, "to_at": at + 50 * HOUR}
        entries.add_tally(database, caller, fields=fields, now=NOW)
    elif fact == "correct":
        fields = {"correction_id": f"x-{number}", "grinder_id": "bar-1", "reason": "seen"}
        fields |= {"from_at": at, "to_at": None, "grams_factor": 0.95}
        entries.add_correction(database, caller, fields=fields, now=NOW)
    elif fact == "cancel":
        fields = {"correction_id": f"x-{number}", "grinder_id": "bar-1", "reason": "seen"}
        fields |= {"from_at": at, "to_at": at + HOUR, "is_void": True}
        entries.add_correction(database, caller, fields=fields, now=NOW)
    elif fact == "void" and at <= cut:
        run_id = f"void-{number:08d}"
        run = a_run(number, at, setting=4.8, feed="hopper")
        send(database, caller, [replace(run, run_id=run_id)])
        ingest.void_run(database, caller, run_id=run_id, now=NOW)
