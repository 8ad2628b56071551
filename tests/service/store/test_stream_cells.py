"""Cells are those of the runs as they are, whatever was folded, written or archived when."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import func, select

from burrline_service.actions import entries, folding, ingest, keep
from burrline_service.core.records import Caller, Run
from burrline_service.core.stream_cells import StreamCell, merge_cells, negate_cell
from burrline_service.core.stream_eligible import StreamRun, fold_runs
from burrline_service.store import stream_cells
from burrline_service.store.database import Connection, Database, open_database
from burrline_service.store.stream_cells import Folded
from burrline_service.store.stream_tables import stream_cell, stream_fold
from burrline_service.store.tables import grinder, run, run_more
from histories import histories
from small_chain import DAY, HOUR, MINUTE, NOW, SECOND, a_run, new_chain, send

AT = NOW - 20 * DAY
EVER = {"from_hour": -(10**6), "to_hour": 10**6}


def number_of(connection: Connection, caller: Caller, grinder_id: str = "bar-1") -> int:
    wanted = select(grinder.c.grinder_no).where(
        grinder.c.account_no == caller.account_no, grinder.c.grinder_id == grinder_id
    )
    return int(connection.execute(wanted).scalar_one())


def read(database: Database, caller: Caller) -> tuple[StreamCell, ...]:
    """As a reader has them, in the order of their keys."""

    def work(connection: Connection) -> list[StreamCell]:
        number = number_of(connection, caller)
        folded = stream_cells.fold(connection, caller.account_no, number)
        rows = stream_cells.cell_rows(connection, caller.account_no, number, folded, **EVER)
        return [StreamCell(*row) for row in rows]

    return merge_cells(database.read(caller.account_no, work))


def recounted(database: Database, caller: Caller) -> tuple[StreamCell, ...]:
    """Of all runs in the table that count, one after the other."""

    def work(connection: Connection) -> list[StreamRun]:
        more = {
            row.run_key: row.more
            for row in connection.execute(
                select(run_more).where(run_more.c.account_no == caller.account_no)
            )
        }
        names = [name for name in StreamRun._fields if name != "coffee_lot"]
        found = connection.execute(
            select(run.c.run_key, *(run.c[name] for name in names)).where(
                run.c.account_no == caller.account_no,
                run.c.grinder_no == number_of(connection, caller),
                run.c.left_out == 0,
            )
        )
        return [
            StreamRun(
                **{name: getattr(row, name) for name in names},
                coffee_lot=more.get(row.run_key, {}).get("coffee_lot"),
            )
            for row in found
        ]

    return fold_runs(database.read(caller.account_no, work))


def folded_of(database: Database, caller: Caller, limit: int | None = None) -> Folded | None:
    def work(connection: Connection) -> Folded | None:
        number = number_of(connection, caller)
        return stream_cells.fold(connection, caller.account_no, number, limit=limit)

    return database.read(caller.account_no, work)


def put(database: Database, caller: Caller, folded: Folded) -> bool:
    return database.write(
        caller.account_no, lambda c: stream_cells.put(c, caller.account_no, folded)
    )


def stored_count(database: Database, caller: Caller) -> int:
    wanted = select(func.count()).where(stream_cell.c.account_no == caller.account_no)
    return int(database.read(caller.account_no, lambda c: c.execute(wanted).scalar_one()))


def shots(count: int, at: Any = AT, first: int = 0, **fields: Any) -> list[Run]:
    """One run in twenty minutes, each a little longer than the one before."""
    return [
        a_run(
            first + n,
            at + n * 20 * MINUTE,
            seconds=8.0 + n % 7 / 10,
            setting=4.8 + n % 2 / 10,
            feed="hopper",
            coffee_lot=("hill-7", None)[n % 5 == 0],
            **fields,
        )
        for n in range(count)
    ]


def correct(database: Database, caller: Caller, **fields: Any) -> None:
    given = {"correction_id": "seen", "grinder_id": "bar-1", "to_at": None, "reason": "seen"}
    entries.add_correction(
        database, caller, fields={**given, "from_at": AT + 2 * HOUR, **fields}, now=NOW
    )


CHANGES: dict[str, Callable[[Database, Caller], object]] = {
    "late runs": lambda d, c: send(d, c, shots(5, AT - 3 * HOUR, 100)),
    "a void": lambda d, c: ingest.void_run(d, c, run_id="run-00000004", now=NOW),
    "grams corrected": lambda d, c: correct(d, c, grams_factor=0.97),
    "a clock corrected": lambda d, c: correct(d, c, clock_offset_seconds=5400.0),
    "corrected away": lambda d, c: correct(d, c, is_void=True),
    "a second source": lambda d, c: send(d, c, shots(3, AT + 40 * MINUTE, 200, source="plug")),
}


def test_hours_are_folded_again_when_their_runs_change(database: Database) -> None:
    for name, change in CHANGES.items():
        caller = new_chain(database)
        send(database, caller, shots(20))
        before = recounted(database, caller)
        assert read(database, caller) == before
        folding.fold_stream(database)
        assert folded_of(database, caller) is None
        assert stored_count(database, caller) == len(before)
        assert read(database, caller) == before
        change(database, caller)
        expected = recounted(database, caller)
        assert expected != before, name
        assert read(database, caller) == expected, name
        stale = folded_of(database, caller)
        assert stale is not None and 1 <= len(stale.hours) < 12, name
        folding.fold_stream(database)
        assert read(database, caller) == expected, name
        assert stored_count(database, caller) == len(expected), name


def test_the_worker_takes_so_many_hours_at_once_and_goes_on(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(folding, "HOURS_AT_ONCE", 3)
    monkeypatch.setattr(folding, "GRINDERS_AT_ONCE", 1)
    caller = new_chain(database, "bar-1", "bar-2")
    send(database, caller, [*shots(20), *shots(2, first=50, grinder_id="bar-2")])
    expected = recounted(database, caller)
    assert folding.fold_stream(database, is_stopping=lambda: True) == 0
    turns = []
    while count := folding.fold_stream(database):
        turns.append(count)
        assert read(database, caller) == expected
        if len(turns) == 1:  # touched while the fold is on its way
            send(database, caller, shots(2, AT + MINUTE, 70))
            expected = recounted(database, caller)
    assert turns == [4, 3, 2]
    assert folded_of(database, caller) is None
    assert read(database, caller) == expected


def test_what_was_read_before_another_wrote_is_not_written_after(database: Database) -> None:
    caller = new_chain(database)
    send(database, caller, shots(6))
    slow = folded_of(database, caller)
    send(database, caller, shots(2, AT + MINUTE, 60))
    quick = folded_of(database, caller)
    assert slow is not None and quick is not None
    assert put(database, caller, quick)
    assert not put(database, caller, slow)
    assert read(database, caller) == recounted(database, caller)
    assert folded_of(database, caller) is None
    # the first one first: what came meanwhile is stale by its revision
    send(database, caller, shots(2, AT + 2 * MINUTE, 62))
    slow = folded_of(database, caller)
    assert slow is not None
    send(database, caller, shots(2, AT + 3 * MINUTE, 64))
    assert put(database, caller, slow)
    again = folded_of(database, caller)
    assert again is not None and set(again.hours) == set(slow.hours)
    assert read(database, caller) == recounted(database, caller)


def test_retention_between_a_fold_and_its_writing_counts_nothing_twice(
    database: Database,
) -> None:
    caller = new_chain(database)
    send(database, caller, [*shots(9, AT - 60 * DAY), a_run(99, NOW - HOUR)])
    expected = recounted(database, caller)
    slow = folded_of(database, caller)
    assert keep.archive_runs(database, retained_days=20, now=NOW) == 8
    assert slow is not None
    assert not put(database, caller, slow)
    assert read(database, caller) == expected
    folding.fold_stream(database)
    assert read(database, caller) == expected
    send(database, caller, shots(3, AT - 60 * DAY + MINUTE, 40))  # late, into archived hours
    late = read(database, caller)
    assert sum(cell.count for cell in late) == 13
    folding.fold_stream(database)
    assert read(database, caller) == late
    keep.archive_runs(database, retained_days=20, now=NOW)
    assert read(database, caller) == late


def test_what_is_left_of_an_hour_that_is_partly_archived_still_counts(database: Database) -> None:
    caller = new_chain(database)
    send(database, caller, [*shots(9, AT - 60 * DAY), a_run(99, NOW - HOUR)])
    expected = recounted(database, caller)
    folding.fold_stream(database)
    assert keep.archive_runs(database, retained_days=20, now=NOW) == 8  # all but the last one
    assert folded_of(database, caller) is None
    assert read(database, caller) == expected


def test_a_writer_amid_a_fold_leaves_no_wrong_cells(database: Database, database_url: str) -> None:
    """Two connections: runs are committed while the hours they touch are being read."""
    caller = new_chain(database)
    send(database, caller, shots(6))
    other = open_database(database_url)
    fold_runs_then = stream_cells.fold_runs
    try:

        def work(connection: Connection) -> Folded | None:
            number = number_of(connection, caller)
            folded = stream_cells.fold(connection, caller.account_no, number)
            send(other, caller, shots(3, AT + 5 * MINUTE, 60))
            assert stream_cells.fold(connection, caller.account_no, number) == folded
            return folded

        folded = database.read(caller.account_no, work)
    finally:
        other.close()
    assert folded is not None and stream_cells.fold_runs is fold_runs_then
    assert put(database, caller, folded)
    assert read(database, caller) == recounted(database, caller)
    assert folding.fold_stream(database) == 1
    assert read(database, caller) == recounted(database, caller)


def test_cells_belong_to_their_account(database: Database) -> None:
    caller, stranger = new_chain(database), new_chain(database)
    send(database, caller, shots(6))
    folding.fold_stream(database)
    assert stored_count(database, caller) > 0
    assert stored_count(database, stranger) == 0
    wanted = select(func.count()).where(stream_fold.c.account_no == stranger.account_no)
    assert database.read(stranger.account_no, lambda c: c.execute(wanted).scalar_one()) == 0


STEPS = ("send", "send", "send", "void", "correct", "fold", "some", "archive", "plug")


@histories(3)
@given(steps=st.lists(st.sampled_from(STEPS), min_size=3, max_size=9), seed=st.integers(0, 10**6))
def test_cells_are_those_of_a_recount_after_any_history(
    database: Database, steps: list[str], seed: int
) -> None:
    dice = random.Random(seed)
    caller = new_chain(database)
    numbers = iter(range(10**6))
    sent: list[str] = []
    # what was archived is no longer there to be counted: its cells are kept beside
    archived: list[StreamCell] = []
    for step in steps:
        if step in ("send", "plug"):
            runs = [
                a_run(
                    next(numbers),
                    NOW - dice.randrange(60) * HOUR - dice.randrange(3600) * SECOND,
                    seconds=dice.choice([None, 7.9, 8.4]),
                    grams=dice.choice([3.0, 17.9, 36.2]),
                    setting=dice.choice([None, 4.8, 5.0]),
                    purpose=dice.choice([None, "service", "cleaning"]),
                    source="plug" if step == "plug" else None,
                )
                for _ in range(dice.randrange(1, 6))
            ]
            send(database, caller, runs)
            sent += [one.run_id for one in runs]
        elif step == "void" and sent:
            run_id = sent.pop(dice.randrange(len(sent)))
            if not is_archived(database, caller, run_id):
                ingest.void_run(database, caller, run_id=run_id, now=NOW)
        elif step == "correct" and not archived:
            name = f"seen-{next(numbers)}"
            fields = {"grams_factor": 0.9} if dice.random() < 0.5 else {"clock_offset_seconds": 9e3}
            correct(
                database, caller, correction_id=name, from_at=NOW - timedelta(hours=30), **fields
            )
        elif step == "fold":
            folding.fold_stream(database)
        elif step == "some":
            folded = folded_of(database, caller, limit=2)
            if folded is not None:
                put(database, caller, folded)
        elif step == "archive":
            before = recounted(database, caller)
            keep.archive_runs(database, retained_days=0, now=NOW + 32 * DAY - 20 * HOUR)
            after = [negate_cell(cell) for cell in recounted(database, caller)]
            archived = [*merge_cells([*archived, *before, *after])]
    expected = merge_cells([*archived, *recounted(database, caller)])
    assert read(database, caller) == expected
    folding.fold_stream(database)
    assert read(database, caller) == expected


def is_archived(database: Database, caller: Caller, run_id: str) -> bool:
    wanted = select(func.count()).where(
        run.c.account_no == caller.account_no, run.c.run_id == run_id
    )
    return database.read(caller.account_no, lambda c: c.execute(wanted).scalar_one()) == 0
