"""A look tells what changed, once, whenever it was cut short and however the facts came."""

from __future__ import annotations

import random
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import event as engine_event

from burrline_service.actions import (
    alert_settings,
    alerting,
    checkpoints,
    feed,
    ingest,
    noticing,
    places,
    readings,
    use_episodes,
)
from burrline_service.core.alert_records import STAGE_CHANGED, Event, EventRow
from burrline_service.core.answers import Alert
from burrline_service.core.entered import Reading
from burrline_service.core.errors import NotFound
from burrline_service.core.records import Caller, Run
from burrline_service.store import alerts, outbox
from burrline_service.store.database import Connection, Database
from burrline_service.store.types import to_milliseconds
from small_chain import DAY, HOUR, MINUTE, NOW, SECOND, a_run, fit, new_chain, send, status

MOTOR = {"sensor": "housing", "limit_celsius": 80.0}
BUSY = {"kind": "intermittent", "on_seconds": 120.0, "cycle_seconds": 600.0}
HOT = {"seconds": 20.0, "motor_celsius": 82.0}
COOL = {"seconds": 8.0, "motor_celsius": 60.0}


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch) -> list[EventRow]:
    """What was handed to be delivered and may be."""
    rows: list[EventRow] = []

    def take(
        connection: Connection, account_no: int, events: list[EventRow], *, now: datetime
    ) -> int:
        rows.extend(one for one in events if not (one.is_late or one.is_held))
        return len(events)

    monkeypatch.setattr(outbox, "fan_out", take)
    return rows


def look(database: Database, now: datetime = NOW) -> int:
    return noticing.watch(database, now=now)


def told(database: Database, caller: Caller, after: int = 0) -> list[Event]:
    found = feed.read_feed(database, caller, position=after, limit=200, now=NOW)
    return list(found.items)


def words(events: list[Event]) -> list[tuple[str, str]]:
    return [(one.type.rpartition(".")[2], one.data["kind"]) for one in events]


def listed(database: Database, caller: Caller, *, now: datetime = NOW, **asked: Any) -> list[Alert]:
    asked = {"limit": 200, "position": None, "now": now, **asked}
    return list(alerting.list_alerts(database, caller, **asked).items)


def ledger(database: Database, caller: Caller) -> list[tuple[Any, ...]]:
    """What the ledger says, but for its ids."""
    rows = database.read(
        caller.account_no,
        lambda connection: alerts.since(
            connection, caller.account_no, dict.fromkeys(range(1, 60), 0)
        ),
    )
    return sorted(
        (
            number,
            e.entry.kind,
            e.entry.opened_ms,
            e.entry.closed_ms,
            e.entry.reason,
            e.entry.is_late,
        )
        for number, found in rows.items()
        for e in found
    )


def test_an_overheat_is_told_once_and_when_it_ends(
    database: Database, sent: list[EventRow]
) -> None:
    caller = new_chain(database, motor=MOTOR)
    send(database, caller, [a_run(1, NOW - 30 * SECOND, **HOT)])
    (unseen,) = listed(database, caller)
    assert (unseen.alert_id, unseen.noticed_at, unseen.is_late) == (None, None, None)
    assert look(database) == 1
    assert look(database, NOW + SECOND) == 0
    (alert,) = listed(database, caller, now=NOW + SECOND)
    assert (alert.noticed_at, alert.is_late, alert.acknowledged_at) == (NOW, False, None)
    (shown,) = status(database, caller, now=NOW + SECOND).alerts
    assert shown.alert_id == alert.alert_id is not None
    (at_once,) = listed(database, caller, now=NOW + SECOND, as_of=NOW)
    assert (at_once.alert_id, at_once.noticed_at) == (None, None)
    assert status(database, caller, as_of=NOW, now=NOW + SECOND).alerts[0].alert_id is None
    assert look(database, NOW + 16 * MINUTE) == 1  # 15 minutes without a reading
    assert words(told(database, caller)) == [
        ("opened", "motor_overheat"),
        ("closed", "motor_overheat"),
    ]
    assert [row.alert_id for row in sent] == [alert.alert_id] * 2
    assert told(database, caller)[0].data["facts"]["peak_celsius"] == 82.0


