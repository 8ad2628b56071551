"""The cells of what runs tell about the flow: folded from the runs of an hour, kept, read.

An hour is folded as a whole, by ``core.stream_eligible.fold_runs`` alone. It is stale while its
``touched_revision`` lies beyond what the grinder's cells were folded at. Whoever reads folds what
is still stale for himself, so no answer depends on what was written when. Folding holds nobody up:
it is done on a snapshot and written only if nobody wrote cells since; hours that runs touched
meanwhile are stale again by their revision.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby
from operator import attrgetter
from typing import NamedTuple

from sqlalchemy import Connection, delete, func, select, update
from sqlalchemy.dialects.postgresql import insert as insert_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_sqlite

from ..core.stream_cells import StreamCell, merge_cells
from ..core.stream_eligible import fold_runs
from . import arrays, driver, stream_runs
from .row_columns import RunRow
from .stream_tables import stream_cell, stream_fold
from .tables import HOUR_MS, grinder_hour, grinder_state

LAST_HOUR = 2**31 - 1
_SUMS = ("run_count", "sum_micro", "sum_squares_micro", "grams_mg")
_CELL = (
    "hour", "left_out", "setting_milli", "dose_class", "rpm", "source_no", "coffee_lot", "feed",
    "purpose", *_SUMS,
)  # fmt: skip


class Fold(NamedTuple):
    """Up to which (revision, hour) the cells hold, and how often they were written."""

    revision: int = -1
    hour: int = LAST_HOUR
    write_count: int = 0


class Folded(NamedTuple):
    """The cells of hours that were stale, and where the fold stands once they are written."""

    grinder_no: int
    before: Fold
    revision: int
    hour: int
    hours: tuple[int, ...]
    cells: tuple[StreamCell, ...]
    is_last: bool


def behind(connection: Connection, account_no: int, *, limit: int) -> list[int]:
    """Grinders whose revision lies beyond what their cells were folded at: the farthest first."""
    joined = select(grinder_state.c.grinder_no).join_from(
        grinder_state,
        stream_fold,
        (stream_fold.c.account_no == grinder_state.c.account_no)
        & (stream_fold.c.grinder_no == grinder_state.c.grinder_no),
        isouter=True,
    )
    is_behind = (
        stream_fold.c.folded_revision.is_(None)
        | (stream_fold.c.folded_revision < grinder_state.c.revision)
        | (stream_fold.c.folded_hour < LAST_HOUR)
    )
    folded = func.coalesce(stream_fold.c.folded_revision, 0)
    wanted = (
        joined.where(grinder_state.c.account_no == account_no, is_behind)
        .order_by((folded - grinder_state.c.revision), grinder_state.c.grinder_no)
        .limit(limit)
    )
    return list(connection.execute(wanted).scalars())


def fold(
    connection: Connection, account_no: int, grinder_no: int, *, limit: int | None = None
) -> Folded | None:
    """Fold stale hours on a snapshot, at most about ``limit``; None when nothing changed."""
    before = _standing(connection, account_no, grinder_no)
    revision = connection.execute(
        select(grinder_state.c.revision).where(
            grinder_state.c.account_no == account_no, grinder_state.c.grinder_no == grinder_no
        )
    ).scalar_one_or_none()
    if revision is None or (before.revision, before.hour) >= (revision, LAST_HOUR):
        return None
    touched, hour = grinder_hour.c.touched_revision, grinder_hour.c.hour
    is_beyond = touched > before.revision
    if before.hour < LAST_HOUR:
        is_beyond |= (touched == before.revision) & (hour > before.hour)
    stale = connection.execute(
        select(touched, hour)
        .where(
            grinder_hour.c.account_no == account_no,
            grinder_hour.c.grinder_no == grinder_no,
            is_beyond,
        )
        .order_by(touched, hour)
        .limit(limit)
    ).all()
    is_last = limit is None or len(stale) < limit
    reached = (revision, LAST_HOUR) if is_last else tuple(stale[-1])
    hours = tuple(sorted({row[1] for row in stale}))
    return Folded(
        grinder_no=grinder_no,
        before=before,
        revision=reached[0],
        hour=reached[1],
        hours=hours,
        cells=fold_runs(stream_runs.of_hours(connection, account_no, grinder_no, hours)),
        is_last=is_last,
    )


def put(connection: Connection, account_no: int, folded: Folded) -> bool:
    """Write what was folded, unless somebody wrote cells of the grinder since it was."""
    stands = Fold(folded.revision, folded.hour, folded.before.write_count + 1)
    if not _advance(connection, account_no, folded.grinder_no, folded.before, stands):
        return False
    _replace(
        connection, account_no, folded.grinder_no, folded.hours, folded.cells, is_archived=False
    )
    return True


def cell_rows(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    folded: Folded | None,
    *,
    from_hour: int,
    to_hour: int,
) -> driver.Rows:
    """What cells of hours in [from, to) are made of, on a snapshot; ``folded`` is what was stale.

    Plain rows, for there are tens of thousands.
    """
    mark = "%s" if driver.is_postgresql(connection) else "?"
    stale = frozenset(() if folded is None else folded.hours)
    rows = driver.rows_of(
        connection,
        f"SELECT {', '.join(_CELL)}{', is_archived' if stale else ''} FROM stream_cell"
        f" WHERE account_no = {mark} AND grinder_no = {mark} AND hour >= {mark} AND hour < {mark}",
        (account_no, grinder_no, from_hour, to_hour),
    )
    if folded is None or not stale:
        return rows
    found = [row[:-1] for row in rows if row[-1] or row[0] not in stale]
    return found + [_members(cell) for cell in folded.cells if from_hour <= cell.hour < to_hour]


def archive(
    connection: Connection, account_no: int, grinder_no: int, moved: Sequence[RunRow]
) -> None:
    """Keep what runs that go into the archive tell; with the grinder's state row locked."""
    if not moved:
        return
    gone = fold_runs(stream_runs.of_row(row) for row in moved if row.left_out == 0)
    hours = sorted({row.started_ms // HOUR_MS for row in moved})
    before = _standing(connection, account_no, grinder_no)
    while not _advance(
        connection,
        account_no,
        grinder_no,
        before,
        before._replace(write_count=before.write_count + 1),
    ):
        before = _standing(connection, account_no, grinder_no)
    kept = archived(connection, account_no, grinder_no, from_hour=hours[0], to_hour=hours[-1] + 1)
    wanted = frozenset(hours)
    merged = merge_cells([*(cell for cell in kept if cell.hour in wanted), *gone])
    _replace(connection, account_no, grinder_no, hours, merged, is_archived=True)
    left = fold_runs(stream_runs.of_hours(connection, account_no, grinder_no, hours))
    _replace(connection, account_no, grinder_no, hours, left, is_archived=False)


def archived(
    connection: Connection, account_no: int, grinder_no: int, *, from_hour: int, to_hour: int
) -> list[StreamCell]:
    """The cells of archived runs of hours in [from, to)."""
    rows = connection.execute(
        select(*(stream_cell.c[name] for name in _CELL))
        .where(
            stream_cell.c.account_no == account_no,
            stream_cell.c.grinder_no == grinder_no,
            stream_cell.c.is_archived,
            stream_cell.c.hour >= from_hour,
            stream_cell.c.hour < to_hour,
        )
        .order_by(stream_cell.c.hour, stream_cell.c.place)
    )
    return [StreamCell(*row) for row in rows]


def put_archived(
    connection: Connection, account_no: int, grinder_no: int, found: Iterable[StreamCell]
) -> None:
    """Take over cells of archived runs where there are none yet."""
    _insert(connection, account_no, grinder_no, found, is_archived=True)


def _standing(connection: Connection, account_no: int, grinder_no: int) -> Fold:
    row = connection.execute(
        select(
            stream_fold.c.folded_revision, stream_fold.c.folded_hour, stream_fold.c.write_count
        ).where(stream_fold.c.account_no == account_no, stream_fold.c.grinder_no == grinder_no)
    ).first()
    return Fold() if row is None else Fold(*row)


def _advance(
    connection: Connection, account_no: int, grinder_no: int, before: Fold, after: Fold
) -> bool:
    """Say where the fold stands now, if it stood there; its row is ours until the end."""
    values = {
        "folded_revision": after.revision,
        "folded_hour": after.hour,
        "write_count": after.write_count,
    }
    if before.write_count == 0:
        insert_new = insert_postgresql if driver.is_postgresql(connection) else insert_sqlite
        made = connection.execute(
            insert_new(stream_fold)
            .values(account_no=account_no, grinder_no=grinder_no, **values)
            .on_conflict_do_nothing()
            .returning(stream_fold.c.grinder_no)
        )
        return made.first() is not None
    changed = connection.execute(
        update(stream_fold)
        .where(
            stream_fold.c.account_no == account_no,
            stream_fold.c.grinder_no == grinder_no,
            stream_fold.c.write_count == before.write_count,
        )
        .values(**values)
    )
    return changed.rowcount == 1


def _replace(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    hours: Sequence[int],
    found: Iterable[StreamCell],
    *,
    is_archived: bool,
) -> None:
    of_hours = delete(stream_cell).where(
        stream_cell.c.account_no == account_no,
        stream_cell.c.grinder_no == grinder_no,
        stream_cell.c.is_archived == is_archived,
    )
    for low, high in stream_runs.ranges(hours):
        connection.execute(of_hours.where(stream_cell.c.hour.between(low, high)))
    _insert(connection, account_no, grinder_no, found, is_archived=is_archived)


def _insert(
    connection: Connection,
    account_no: int,
    grinder_no: int,
    found: Iterable[StreamCell],
    *,
    is_archived: bool,
) -> None:
    rows = [
        (place, *_members(cell))
        for _, of_hour in groupby(found, key=lambda cell: cell.hour)
        for place, cell in enumerate(of_hour)
    ]
    if rows and driver.is_postgresql(connection):
        columns = arrays.written(stream_cell, _PLACED, zip(*rows, strict=True))
        driver.rows_of(connection, _INSERT, (account_no, grinder_no, is_archived, *columns))
    elif rows:
        key = (account_no, grinder_no, is_archived)
        driver.count_of_each(connection, _INSERT_SQLITE, [(*key, *row) for row in rows])


_PLACED = ("place", *_CELL)
_members = attrgetter(*(name if name != "run_count" else "count" for name in _CELL))
_INTO = f"INSERT INTO stream_cell (account_no, grinder_no, is_archived, {', '.join(_PLACED)})"
_INSERT = (
    f"{_INTO} SELECT %s::int4, %s::int4, %s::bool, u.* FROM {arrays.unnested(stream_cell, _PLACED)}"
    " AS u"
)
_INSERT_SQLITE = f"{_INTO} VALUES (?, ?, ?{', ?' * len(_PLACED)})"
