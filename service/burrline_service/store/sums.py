"""Keeping exact sums of runs by hour and by day.

Everything is an integer, so increments and recounts agree to the last milligram.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from operator import add as add_up
from operator import sub as subtract
from typing import Literal, NamedTuple

from sqlalchemy import Connection, Table, select, update

from ..core.grinds import (
    COUNTS_AS_RUN,
    COUNTS_GRAMS,
    COUNTS_SECONDS,
    HAS_GRAMS,
    HAS_SECONDS,
    HAS_WEIGHED_GRAMS,
)
from ..core.records import GRAMS_BASES, PURPOSES
from . import arrays, driver, early
from .row_columns import RunRow
from .tables import (
    DAY_MS,
    HOUR_MS,
    SUM_NAMES,
    grinder_day,
    grinder_hour,
    grinder_state,
)

CLEANING = PURPOSES.index("cleaning")
ESTIMATED = GRAMS_BASES.index("estimated")
WEIGHED = (GRAMS_BASES.index("weighed_out"), GRAMS_BASES.index("weighed_in"))


class Sums(NamedTuple):
    """Sums over some runs; see ``tables.SUM_NAMES`` for what each counts."""

    run_count: int = 0
    on_ms: int = 0
    grams_mg: int = 0
    estimated_mg: int = 0
    untimed_mg: int = 0
    ungrammed_ms: int = 0
    paired_mg: int = 0
    paired_ms: int = 0

    def plus(self, other: Sums, sign: Literal[1, -1] = 1) -> Sums:
        return Sums._make(map(add_up if sign == 1 else subtract, self, other))


def of_run(row: RunRow) -> Sums:
    """The share of one run: nothing when it is left out, its part when two devices report it."""
    if row.left_out:
        return Sums()
    return share_of(row.on_ms, row.grams_mg, row.grams_basis, row.part)


def share_of(on_ms: int | None, grams_mg: int | None, grams_basis: int, part: int | None) -> Sums:
    """What a run that is not left out adds to the sums."""
    if part is None:
        has_seconds, has_grams = on_ms is not None, grams_mg is not None
        is_paired = has_seconds and has_grams and grams_basis in WEIGHED
        is_counted = True
    else:
        has_seconds, has_grams = bool(part & HAS_SECONDS), bool(part & HAS_GRAMS)
        is_paired = has_seconds and bool(part & HAS_WEIGHED_GRAMS)
        is_counted = bool(part & COUNTS_AS_RUN)
        on_ms = on_ms if part & COUNTS_SECONDS else None
        grams_mg = grams_mg if part & COUNTS_GRAMS else None
    on, grams = on_ms or 0, grams_mg or 0
    is_estimated = grams_basis == ESTIMATED
    return Sums(
        run_count=int(is_counted),
        on_ms=on,
        grams_mg=0 if is_estimated else grams,
        estimated_mg=grams if is_estimated else 0,
        untimed_mg=0 if has_seconds else grams,
        ungrammed_ms=0 if has_grams else on,
        paired_mg=grams if is_paired else 0,
        paired_ms=on if is_paired else 0,
    )


class Held(NamedTuple):
    """A grinder's state row, locked until the transaction ends."""

    grinder_no: int
    first_source_no: int | None
    is_shared: bool
    is_corrected: bool


def lock(
    connection: Connection,
    account_no: int,
    grinder_nos: Iterable[int],
    *,
    earliest_ms: int | None = None,
    now_ms: int | None = None,
) -> dict[int, Held]:
    """Take the grinders' state rows, sorted, and count up their revision.

    ``earliest_ms`` is the earliest own time of what changes, ``now_ms`` when it was received; see
    ``early``. Left out, the change may reach as far back as can be.
    """
    statement, numbers = early.locking(
        connection.dialect.name,
        sorted(set(grinder_nos)),
        is_early=early.is_early(earliest_ms, now_ms),
    )
    rows = driver.rows_of(connection, statement, (account_no, numbers))
    return {
        grinder_no: Held(grinder_no, first_source_no, bool(is_shared), bool(is_corrected))
        for grinder_no, first_source_no, is_shared, is_corrected in rows
    }


def mark(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    *,
    first_source_no: int | None,
    is_shared: bool,
    is_corrected: bool,
) -> None:
    """Write what a locked state row says of a grinder's sources and corrections."""
    connection.execute(
        update(grinder_state)
        .where(grinder_state.c.account_no == account_no, grinder_state.c.grinder_no == grinder_no)
        .values(first_source_no=first_source_no, is_shared=is_shared, is_corrected=is_corrected)
    )