def test_who_has_seen_it_first_is_kept(database: Database) -> None:
    caller, other = new_chain(database, motor=MOTOR), new_chain(database)
    send(database, caller, [a_run(1, NOW - 30 * SECOND, **HOT)])
    look(database)
    alert_id = listed(database, caller)[0].alert_id
    assert alert_id is not None
    for number in (1, 2):
        at = NOW + number * MINUTE
        seen = alerting.acknowledge_alert(database, caller, alert_id=alert_id, now=at)
        assert (seen.acknowledged_at, seen.acknowledged_by) == (NOW + MINUTE, caller.key_id)
    look(database, NOW + 20 * MINUTE)
    (alert,) = listed(database, caller, now=NOW + 20 * MINUTE)
    assert alert.acknowledged_at == NOW + MINUTE
    assert alert.closed_at is not None
    for stranger, name in ((other, alert_id), (caller, alert_id[:-1] + "x")):
        with pytest.raises(NotFound):
            alerting.acknowledge_alert(database, stranger, alert_id=name, now=NOW)


def test_history_that_comes_late_calls_nobody_but_is_recorded(
    database: Database, sent: list[EventRow]
) -> None:
    caller = new_chain(database, motor=MOTOR, rated_duty=BUSY)
    look(database)
    old = [a_run(n, NOW - 40 * DAY + n * 30 * SECOND, **HOT) for n in range(30)]
    send(database, caller, old)
    look(database)
    events = told(database, caller)
    assert set(words(events)) == {
        (word, kind)
        for word in ("opened", "closed")
        for kind in ("motor_overheat", "duty_exceeded")
    }
    assert all(one.is_late and one.data["is_late"] for one in events)
    assert sent == []
    found = listed(database, caller, from_at=NOW - 41 * DAY)
    assert {(one.kind, one.is_late) for one in found} == {
        ("motor_overheat", True),
        ("duty_exceeded", True),
    }


def test_a_worker_that_was_down_calls_late_rather_than_never(
    database: Database, sent: list[EventRow]
) -> None:
    caller = new_chain(database, motor=MOTOR)
    look(database, NOW - HOUR)
    send(database, caller, [a_run(1, NOW - 30 * SECOND, **HOT)])
    look(database, NOW + 5 * HOUR)
    assert [row.is_late for row in sent] == [False, False]  # opened, and closed by now


def test_what_was_taken_back_closes_with_its_reason(
    database: Database, sent: list[EventRow]
) -> None:
    caller = new_chain(database, motor=MOTOR)
    send(database, caller, [a_run(1, NOW - 30 * SECOND, **HOT)])
    look(database)
    ingest.void_run(database, caller, run_id="run-00000001", now=NOW + MINUTE)
    look(database, NOW + MINUTE)
    closing = told(database, caller)[-1]
    assert (closing.type, closing.data["reason"]) == ("burrline.alert.closed", "withdrawn")
    assert listed(database, caller, now=NOW + MINUTE) == []
    assert len(ledger(database, caller)) == 1
    assert look(database, NOW + 2 * MINUTE) == 0


def test_facts_told_late_amend_what_was_told_without_a_second_call(
    database: Database, sent: list[EventRow]
) -> None:
    caller = new_chain(database, motor=MOTOR)
    send(database, caller, [a_run(1, NOW - 30 * SECOND, **HOT)])
    look(database)
    send(database, caller, [a_run(2, NOW - 10 * MINUTE, **HOT)], now=NOW + SECOND)
    look(database, NOW + SECOND)
    (alert,) = listed(database, caller, now=NOW + SECOND)
    assert alert.opened_at == NOW - 10 * MINUTE + 20 * SECOND
    assert alert.noticed_at == NOW
    assert [row.type for row in sent] == ["burrline.alert.opened"]


def test_a_run_that_goes_on_is_one_alert_through_the_pauses_between_its_readings(
    database: Database, sent: list[EventRow]
) -> None:
    caller = new_chain(database)
    look(database, NOW)
    for number in range(24):
        at = NOW + number * 40 * SECOND
        sign = Reading(
            reading_id=f"reading-{number:04d}",
            grinder_id="bar-1",
            at=at,
            is_running=True,
            run_id="run-00000001",
        )
        readings.add_readings(database, caller, sent=[sign], now=at)
        look(database, at)
        look(database, at + 20 * SECOND)
    assert words(told(database, caller)) == [("opened", "long_run")]
    ended = NOW + 23 * 40 * SECOND
    look(database, ended + 5 * MINUTE)
    assert words(told(database, caller))[1:] == [("closed", "long_run")]


