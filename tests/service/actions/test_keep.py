"""Retention: single runs go, sums and ids stay, and no answer changes unnoticed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest

from burrline_service.actions import (
    alerting,
    burrs,
    checkpoints,
    entries,
    feed,
    history,
    ingest,
    keep,
    noticing,
    once,
    report,
)
from burrline_service.actions.asked import LOOK_BACK
from burrline_service.actions.once import Reply
from burrline_service.core.errors import (
    BadCursor,
    InstantArchived,
    NotFound,
    PeriodArchived,
    RunArchived,
)
from burrline_service.core.records import Caller, Run
from burrline_service.store import runs, state
from burrline_service.store.database import Connection, Database
from burrline_service.store.run_rows import run_key_of
from small_chain import (
    DAY,
    HOUR,
    MINUTE,
    NOW,
    SECOND,
    a_run,
    fit,
    make_grinder,
    make_site,
    new_account,
    new_chain,
    send,
    status,
    status_text,
)

RETAINED_DAYS = 10
HORIZON = NOW - RETAINED_DAYS * DAY
EVERY = 2 * HOUR + 7 * MINUTE + 13 * SECOND
RUNS = [
    a_run(
        number,
        NOW - number * EVERY,
        grams=17.0 + number % 5 / 1000,
        motor_celsius=40.0 + number % 9,
        purpose="cleaning" if number % 13 == 0 else "service",
    )
    for number in range(560)
]
FITTED_AT = NOW - 46 * DAY + 31 * MINUTE


def archive(database: Database, *, now: datetime = NOW, days: int = RETAINED_DAYS) -> int:
    return keep.archive_runs(database, retained_days=days, now=now)


def chain(database: Database, *grinder_ids: str) -> Caller:
    """Seven weeks of runs on ``bar-1``, and a second burr set amid an hour long ago."""
    caller = new_chain(database, *grinder_ids)
    fit(database, caller, "bar-1", "a", NOW - 60 * DAY)
    fit(database, caller, "bar-1", "b", FITTED_AT)
    send(database, caller, RUNS)
    return caller


def kept_ids(database: Database, caller: Caller) -> set[str]:
    page = report.list_runs(database, caller, grinder_id="bar-1", limit=500, position=None, now=NOW)
    return {stored.run.run_id for stored in page.items}


def patch(database: Database, caller: Caller, burr_set_id: str, *stays: tuple[Any, ...]) -> Any:
    fittings = [
        dict(zip(("grinder_id", "fitted_at", "removed_at"), stay, strict=True)) for stay in stays
    ]
    return burrs.update_burr_set(
        database,
        caller,
        burr_set_id=burr_set_id,
        fields={"fittings": fittings},
        if_match=frozenset({-1}),
        now=NOW,
    )


def started(run: Run) -> datetime:
    assert run.started_at is not None
    return run.started_at


def test_no_answer_within_the_retention_changes(database: Database) -> None:
    caller = chain(database)
    instants = [None, NOW, NOW - DAY, HORIZON + 17 * MINUTE, HORIZON]
    before = [status_text(status(database, caller, as_of=at)) for at in instants]
    moved = archive(database)
    assert moved > 50
    assert [status_text(status(database, caller, as_of=at)) for at in instants] == before
    assert archive(database) == 0


def test_old_runs_go_but_those_a_burr_set_or_a_look_back_needs_stay(database: Database) -> None:
    caller = chain(database)
    archive(database)
    change_hour = FITTED_AT.replace(minute=0)
    expected = {
        run.run_id
        for run in RUNS
        if started(run) >= HORIZON - LOOK_BACK or change_hour <= started(run) < change_hour + HOUR
    }
    left = kept_ids(database, caller)
    last_before = max(
        (run for run in RUNS if started(run) < HORIZON - LOOK_BACK), key=started
    ).run_id
    assert left == expected | {last_before}


def test_a_copy_of_an_archived_run_is_still_a_duplicate(database: Database) -> None:
    caller = chain(database)
    archive(database)
    before = status_text(status(database, caller))
    assert set(send(database, caller, RUNS)) == {"duplicate"}
    oldest = RUNS[-1]
    changed = a_run(len(RUNS) - 1, started(oldest), grams=99.0)
    assert send(database, caller, [changed]) == ["conflict"]
    assert status_text(status(database, caller)) == before


def test_an_archived_run_can_be_neither_read_nor_voided(database: Database) -> None:
    caller = chain(database)
    archive(database)
    before = status_text(status(database, caller))
    for act in (ingest.void_run, report.get_run):
        with pytest.raises(RunArchived):
            act(database, caller, run_id=RUNS[-1].run_id, now=NOW)
        with pytest.raises(NotFound):
            act(database, new_account(database), run_id=RUNS[-1].run_id, now=NOW)
    assert status_text(status(database, caller)) == before
    ingest.void_run(database, caller, run_id=RUNS[1].run_id, now=NOW)


def test_instants_before_the_archive_are_refused(database: Database) -> None:
    caller = chain(database)
    early = HORIZON - timedelta(milliseconds=1)
    status(database, caller, as_of=early)
    archive(database)
    with pytest.raises(InstantArchived):
        status(database, caller, as_of=early)
    status(database, caller, as_of=HORIZON)


def test_a_voided_run_is_archived_without_a_trace_in_the_sums(database: Database) -> None:
    caller = chain(database)
    ingest.void_run(database, caller, run_id=RUNS[-1].run_id, now=NOW)
    before = status_text(status(database, caller))
    archive(database)
    assert status_text(status(database, caller)) == before
    assert send(database, caller, [RUNS[-1]]) == ["duplicate"]
    assert status_text(status(database, caller)) == before


def test_a_run_that_comes_late_into_the_archived_time_counts_and_is_archived_in_turn(
    database: Database,
) -> None:
    caller = chain(database)
    archive(database)
    late = a_run(9000, NOW - 47 * DAY, grams=50.0)
    before = status(database, caller).throughput
    assert send(database, caller, [late]) == ["accepted"]
    after = status(database, caller).throughput
    assert after.grinder_grams == pytest.approx(before.grinder_grams + 50.0, abs=1e-9)
    assert archive(database) == 1
    assert status(database, caller).throughput == after


def test_a_grinder_that_rested_longer_than_the_retention_still_tells_when_it_last_ran(
    database: Database,
) -> None:
    caller = new_chain(database)
    old = [a_run(number, NOW - 60 * DAY - number * HOUR) for number in range(8)]
    send(database, caller, old)
    assert archive(database) == 7
    assert status(database, caller).throughput.last_run_at == NOW - 60 * DAY
    assert archive(database) == 0


@pytest.mark.parametrize("minutes", [0, 15, 59])
def test_the_local_day_is_whole_in_a_zone_whose_days_begin_amid_an_hour(
    database: Database, minutes: int
) -> None:
    # Source: tz database (IANA), release 2026f, file asia, Zone Asia/Kathmandu: 5:45 since 1986
    caller = new_account(database)
    make_site(database, caller, time_zone="Asia/Kathmandu")
    make_grinder(database, caller)
    send(
        database,
        caller,
        [a_run(n, NOW - 8 * DAY - n * 50 * MINUTE, grams=1.0 + n) for n in range(1000)],
    )
    at = HORIZON + minutes * MINUTE
    before = status_text(status(database, caller, as_of=at))
    assert archive(database) > 0
    assert status_text(status(database, caller, as_of=at)) == before


# --- burr sets in archived time -------------------------------------------------------------------


def test_amid_an_archived_hour_no_set_can_come_or_go_but_on_the_hour_it_can(
    database: Database,
) -> None:
    caller = chain(database)
    archive(database)
    at = (HORIZON - 6 * DAY).replace(minute=0)
    with pytest.raises(PeriodArchived):
        fit(database, caller, "bar-1", "c", at + MINUTE)
    before = status(database, caller).throughput
    fit(database, caller, "bar-1", "c", at)
    found = status(database, caller).throughput
    since = [run for run in RUNS if started(run) >= at and run.purpose != "cleaning"]
    assert found.burr_grams == round(sum(1000 * (run.grams or 0) for run in since)) / 1000
    assert found.grinder_grams == before.grinder_grams
    with pytest.raises(PeriodArchived):
        patch(database, caller, "c", ("bar-1", at, at + HOUR + MINUTE))
    with pytest.raises(PeriodArchived):
        patch(database, caller, "c", ("bar-1", at + MINUTE, None))


def test_dates_that_were_known_before_the_archive_can_be_sent_again(database: Database) -> None:
    caller = chain(database)
    read = burrs.get_burr_set(database, caller, burr_set_id="a", now=NOW)
    archive(database)
    before = status_text(status(database, caller))
    (stay,) = read.fittings
    assert stay.removed_at == FITTED_AT
    patch(database, caller, "a", ("bar-1", stay.fitted_at, stay.removed_at))
    patch(database, caller, "b", ("bar-1", FITTED_AT, None))
    assert status_text(status(database, caller)) == before
    # its end may still be entered within the retention
    patch(database, caller, "b", ("bar-1", FITTED_AT, NOW - HOUR))
    assert status(database, caller).throughput.burr_set_id is None


def test_a_fitting_elsewhere_is_held_to_the_archive_of_the_grinder_it_leaves(
    database: Database,
) -> None:
    caller = chain(database, "bar-1", "bar-2")
    archive(database)
    at = (HORIZON - 6 * DAY).replace(minute=0)
    with pytest.raises(PeriodArchived):
        fit(database, caller, "bar-2", "b", at + MINUTE, is_new=False)
    fit(database, caller, "bar-2", "b", at, is_new=False)
    through = [run for run in RUNS if FITTED_AT <= started(run) < at and run.purpose != "cleaning"]
    found = status(database, caller, "bar-2").throughput
    assert found.burr_grams == round(sum(1000 * (run.grams or 0) for run in through)) / 1000


# --- what else cuts the sums --------------------------------------------------------------------


def throughput(database: Database, caller: Caller) -> list[Any]:
    found = history.get_throughput(
        database, caller, grinder_id="bar-1", by="day", from_at=NOW - 46 * DAY, now=NOW
    )
    return [
        (bucket.grams, bucket.cleaning_grams, bucket.run_count, bucket.run_seconds)
        for bucket in found.buckets
    ]


def test_a_purpose_told_amid_an_hour_holds_for_the_same_runs_after_the_archive(
    database: Database,
) -> None:
    caller = new_chain(database)
    send(database, caller, [a_run(n, NOW - 37 * DAY - n * 7 * MINUTE) for n in range(2000)])
    began_at = NOW - 43 * DAY + 31 * MINUTE
    told = {"purpose": "cleaning", "from_at": began_at, "to_at": began_at + DAY + 11 * MINUTE}
    care = {"task": "motor_replaced", "at": NOW - 44 * DAY + 29 * MINUTE}
    entries.set_period(database, caller, grinder_id="bar-1", fields=told, now=NOW)
    entries.record_care(database, caller, grinder_id="bar-1", fields=care, now=NOW)
    before = throughput(database, caller), status_text(status(database, caller))
    assert archive(database) > 500
    assert (throughput(database, caller), status_text(status(database, caller))) == before


@pytest.mark.parametrize(
    "act",
    [
        lambda *given, at: entries.set_period(
            *given, fields={"purpose": "purge", "from_at": at}, grinder_id="bar-1", now=NOW
        ),
        lambda *given, at: entries.record_care(
            *given, fields={"task": "motor_replaced", "at": at}, grinder_id="bar-1", now=NOW
        ),
    ],
)
def test_amid_an_archived_hour_no_purpose_and_no_motor_begins_but_on_the_hour_it_does(
    database: Database, act: Callable[..., Any]
) -> None:
    caller = chain(database)
    archive(database)
    at = (HORIZON - 6 * DAY).replace(minute=0)
    with pytest.raises(PeriodArchived):
        act(database, caller, at=at + MINUTE)
    _, is_new = act(database, caller, at=at)
    assert is_new


def test_local_days_that_begin_amid_an_archived_hour_lose_no_gram(database: Database) -> None:
    # Source: tz database (IANA), release 2026f, file asia, Zone Asia/Kathmandu: 5:45 since 1986
    caller = new_account(database)
    make_site(database, caller, time_zone="Asia/Kathmandu")
    make_grinder(database, caller)
    send(database, caller, [a_run(n, NOW - 38 * DAY - n * 7 * MINUTE) for n in range(1500)])
    before = throughput(database, caller)
    assert archive(database) > 400
    after = throughput(database, caller)
    assert [sum(column) for column in zip(*after, strict=True)] == [
        sum(column) for column in zip(*before, strict=True)
    ]


# --- the work itself ------------------------------------------------------------------------------


def test_archiving_goes_in_pieces_and_stops_when_told(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    caller = chain(database)
    monkeypatch.setattr(keep, "CHUNK_COUNT", 10)
    asked = []

    def is_stopping() -> bool:
        asked.append(1)
        return len(asked) > 2

    before = status_text(status(database, caller))
    first = keep.archive_runs(
        database, retained_days=RETAINED_DAYS, now=NOW, is_stopping=is_stopping
    )
    assert first == 20
    assert status_text(status(database, caller)) == before
    assert archive(database) > 20
    assert status_text(status(database, caller)) == before


def test_archiving_nothing_counts_no_revision(database: Database) -> None:
    caller = chain(database)
    archive(database)
    before = status(database, caller).revision
    archive(database)
    assert status(database, caller).revision == before


def test_ids_are_remembered_with_their_fingerprints(database: Database) -> None:
    caller = chain(database)
    keys = [run_key_of(run.run_id) for run in RUNS]

    def fingerprints(connection: Connection) -> dict[bytes, bytes]:
        return runs.fingerprints(connection, caller.account_no, keys)

    before = database.read(caller.account_no, fingerprints)
    archive(database)
    assert database.read(caller.account_no, fingerprints) == before
    assert len(before) == len(RUNS)


def test_kilograms_of_a_checkpoint_outlive_the_single_runs(database: Database) -> None:
    caller = chain(database)
    doses = [{"distribution": {"kind": "percentiles", "d50_micrometres": 300.0}}]
    measured: dict[str, Any] = {
        "checkpoint_id": "measured",
        "method": "laser",
        "replicates": doses,
    }
    measured["ground_at"] = HORIZON - 6 * DAY + 17 * MINUTE
    before = checkpoints.add_checkpoint(
        database, caller, grinder_id="bar-1", fields=measured, now=NOW
    )
    assert archive(database) > 0
    read = checkpoints.get_checkpoint(database, caller, checkpoint_id="measured", now=NOW)
    assert read == before[0]
    assert (read.burr_grams or 0) > 0
    late = {**measured, "checkpoint_id": "measured-late"}
    late["ground_at"] = HORIZON - 7 * DAY + 17 * MINUTE
    with pytest.raises(PeriodArchived):
        checkpoints.add_checkpoint(database, caller, grinder_id="bar-1", fields=late, now=NOW)
    checkpoints.add_checkpoint(
        database, caller, grinder_id="bar-1", fields={**late, "burr_grams": 2000.0}, now=NOW
    )


def test_replies_are_forgotten_after_their_time(database: Database) -> None:
    caller = new_account(database)
    produce: Callable[[Database], Reply] = lambda _: Reply(201)  # noqa: E731
    for key, at in (("old", NOW - once.KEPT_FOR - MINUTE), ("young", NOW - DAY)):
        once.perform(database, caller, key=key, fingerprint=b"f", now=at, produce=produce)
    assert keep.forget_replies(database, now=NOW) == 1
    assert keep.forget_replies(database, now=NOW) == 0
    again = {
        key: once.perform(database, caller, key=key, fingerprint=b"f", now=NOW, produce=produce)[1]
        for key in ("old", "young")
    }
    assert again == {"old": False, "young": True}


def test_a_grinder_without_runs_has_no_archive(database: Database) -> None:
    caller = new_chain(database)
    assert archive(database) == 0
    found = database.read(
        caller.account_no,
        lambda connection: state.of_grinder(connection, caller.account_no, 2),
    )
    assert found.archived_before is None


def test_events_and_alerts_are_forgotten_and_old_cursors_refused(database: Database) -> None:
    caller = new_chain(database, motor={"sensor": "housing", "limit_celsius": 80.0})
    for number, day in enumerate((401, 93, 1)):
        at = NOW - day * DAY
        send(database, caller, [a_run(number, at - MINUTE, motor_celsius=85.0)], now=at)
        noticing.watch(database, now=at)
        noticing.watch(database, now=at + 20 * MINUTE)

    def fed(position: int) -> list[str]:
        found = feed.read_feed(database, caller, position=position, limit=9, now=NOW)
        return [one.type.rpartition(".")[2] for one in found.items]

    assert fed(0) == ["opened", "closed"] * 3
    assert keep.forget_alerts(database, now=NOW) == 4 + 1  # of three alerts, one is that old
    assert keep.forget_alerts(database, now=NOW) == 0
    assert fed(0) == fed(4) == ["opened", "closed"]
    assert fed(6) == []
    for lost in (2, 3, 7):
        with pytest.raises(BadCursor):
            fed(lost)
    kept = alerting.list_alerts(
        database,
        caller,
        from_at=NOW - 92 * DAY,
        limit=9,
        position=None,
        now=NOW,
    )
    assert [one.alert_id is not None for one in kept.items] == [True]
    last = keep.forget_alerts(database, now=NOW + 500 * DAY)
    assert last == 2 + 2
    assert fed(6) == []
