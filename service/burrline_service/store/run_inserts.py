"""Writing runs, each key once, and their shares of the sums with them."""

from __future__ import annotations

from collections.abc import Collection
from functools import cache

from sqlalchemy import Connection, delete, insert

from . import arrays, driver, runs, sums
from .row_columns import RowColumns, RunRow
from .tables import DAY_MS, HOUR_MS, SUM_NAMES, run, run_more


def add(connection: Connection, account_no: int, rows: RowColumns) -> list[int]:
    """Insert the rows whose key is new, also to the archive; answers their places.

    A concurrent writer of the same key wins or loses as a whole row. Of rows with one key the
    caller sends one. What is inserted is counted into its hours and days.
    """
    if not rows.count:
        return []
    keys = rows.column("run_key")
    if rows.count > 1:
        # by key alone: two writers of the same keys meet in one order, whatever their grinders
        order = sorted(range(rows.count), key=keys.__getitem__)
        ordered = rows.taken(order)
    else:
        order, ordered = [0], rows
    add_all = _add_postgresql if connection.dialect.name == "postgresql" else _add_sqlite
    added = add_all(connection, account_no, ordered)
    places = order if added is None else [p for p in order if keys[p] in added]
    more = [
        {"account_no": account_no, "run_key": keys[place], "more": rows.more[place]}
        for place in places
        if place in rows.more
    ]
    if more:
        connection.execute(insert(run_more), more)
    return sorted(places)


def _add_postgresql(
    connection: Connection, account_no: int, ordered: RowColumns
) -> set[bytes] | None:
    """One statement; what the archive turns out to know is taken back. None: all are new.

    The archive is looked at last: what moved there while we inserted is then in sight.
    """
    names = ordered.names
    is_counted = "part" not in names
    arrays_of_rows = arrays.written(run, names, map(ordered.column, names))
    sums_of = (account_no,) * 3 if is_counted else ()  # hours name it twice, days once
    ((count, kept),) = driver.rows_of(
        connection,
        _postgresql_insert(names, is_counted),
        (account_no, *arrays_of_rows, *sums_of, ordered.count),
    )
    ((has_archived,),) = driver.rows_of(connection, _HAS_ARCHIVED, (account_no,))
    added = None if count == ordered.count else {*map(bytes, kept or ())}
    if not is_counted:
        sums.add(connection, account_no, _those(ordered, added))
    if has_archived and count:
        keys = ordered.column("run_key") if added is None else added
        stale = runs.archived(connection, account_no, keys).keys()
        if stale:
            connection.execute(
                delete(run).where(run.c.account_no == account_no, run.c.run_key.in_(sorted(stale)))
            )
            sums.add(connection, account_no, _those(ordered, stale), sign=-1)
            added = set(keys) - stale
    return added


def _add_sqlite(connection: Connection, account_no: int, ordered: RowColumns) -> set[bytes] | None:
    """All at once where the first is new, as then mostly all are; else those found new."""
    keys = ordered.column("run_key")
    ((has_archived, last_before),) = driver.rows_of(connection, _BEFORE_SQLITE, (account_no,))
    added: set[bytes] | None = None
    is_done = False
    is_likely_new = ordered.count == 1 or not runs.known(connection, account_no, keys[:1])
    if is_likely_new and not has_archived:
        with driver.savepoint(connection) as undo:
            is_done = _insert_sqlite(connection, account_no, ordered) == ordered.count
            if not is_done:
                undo()
    if not is_done:
        added = set(keys) - runs.fingerprints(connection, account_no, keys).keys()
        places = [place for place, key in enumerate(keys) if key in added]
        _insert_sqlite(connection, account_no, ordered.taken(places))
    if "part" in ordered.names:
        sums.add(connection, account_no, _those(ordered, added))
    elif (
        added is None or added
    ):  # nobody else writes, so what came is what has a number beyond the last
        for counting in _COUNTING_SQLITE:
            driver.rows_of(connection, counting, (account_no, last_before or 0))
    return added