def test_quiet_hours_hold_a_caution_until_they_end(
    database: Database, sent: list[EventRow]
) -> None:
    caller = new_chain(database, motor=MOTOR)
    # Monday noon in Dublin, which has the clock of UTC in March
    alert_settings.set_alert_settings(
        database,
        caller,
        fields={
            "quiet_hours": {"mon": [["11:00", "13:00"]]},
            "long_run": {"longest_run_seconds": 30.0},
        },
        if_match=frozenset({1}),
        now=NOW - DAY,
    )
    look(database, NOW - HOUR)
    send(database, caller, [a_run(1, NOW - 50 * SECOND, seconds=45.0, motor_celsius=82.0)])
    look(database)
    assert [row.severity for row in sent] == ["alert"]  # the overheat calls in the night too
    held = [one for one in told(database, caller) if one.is_held]
    assert words(held) == [("opened", "long_run")]
    # the motor ran on until after one, when the looker comes again
    at = NOW + 62 * MINUTE
    send(database, caller, [a_run(2, NOW - 5 * SECOND, seconds=3700.0)], now=at)
    look(database, at)
    released = [row for row in sent if row.severity == "caution"]
    assert [row.event_id for row in released][:1] == [held[0].event_id]
    assert not any(
        one.is_held for one in told(database, caller) if one.event_id == held[0].event_id
    )


def test_a_stage_is_told_once_quiet_hours_are_over(
    database: Database, sent: list[EventRow]
) -> None:
    caller = new_chain(database)
    fit(database, caller, "bar-1", "set-1", NOW - 3 * DAY)
    alert_settings.set_alert_settings(
        database,
        caller,
        fields={"quiet_hours": {"mon": [["11:00", "12:30"]]}},
        if_match=frozenset({1}),
        now=NOW - DAY,
    )
    send(database, caller, [a_run(1, NOW - DAY, grams=500.0)])
    doses = [
        {"distribution": {"kind": "percentiles", "d50_micrometres": d50}} for d50 in (300, 304)
    ]
    checkpoints.add_checkpoint(
        database,
        caller,
        grinder_id="bar-1",
        fields={"ground_at": NOW - HOUR, "method": "laser", "replicates": doses},
        now=NOW,
    )
    look(database)
    assert sent == []
    assert told(database, caller) == []
    look(database, NOW + 31 * MINUTE)  # nothing else happened: it was to be looked at again then
    assert [row.type for row in sent] == [STAGE_CHANGED]
    look(database, NOW + 33 * MINUTE)
    assert len(sent) == 1


def test_the_end_of_what_was_told_before_waits_for_the_end_of_quiet_hours(
    database: Database, sent: list[EventRow]
) -> None:
    caller = new_chain(database)
    alert_settings.set_alert_settings(
        database,
        caller,
        fields={
            "quiet_hours": {"mon": [["12:10", "13:00"]]},
            "long_run": {"longest_run_seconds": 30.0},
        },
        if_match=frozenset({1}),
        now=NOW - DAY,
    )
    send(database, caller, [a_run(1, NOW - 50 * SECOND, seconds=45.0)])
    look(database)
    look(database, NOW + 20 * MINUTE)
    held = told(database, caller)[-1]
    assert (held.type.rpartition(".")[2], held.is_held) == ("closed", True)
    assert [row.type.rpartition(".")[2] for row in sent] == ["opened"]
    look(database, NOW + 61 * MINUTE)
    look(database, NOW + 90 * MINUTE)
    assert [row.type.rpartition(".")[2] for row in sent] == ["opened", "closed"]
    assert sent[-1].event_id == held.event_id


def test_what_is_over_before_quiet_hours_end_calls_nobody(
    database: Database, sent: list[EventRow]
) -> None:
    caller = new_chain(database)
    alert_settings.set_alert_settings(
        database,
        caller,
        fields={
            "quiet_hours": {"mon": [["11:00", "13:00"]]},
            "long_run": {"longest_run_seconds": 30.0},
        },
        if_match=frozenset({1}),
        now=NOW - DAY,
    )
    send(database, caller, [a_run(1, NOW - 50 * SECOND, seconds=45.0)])
    look(database)
    look(database, NOW + 30 * MINUTE)
    look(database, NOW + 3 * HOUR)
    assert words(told(database, caller)) == [("opened", "long_run"), ("closed", "long_run")]
    assert sent == []


