"""Every hour says which change of its grinder's runs last touched it."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime

from sqlalchemy import func, select

from burrline_service.actions import burrs, entries, ingest, keep, readings
from burrline_service.core.entered import Reading
from burrline_service.core.records import Caller
from burrline_service.store.database import Connection, Database
from burrline_service.store.tables import HOUR_MS, grinder_hour, grinder_state, run
from burrline_service.store.types import to_milliseconds
from small_chain import DAY, HOUR, MINUTE, NOW, SECOND, a_run, fit, new_chain, send
from source_tree import SERVICE

Touched = dict[int, int]
AT = NOW - 3 * DAY


def hour(at: datetime) -> int:
    return to_milliseconds(at) // HOUR_MS


def look(database: Database, caller: Caller) -> tuple[int, Touched, dict[int, list[object]]]:
    """The grinder's revision, by hour the touched one, and what counts of each hour's runs."""

    def work(connection: Connection) -> tuple[int, Touched, dict[int, list[object]]]:
        mine = grinder_hour.c.account_no == caller.account_no
        revision = connection.execute(
            select(grinder_state.c.revision).where(grinder_state.c.account_no == caller.account_no)
        ).scalar_one()
        touched = connection.execute(
            select(grinder_hour.c.hour, func.max(grinder_hour.c.touched_revision))
            .where(mine)
            .group_by(grinder_hour.c.hour)
        )
        counted: dict[int, list[object]] = {}
        for row in connection.execute(
            select(run.c.started_ms, run.c.run_key, run.c.grams_mg, run.c.part)
            .where(run.c.account_no == caller.account_no, run.c.left_out == 0)
            .order_by(run.c.run_key)
        ):
            counted.setdefault(row.started_ms // HOUR_MS, []).append(tuple(row))
        return revision, dict(map(tuple, touched)), counted

    return database.read(caller.account_no, work)


def correct(database: Database, caller: Caller, name: str, **fields: object) -> None:
    given = {"correction_id": name, "grinder_id": "bar-1", "to_at": None, "reason": "seen"}
    given |= {"from_at": AT - DAY, **fields}
    entries.add_correction(database, caller, fields=given, now=NOW)


Change = Callable[[Database, Caller], object]
WRITES: dict[str, tuple[Change, set[int]]] = {
    "one run": (lambda d, c: ingest.add_run(d, c, run=a_run(50, AT + 5 * HOUR), now=NOW), {5}),
    "a batch": (
        lambda d, c: send(d, c, [a_run(n, AT + n * HOUR) for n in (60, 61)]),
        {60, 61},
    ),
    "a batch that holds some sent before": (
        lambda d, c: send(d, c, [a_run(1, AT), a_run(2, AT + HOUR), a_run(63, AT + 3 * HOUR)]),
        {3},
    ),
    "another purpose in the same hour": (
        lambda d, c: send(d, c, [a_run(64, AT + HOUR + MINUTE, purpose="cleaning")]),
        {1},
    ),
    "a run sent as late": (lambda d, c: send(d, c, [a_run(65, AT - 300 * DAY)]), {-7200}),
    "a void": (lambda d, c: ingest.void_run(d, c, run_id="run-00000002", now=NOW), {1}),
    "a second source in one grind": (
        lambda d, c: send(d, c, [a_run(66, AT + HOUR + SECOND, source="plug")]),
        {1},
    ),
    "a second source across hours": (
        lambda d, c: send(d, c, [a_run(67, AT + 2 * HOUR - 2 * SECOND, source="plug")]),
        {1, 2},
    ),
    "a correction of grams": (lambda d, c: correct(d, c, "grams", grams_factor=0.9), {0, 1, 2}),
    "a correction of a clock": (
        lambda d, c: correct(d, c, "clock", clock_offset_seconds=3600.0),
        {0, 1, 2, 3},
    ),
    "a correction that voids": (
        lambda d, c: correct(d, c, "void", is_void=True, from_at=AT + HOUR),
        {1, 2},
    ),
}


def test_every_write_raises_the_hours_it_changes_to_its_revision(database: Database) -> None:
    for name, (change, expected) in WRITES.items():
        touches_what_it_changes(name, database, change, expected)


def touches_what_it_changes(
    name: str, database: Database, change: Change, expected: set[int]
) -> None:
    caller = new_chain(database)
    send(database, caller, [a_run(1, AT), a_run(2, AT + HOUR), a_run(3, AT + 2 * HOUR)])
    before, touched_before, counted_before = look(database, caller)
    assert touched_before == dict.fromkeys([hour(AT) + n for n in range(3)], before), name
    change(database, caller)
    after, touched, counted = look(database, caller)
    assert after > before
    assert {at - hour(AT) for at, of in touched.items() if of == after} == expected, name
    assert all(of == before for at, of in touched.items() if at - hour(AT) not in expected)
    changed = {
        at
        for at in counted.keys() | counted_before.keys()
        if counted.get(at) != counted_before.get(at)
    }
    assert {at - hour(AT) for at in changed} <= expected, name


def test_a_revoked_correction_touches_what_it_had_touched(database: Database) -> None:
    caller = new_chain(database)
    send(database, caller, [a_run(1, AT), a_run(2, AT + HOUR)])
    correct(database, caller, "clock", clock_offset_seconds=-7200.0)
    entries.revoke_correction(database, caller, correction_id="clock", now=NOW)
    revision, touched, _ = look(database, caller)
    assert touched == {hour(AT) + n: revision for n in (-2, -1, 0, 1)}


def test_what_changes_no_run_touches_no_hour(database: Database) -> None:
    caller = new_chain(database)
    runs = [a_run(number, AT - 60 * DAY + number * HOUR) for number in range(6)]
    send(database, caller, [*runs, a_run(7, AT)])
    first, touched, _ = look(database, caller)
    fit(database, caller, "bar-1", "set-1", AT - 61 * DAY)
    burrs.fit_burr_set(
        database,
        caller,
        grinder_id="bar-1",
        fields={"geometry": "flat", "prior_grams": 0.0, "fitted_at": AT},
        now=NOW,
    )
    readings.add_readings(
        database, caller, sent=[Reading("bar-1", at=AT, motor_celsius=40.0)], now=NOW
    )
    entries.set_period(
        database, caller, grinder_id="bar-1", fields={"from_at": AT, "setting": 4.0}, now=NOW
    )
    send(database, caller, runs)  # all known
    assert keep.archive_runs(database, retained_days=20, now=NOW)
    revision, still, _ = look(database, caller)
    assert revision > first
    assert still == touched


def test_a_late_copy_of_an_archived_run_is_taken_back(database: Database) -> None:
    caller = new_chain(database)
    old = [a_run(number, AT - 60 * DAY + number * HOUR) for number in range(3)]
    send(database, caller, [*old, a_run(9, AT)])
    assert keep.archive_runs(database, retained_days=20, now=NOW) == 2
    send(database, caller, [*old, a_run(10, AT - 60 * DAY + MINUTE)])
    revision, touched, counted = look(database, caller)
    assert touched[hour(AT - 60 * DAY)] == revision
    assert [len(counted[at]) for at in sorted(counted)] == [1, 1, 1]  # late, kept, newest


def test_the_sums_of_hours_are_written_in_one_place() -> None:
    """Whoever writes sums of hours goes through ``sums.adding``, which sets the revision."""
    writers = {
        path.name
        for path in SERVICE.rglob("*.py")
        if re.search(
            r"(insert|update|delete)\(grinder_hour|(INTO|UPDATE|DELETE FROM) grinder_hour",
            path.read_text(encoding="utf-8"),
        )
        and "migrations" not in path.parts
    }
    assert writers <= {"incoming.py"}
    changers = {
        path.name
        for path in SERVICE.rglob("*.py")
        if "runs.change(" in path.read_text(encoding="utf-8")
    }
    assert changers == {"recount.py"}  # which takes their shares out and puts them back