def _insert_sqlite(connection: Connection, account_no: int, rows: RowColumns) -> int:
    columns = map(rows.column, rows.names)
    values = list(zip([account_no] * rows.count, *columns, strict=True))
    return driver.count_of_each(connection, _sqlite_insert(rows.names), values) if values else 0


def _those(rows: RowColumns, keys: Collection[bytes] | None) -> list[RunRow]:
    """The rows with these keys, or all."""
    return [row for row in rows.rows() if keys is None or row.run_key in keys]


def _counting(table: str, unit: str, unit_ms: int, account: str, rows: str, new: str) -> str:
    """Counts what was added into hours or days: ``sums.share_of`` of runs without a part."""
    mg, ms = "coalesce(grams_mg, 0)", "coalesce(on_ms, 0)"
    is_weighed = f"grams_basis IN {sums.WEIGHED}"
    return sums.adding(
        table,
        ("grinder_no", unit, "purpose", *SUM_NAMES),
        # rounded down, before 1970 too
        f"SELECT {account}, grinder_no,"
        f" (started_ms - (started_ms % {unit_ms} + {unit_ms}) % {unit_ms}) / {unit_ms}, purpose,"
        f" count(*), sum({ms}),"
        f" sum(CASE grams_basis WHEN {sums.ESTIMATED} THEN 0 ELSE {mg} END),"
        f" sum(CASE grams_basis WHEN {sums.ESTIMATED} THEN {mg} ELSE 0 END),"
        f" sum(CASE WHEN on_ms IS NULL THEN {mg} ELSE 0 END),"
        f" sum(CASE WHEN grams_mg IS NULL THEN {ms} ELSE 0 END),"
        f" sum(CASE WHEN on_ms IS NOT NULL AND {is_weighed} THEN {mg} ELSE 0 END),"
        f" sum(CASE WHEN grams_mg IS NOT NULL AND {is_weighed} THEN {ms} ELSE 0 END)"
        f"{sums.touching(table, account, f'{rows}.grinder_no')}"
        f" FROM {rows} {new} AND left_out = 0 GROUP BY 2, 3, 4 ORDER BY 2, 3, 4",
    )


_UNITS = (("grinder_hour", "hour", HOUR_MS), ("grinder_day", "day", DAY_MS))
_COUNTING_SQLITE = tuple(
    _counting(*unit, "?1", "run", "NOT INDEXED WHERE rowid > ?2 AND account_no = ?1")
    for unit in _UNITS
)


@cache
def _postgresql_insert(names: tuple[str, ...], is_counted: bool) -> str:
    """Inserts the rows; answers how many were new and, where not all, the keys of those."""
    hours, days = (_counting(*unit, "%s::int4", "added", "WHERE true") for unit in _UNITS)
    counted = f", hours AS ({hours}), days AS ({days})" if is_counted else ""
    return (
        f"WITH added AS (INSERT INTO run (account_no, {', '.join(names)})"
        f" SELECT %s::int4, u.* FROM {arrays.unnested(run, names)} AS u"
        " ON CONFLICT (account_no, run_key) DO NOTHING"
        " RETURNING run_key, grinder_no, started_ms, purpose, on_ms, grams_mg, grams_basis,"
        f" left_out){counted}"
        " SELECT count(*), CASE WHEN count(*) < %s THEN array_agg(run_key) END FROM added"
    )


@cache
def _sqlite_insert(names: tuple[str, ...]) -> str:
    return (
        f"INSERT INTO run (account_no, {', '.join(names)})"
        f" VALUES (?{', ?' * len(names)}) ON CONFLICT DO NOTHING"
    )


_HAS_ARCHIVED = "SELECT EXISTS (SELECT 1 FROM run_seen WHERE account_no = %s)"
_BEFORE_SQLITE = (
    "SELECT EXISTS (SELECT 1 FROM run_seen WHERE account_no = ?), (SELECT max(rowid) FROM run)"
)