def test_a_grinder_that_was_moved_or_changed_is_looked_at(database: Database) -> None:
    caller = new_chain(database)
    send(database, caller, [a_run(1, NOW - 30 * SECOND, **HOT)])
    assert look(database) == 0
    places.update_grinder(
        database,
        caller,
        grinder_id="bar-1",
        fields={"motor": MOTOR, "effective_at": NOW - DAY},
        if_match=frozenset({-1}),
        now=NOW + SECOND,
    )
    assert look(database, NOW + SECOND) == 1


def test_silence_is_noticed_by_the_clock_alone(database: Database, sent: list[EventRow]) -> None:
    caller = new_chain(database)
    hours = {"mon": [["08:00", "20:00"]], "tue": [["08:00", "20:00"]]}
    places.update_site(
        database,
        caller,
        site_id="mill-lane",
        fields={"opening_hours": hours, "effective_at": NOW - 30 * DAY},
        if_match=frozenset({-1}),
        now=NOW,
    )
    send(database, caller, [a_run(1, NOW - 30 * SECOND)])
    look(database)
    due = NOW + DAY + 4 * HOUR  # eight hours of Monday, eight of Tuesday
    assert look(database, due - MINUTE) == 0
    assert look(database, due) == 1
    assert (sent[0].body["kind"], sent[0].at) == ("silent", due - 30 * SECOND)
    (shown,) = listed(database, caller, now=due)
    assert (shown.kind, shown.severity, shown.noticed_at) == ("silent", "notice", due)


# --- cut short -----------------------------------------------------------------------------------


class CutShort(Exception):
    """The process ends here."""


@contextmanager
def ending_at(database: Database, statement_no: int) -> Iterator[list[int]]:
    """Raise in place of the so-manieth statement from now on; gives how many there were."""
    counted = [0]

    def count(*_: Any) -> None:
        counted[0] += 1
        if counted[0] == statement_no:
            raise CutShort

    engines = (database._writer, database._reader)
    for engine in engines:
        engine_event.listen(engine, "before_cursor_execute", count)
    try:
        yield counted
    finally:
        for engine in engines:
            engine_event.remove(engine, "before_cursor_execute", count)


def what_is_told(database: Database, caller: Caller) -> tuple[Any, ...]:
    events = [
        (one.type, one.at, one.is_late, {**one.data, "alert_id": "", "noticed_at": ""})
        for one in told(database, caller)
    ]
    return events, ledger(database, caller)


def chain_in_trouble(database: Database) -> Caller:
    """Two grinders with something open, something over, and something to be withdrawn."""
    caller = new_chain(database, "bar-1", "bar-2", motor=MOTOR, rated_duty=BUSY)
    runs = [a_run(n, NOW - 8 * MINUTE + n * 25 * SECOND, **HOT) for n in range(12)]
    runs += [a_run(50, NOW - 20 * SECOND, grinder_id="bar-2", **HOT)]
    send(database, caller, runs)
    noticing.look_once(database, caller.account_no, now=NOW)
    ingest.void_run(database, caller, run_id="run-00000050", now=NOW + SECOND)
    send(database, caller, [a_run(90, NOW + SECOND, **COOL)], now=NOW + 10 * SECOND)
    return caller


def test_a_look_cut_short_at_any_statement_is_as_if_it_had_not_been(database: Database) -> None:
    now = NOW + 10 * SECOND
    caller = chain_in_trouble(database)
    before = what_is_told(database, caller)
    statement_no, is_cut = 0, True
    while is_cut:
        statement_no += 1
        try:
            with ending_at(database, statement_no):
                noticing.look_once(database, caller.account_no, now=now)
            is_cut = False
        except CutShort:
            assert what_is_told(database, caller) == before, f"statement {statement_no}"
    assert statement_no > 15
    after = what_is_told(database, caller)
    assert noticing.look_once(database, caller.account_no, now=now)[1] == 0
    never_cut = chain_in_trouble(database)
    noticing.look_once(database, never_cut.account_no, now=now)
    assert _nameless(after) == _nameless(what_is_told(database, never_cut))
    assert len(after[0]) >= len(before[0]) + 2