def hold(connection: Connection, account_no: int, grinder_nos: Iterable[int]) -> None:
    """Take the grinders' state rows, sorted, without counting anything."""
    connection.execute(
        select(grinder_state.c.grinder_no)
        .where(
            grinder_state.c.account_no == account_no,
            grinder_state.c.grinder_no.in_(sorted(set(grinder_nos))),
        )
        .order_by(grinder_state.c.grinder_no)
        .with_for_update()
    ).all()


def add(connection: Connection, account_no: int, rows: Iterable[RunRow], *, sign: int = 1) -> None:
    """Count the runs into their hours and days (``sign=-1`` takes them out again)."""
    shares: dict[tuple[int, int, int], list[Sums]] = defaultdict(list)
    for row in rows:
        shares[row.grinder_no, row.started_ms // HOUR_MS, row.purpose].append(of_run(row))
    hours = {
        key: Sums(*(sign * sum(column) for column in zip(*of_hour, strict=True)))
        for key, of_hour in shares.items()
    }
    _add_all(connection, account_no, hours)


def add_hours(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    counted: Mapping[tuple[int, int], Sums],
) -> None:
    """Count sums by (hour, purpose) of runs that are gone, into their days too."""
    hours = {(grinder_no, hour, purpose): total for (hour, purpose), total in counted.items()}
    _add_all(connection, account_no, hours)


def _add_all(
    connection: Connection, account_no: int, hours: Mapping[tuple[int, int, int], Sums]
) -> None:
    days: dict[tuple[int, int, int], Sums] = {}
    for (grinder_no, hour, purpose), total in hours.items():
        day = (grinder_no, hour * HOUR_MS // DAY_MS, purpose)
        days[day] = days[day].plus(total) if day in days else total
    for table, sums in ((grinder_hour, hours), (grinder_day, days)):
        rows = [(*key, *sums[key]) for key in sorted(sums)]
        if rows and connection.dialect.name == "postgresql":
            columns = arrays.written(table, _SUMS_COLUMNS[table], zip(*rows, strict=True))
            driver.rows_of(connection, _ADD[table], (account_no, *columns))
        elif rows:
            driver.count_of_each(
                connection, _ADD_SQLITE[table], [(account_no, *row) for row in rows]
            )


_SUMS_COLUMNS = {
    table: ("grinder_no", unit, "purpose", *SUM_NAMES)
    for table, unit in ((grinder_hour, "hour"), (grinder_day, "day"))
}


def adding(table: str, names: Sequence[str], values: str) -> str:
    """Adds rows in the order given, to what is there for their hour or day.

    Behind the names, hours have the revision that touches them: ``touching``.
    """
    added = ", ".join(f"{name} = {table}.{name} + excluded.{name}" for name in SUM_NAMES)
    given = ", ".join(names)
    if table == grinder_hour.name:
        given += ", touched_revision"
        added += ", touched_revision = excluded.touched_revision"
    return (
        f"INSERT INTO {table} (account_no, {given}) {values}"
        f" ON CONFLICT (account_no, {', '.join(names[:3])}) DO UPDATE SET {added}"
    )


def touching(table: str, account: str, grinder: str) -> str:
    """The last value of a row for ``adding``: of hours, the revision of the grinder's state.

    Its writer has counted it up and holds it. 0 only while a grinder is restored, before its
    state is.
    """
    if table != grinder_hour.name:
        return ""
    return (
        ", coalesce((SELECT s.revision FROM grinder_state AS s"
        f" WHERE s.account_no = {account} AND s.grinder_no = {grinder}), 0)"
    )


def _adding_arrays(table: Table, names: tuple[str, ...]) -> str:
    touched = touching(table.name, "a.account_no", "u.grinder_no")
    unnested = arrays.unnested(table, names)
    values = f"SELECT a.account_no, u.*{touched} FROM (SELECT %s::int4 AS account_no) AS a,"
    return adding(table.name, names, f"{values} {unnested} AS u ({', '.join(names)})")


def _adding_each(table: Table, names: tuple[str, ...]) -> str:
    marks = ", ".join(f"?{number}" for number in range(1, len(names) + 2))
    return adding(table.name, names, f"VALUES ({marks}{touching(table.name, '?1', '?2')})")


_ADD = {table: _adding_arrays(table, names) for table, names in _SUMS_COLUMNS.items()}
_ADD_SQLITE = {table: _adding_each(table, names) for table, names in _SUMS_COLUMNS.items()}
