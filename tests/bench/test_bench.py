"""The measuring scripts run; how long things take is theirs to say, not a test's."""

from __future__ import annotations

from pathlib import Path

import psycopg
import pytest

from bench import (
    alerts,
    break_in,
    footprint,
    goals,
    motor,
    paired,
    row_security,
    shapes,
    single_and_batch,
    status_by_size,
    stream,
)
from bench import within as bench_within
from burrline_service.store.database import Connection, Database
from databases import (
    MadeDatabase,
    Server,
    drop_postgresql_database,
    make_postgresql_database,
    template_name,
)
from small_chain import new_chain


def test_ways_are_taken_in_turn() -> None:
    taken: list[str] = []
    times = paired.times_seconds(
        {name: lambda name=name: taken.append(name) for name in "abc"},  # type: ignore[misc]
        repeats=3,
        calls=2,
    )
    assert "".join(taken) == "abc" + "aabbcc" + "bbccaa" + "ccaabb"
    assert {name: len(row) for name, row in times.items()} == {"a": 3, "b": 3, "c": 3}


def test_a_ratio_is_the_median_of_the_pairs() -> None:
    times = {"x": [2.0, 8.0, 30.0], "y": [1.0, 2.0, 10.0]}
    assert paired.ratio(times, "x", "y") == 3.0


def test_the_scripts_measure(database: Database) -> None:
    caller = status_by_size.chain_of(database, (20, 60))
    times = status_by_size.within(database, caller, (20, 60), repeats=2, calls=1)
    assert list(times) == ["runs-20", "runs-60"]
    times = single_and_batch.measure(database, batch_count=5, repeats=2)
    assert paired.ratio(times, single_and_batch.SINGLE, single_and_batch.BATCH) > 0


def test_the_questions_about_a_motor_are_measured(database: Database) -> None:
    caller = new_chain(database, "small", **motor.PLATE)
    for name, ask in motor.questions(database, caller).items():
        assert ask("small") is not None, name
    (taken,) = motor.fit_milliseconds(1, run_count=300)
    assert taken > 0


def test_a_table_says_what_is_met() -> None:
    floor = goals.Measured("G1", "a batch", 0.4, 0.5, is_floor=True)
    ceiling = goals.Measured("G7", "a status", 1.5, 1.6, note="why")
    lines = goals.table([floor, ceiling]).splitlines()
    assert [line.split()[0] for line in lines] == ["goal", "G1", "G7"]
    assert (floor.is_met, ceiling.is_met) == (True, False)
    assert lines[1].endswith("met")
    assert lines[2].endswith("falls short  why")


def test_the_goals_are_measured(
    database: Database,
    made_database: MadeDatabase,
    database_kind: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Once each and with few runs: what the ratios are worth shows on a quiet machine."""
    monkeypatch.setattr(shapes, "SHAPES", {"fleet": 5, "hub": 3, "spool": 1})
    monkeypatch.setattr(shapes, "BATCH_COUNT", 20)
    found = [
        *bench_within.validation(repeats=1),
        *bench_within.repeated(database, database_kind, repeats=1),
        *footprint.room(made_database, database, database_kind, batches=1),
    ]
    assert [one.name for one in found] == ["G12", "G12", "G15", "G15", "G13"]
    assert all(one.ratio > 0 for one in found)


def test_raw_writing_writes_the_rows_of_the_service(
    database: Database, made_database: MadeDatabase, postgresql_server: Server
) -> None:
    caller = shapes.chain_of(database, 1)
    lines = next(shapes.lines_of("spool", 5))
    rows = shapes.rows_of(lines, lambda line: bench_within.read_all([line])[0])
    if not made_database.url.startswith("sqlite") and postgresql_server.process_id is None:
        pytest.skip("raw writing needs the superuser of a server of our own")
    writer = shapes.RawWriter(made_database.url)
    writer.write([(caller.account_no, *row[1:]) for row in rows])
    writer.close()
    bench_within.send(database, caller, bench_within.read_all(lines))  # all of them duplicates

    def count(connection: Connection) -> int:
        found = connection.exec_driver_sql("SELECT count(*) FROM run").one()
        return int(found[0])

    assert database.read(caller.account_no, count) == 5


@pytest.mark.parametrize("database_kind", ["postgresql"])
def test_row_level_security_can_be_weighed(
    made_database: MadeDatabase, postgresql_server: Server, session_folder: Path
) -> None:
    other = make_postgresql_database(postgresql_server, template_name(session_folder))
    found = row_security.measure(made_database, other, repeats=1, calls=1)
    seen = []
    for made in (made_database, other):  # without an account, policies hide all
        with psycopg.connect(made.url) as connection:
            seen += connection.execute("SELECT count(*) > 0 FROM run").fetchone() or ()
    drop_postgresql_database(postgresql_server, other.url.rsplit("/", 1)[1])
    assert seen == [False, True]
    assert found.keys() == {"record one run", "whole post", "one statement"}
    assert paired.ratio(found["whole post"], row_security.WITH, row_security.WITHOUT) > 0


def test_a_break_in_can_be_timed(database: Database) -> None:
    found = break_in.measure(database, repeats=1, calls=1)
    assert all(seconds > 0 for times in found.values() for seconds in times)
    assert found.keys() >= {break_in.BREAK_IN, break_in.MEASURED, break_in.BARE}


def test_the_flow_of_a_grinder_can_be_timed(database: Database) -> None:
    times, once = stream.measure(database, days=2, repeats=1)
    assert all(seconds > 0 for found in times.values() for seconds in found)
    assert once["cells"] > len(stream.OPEN_HOURS)


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_the_way_of_an_event_is_measured(made_database: MadeDatabase) -> None:
    found = alerts.measure(made_database, repeats=1, burst_count=2, settle_seconds=0.0)
    assert {name: len(taken) for name, taken in found.items()} == {
        "run": 1, "alone": 1, "burst": 1, "beside": 1,
    }  # fmt: skip
    assert len(list(alerts.lines(found, "sqlite"))) == 4