def _nameless(found: tuple[Any, ...]) -> tuple[Any, ...]:
    """Without the numbers of grinders, which differ from account to account."""
    return found[0], [row[1:] for row in found[1]]


def test_of_two_who_look_at_once_one_tells(database: Database) -> None:
    caller = new_chain(database, motor=MOTOR)
    send(database, caller, [a_run(1, NOW - 30 * SECOND, **HOT)])
    no = caller.account_no

    def found(connection: Connection) -> Any:
        due = noticing._due(connection, no, NOW)
        return noticing._find(connection, no, due, NOW, noticing._draw)

    first, second = database.read(no, found), database.read(no, found)
    counts = [
        database.write(no, lambda connection, f=f: noticing._write(connection, no, f, NOW))
        for f in (first, second)
    ]
    assert counts == [1, 0]
    assert len(ledger(database, caller)) == 1


def test_several_workers_at_once_tell_everything_once(database: Database) -> None:
    ids = [f"bar-{number}" for number in range(12)]
    caller = new_chain(database, *ids, motor=MOTOR)
    look(database, NOW - HOUR)

    def work(number: int) -> None:
        for turn in range(6):
            noticing.look_once(
                database, caller.account_no, now=NOW + turn * SECOND, limit=5 + number
            )

    workers = [threading.Thread(target=work, args=(number,)) for number in range(3)]
    runs = [a_run(n, NOW - 30 * SECOND, grinder_id=one, **HOT) for n, one in enumerate(ids)]
    send(database, caller, runs[:6])
    for thread in workers:
        thread.start()
    send(database, caller, runs[6:])
    for thread in workers:
        thread.join()
    look(database, NOW + MINUTE)
    found = feed.read_feed(database, caller, position=0, limit=200, now=NOW)
    assert sorted(one.data["grinder_id"] for one in found.items) == sorted(ids)
    assert found.position == len(ids)
    assert len(ledger(database, caller)) == len(ids)


# --- any order -----------------------------------------------------------------------------------


def facts(chance: random.Random) -> list[Run]:
    """Two hours with overheats, long runs and too much duty."""
    runs = []
    at = NOW - 3 * HOUR
    for number in range(60):
        at += timedelta(seconds=chance.choice([20, 45, 400]))
        seconds = chance.choice([8.0, 20.0, 90.0])
        celsius = chance.choice([None, 60.0, 74.0, 81.0])
        runs.append(a_run(number, at, seconds=seconds, motor_celsius=celsius))
        at += timedelta(seconds=seconds)
    return runs


@pytest.mark.parametrize("seed", [7, 8])
def test_however_facts_come_ledger_and_list_say_the_same(sqlite_database: Any, seed: int) -> None:
    chance = random.Random(seed)
    runs = facts(chance)
    database = Database(sqlite_database.url)
    try:
        seen = []
        for is_in_order in (True, False):
            caller = new_chain(database, motor=MOTOR, rated_duty=BUSY)
            given = list(runs)
            if not is_in_order:
                chance.shuffle(given)
                given += given[:9]
            while given:
                count = len(runs) * 2 if is_in_order else chance.randint(1, 25)
                batch, given = given[:count], given[count:]
                send(database, caller, batch)
                noticing.look_once(database, caller.account_no, now=NOW)
            held = [(a.kind, a.opened_at, a.closed_at) for a in listed(database, caller)]
            assert all(a.alert_id for a in listed(database, caller))
            known = [row[1:4] for row in ledger(database, caller) if row[4] is None]
            assert len(known) == len(held)
            seen.append((held, known))
        assert seen[0] == seen[1]
        assert {kind for kind, _, _ in seen[0][0]} >= {"motor_overheat", "duty_exceeded"}
    finally:
        database.close()


