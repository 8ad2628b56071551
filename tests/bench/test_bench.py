"""The measuring scripts run; how long things take is theirs to say, not a test's."""

from __future__ import annotations

from pathlib import Path

import psycopg
import pytest

from bench import paired, row_security, single_and_batch, status_by_size
from burrline_service.store.database import Database
from databases import (
    MadeDatabase,
    Server,
    drop_postgresql_database,
    make_postgresql_database,
    template_name,
)


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
    times = status_by_size.measure(database, (20, 60), repeats=2, calls=1)
    assert list(times) == ["runs-20", "runs-60"]
    times = single_and_batch.measure(database, batch_count=5, repeats=2)
    assert paired.ratio(times, single_and_batch.SINGLE, single_and_batch.BATCH) > 0


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