def test_what_opened_after_the_last_look_is_another_alert(
    database: Database, sent: list[EventRow]
) -> None:
    caller = new_chain(database, motor=MOTOR)
    send(database, caller, [a_run(1, NOW - 20 * MINUTE, **HOT)], now=NOW - 19 * MINUTE)
    assert look(database, NOW - 19 * MINUTE) == 1
    # what a device kept while its network was down comes at once: it cooled, and is hot again
    later = [a_run(2, NOW - 12 * MINUTE, **COOL), a_run(3, NOW - MINUTE, **HOT)]
    send(database, caller, later)
    assert look(database) == 2
    events = told(database, caller)
    assert [word for word, _ in words(events)] == ["opened", "closed", "opened"]
    assert len({one.data["alert_id"] for one in events}) == 2
    assert len(sent) == 3


def test_a_grinder_that_cannot_be_folded_holds_up_no_other(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    caller, other = (
        new_chain(database, "bar-1", "bar-2", motor=MOTOR),
        new_chain(database, motor=MOTOR),
    )
    hot = [a_run(n, NOW - 30 * SECOND, grinder_id=f"bar-{n}", **HOT) for n in (1, 2)]
    send(database, caller, hot)
    send(database, other, hot[:1])
    held_of, is_mended = noticing.held_of, False

    def fails(connection: Connection, account_no: int, found: list[Any], *a: Any, **k: Any) -> Any:
        if not is_mended and any(
            (account_no, row.grinder.grinder_id) == (caller.account_no, "bar-1") for row in found
        ):
            raise ZeroDivisionError
        return held_of(connection, account_no, found, *a, **k)

    monkeypatch.setattr(noticing, "held_of", fails)
    put_off: noticing.PutOff = {}
    assert noticing.watch(database, now=NOW, put_off=put_off) == 2
    assert [one.data["grinder_id"] for one in told(database, caller)] == ["bar-2"]
    assert len(told(database, other)) == 1
    is_mended = True
    assert noticing.watch(database, now=NOW + SECOND, put_off=put_off) == 0
    assert noticing.watch(database, now=NOW + MINUTE, put_off=put_off) == 1


@pytest.mark.parametrize("seed", [3, 4])
def test_what_looks_far_back_is_noticed_by_looks_that_read_little(
    sqlite_database: Any, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    chance = random.Random(seed)
    database = Database(sqlite_database.url)
    folds: list[int] = []
    fold = use_episodes.flow_low_episodes
    monkeypatch.setattr(
        use_episodes, "flow_low_episodes", lambda *a, **k: (folds.append(1), fold(*a, **k))[1]
    )

    def ground(number: int, at: datetime, part: float = 1.0) -> Run:
        grams = 18.0 * part * chance.uniform(0.97, 1.03)
        how = {"grams": round(grams, 1), "grams_basis": "weighed_out", "setting": 5.0}
        return a_run(number, at, source="scale", **how)

    try:
        caller = new_chain(database)
        usual = [
            ground(100 * day + n, NOW - day * DAY - n * MINUTE)
            for day in range(1, 9)
            for n in range(6)
        ]
        send(database, caller, usual)
        look(database, NOW)
        folds.clear()
        phases = [(14, 1.0, 0), (9, 0.7, 0), (9, 1.0, 0), (7, 1.0, 1), (9, 1.0, 0), (6, 0.7, 0)]
        at, number, look_count = NOW, 1000, 0
        for count, part, behind in phases:
            for _ in range(count):
                at += chance.choice([90, 150, 400]) * SECOND
                number += 1
                run = ground(number, at - 10 * SECOND - behind * HOUR, part)
                send(database, caller, [run], now=at)
                if chance.random() < 0.8:
                    look(database, at + SECOND)
                    look_count += 1
            look(database, at + SECOND)
            found = listed(database, caller, now=at + 2 * SECOND, from_at=NOW - 3 * HOUR)
            assert all(alert.alert_id for alert in found)
            shown = [
                (
                    alert.kind,
                    to_milliseconds(alert.opened_at),
                    None if alert.closed_at is None else to_milliseconds(alert.closed_at),
                )
                for alert in found
            ]
            known = [row for row in ledger(database, caller) if row[4] is None]
            assert sorted(map(str, shown)) == sorted(str(row[1:4]) for row in known)
        assert {kind for kind, _, _ in shown} == {"flow_low", "clock_suspect"}
        assert len([kind for kind, _, _ in shown if kind == "flow_low"]) >= 2
        assert len(folds) < look_count  # lists fold too
    finally:
        database.close()
