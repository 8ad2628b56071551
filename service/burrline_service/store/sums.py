"""Exact sums of runs by hour and by day, and the total over any interval.

A total over [low, high) = whole days + whole hours at both ends + the runs of two edge hours, in
one statement. Everything is an integer, so increments and recounts agree to the last milligram.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any, NamedTuple

from sqlalchemy import (
    Connection,
    Select,
    Table,
    and_,
    bindparam,
    case,
    func,
    literal_column,
    select,
    union_all,
)
from sqlalchemy.dialects.postgresql import insert as insert_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_sqlite

from ..core.records import GRAMS_BASES, PURPOSES
from .runs import RunRow
from .tables import DAY_MS, HOUR_MS, SUM_NAMES, grinder_day, grinder_hour, grinder_state, run

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

    def plus(self, other: Sums, sign: int = 1) -> Sums:
        return Sums(*(mine + sign * theirs for mine, theirs in zip(self, other, strict=True)))


def of_run(row: RunRow) -> Sums:
    """The share of one run."""
    on_ms, grams_mg = row.on_ms, row.grams_mg
    is_estimated = row.grams_basis == ESTIMATED
    is_paired = on_ms is not None and grams_mg is not None and row.grams_basis in WEIGHED
    return Sums(
        run_count=1,
        on_ms=on_ms or 0,
        grams_mg=0 if is_estimated else grams_mg or 0,
        estimated_mg=grams_mg or 0 if is_estimated else 0,
        untimed_mg=grams_mg or 0 if on_ms is None else 0,
        ungrammed_ms=on_ms or 0 if grams_mg is None else 0,
        paired_mg=(grams_mg or 0) if is_paired else 0,
        paired_ms=(on_ms or 0) if is_paired else 0,
    )


def lock(connection: Connection, account_no: int, grinder_nos: Iterable[int]) -> None:
    """Take the grinders' state rows, sorted, and count up their revision."""
    ordered = sorted(set(grinder_nos))
    if not ordered:
        return
    connection.execute(
        _LOCK[connection.dialect.name],
        [
            {"account_no": account_no, "grinder_no": grinder_no, "revision": 1}
            for grinder_no in ordered
        ],
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
    hours: dict[tuple[int, int, int], Sums] = defaultdict(Sums)
    days: dict[tuple[int, int, int], Sums] = defaultdict(Sums)
    for row in rows:
        share = of_run(row)
        hour = (row.grinder_no, row.started_ms // HOUR_MS, row.purpose)
        day = (row.grinder_no, row.started_ms // DAY_MS, row.purpose)
        hours[hour] = hours[hour].plus(share, sign)
        days[day] = days[day].plus(share, sign)
    for unit, sums in (("hour", hours), ("day", days)):
        if not sums:
            continue
        connection.execute(
            _ADD[connection.dialect.name, unit],
            [
                {
                    "account_no": account_no,
                    "grinder_no": grinder_no,
                    unit: number,
                    "purpose": purpose,
                    **total._asdict(),
                }
                for (grinder_no, number, purpose), total in sorted(sums.items())
            ],
        )


def between(
    connection: Connection, account_no: int, grinder_no: int, *, low_ms: int, high_ms: int
) -> dict[int, Sums]:
    """Sums by purpose over the runs started in [low, high)."""
    if high_ms <= low_ms:
        return {}
    low_hour, high_hour = -(-low_ms // HOUR_MS), high_ms // HOUR_MS
    if low_hour > high_hour:  # both ends inside one hour
        edges = (low_ms, high_ms, high_ms, high_ms)
        low_hour = high_hour
    else:
        edges = (low_ms, low_hour * HOUR_MS, high_hour * HOUR_MS, high_ms)
    low_day, high_day = -(-low_hour // 24), high_hour // 24
    if low_day >= high_day:  # no whole day in between
        hours = (low_hour, high_hour, high_hour, high_hour)
        low_day = high_day
    else:
        hours = (low_hour, low_day * 24, high_day * 24, high_hour)
    bounds = dict(zip(_BOUND_NAMES, (*edges, *hours, low_day, high_day), strict=True))
    total: dict[int, Sums] = defaultdict(Sums)
    rows = connection.execute(
        _BETWEEN, {"account_no": account_no, "grinder_no": grinder_no, **bounds}
    )
    for purpose, *sums in rows:
        total[purpose] = total[purpose].plus(Sums(*(int(value or 0) for value in sums)))
    return dict(total)


def _kept(table: Any, unit: str, low: str, high: str) -> Select[Any]:
    return (
        select(table.c.purpose, *(func.sum(table.c[name]) for name in SUM_NAMES))
        .where(
            table.c.account_no == bindparam("account_no"),
            table.c.grinder_no == bindparam("grinder_no"),
            table.c[unit] >= bindparam(low),
            table.c[unit] < bindparam(high),
        )
        .group_by(table.c.purpose)
    )


def _raw(low: str, high: str) -> Select[Any]:
    """The same sums straight from the runs: the definition that ``of_run`` must agree with."""
    on_ms, grams_mg = func.coalesce(run.c.on_ms, 0), func.coalesce(run.c.grams_mg, 0)
    is_estimated = run.c.grams_basis == literal_column(str(ESTIMATED))
    weighed: list[Any] = [literal_column(str(number)) for number in WEIGHED]
    is_paired = and_(
        run.c.on_ms.is_not(None), run.c.grams_mg.is_not(None), run.c.grams_basis.in_(weighed)
    )
    zero: Any = literal_column("0")
    return (
        select(
            run.c.purpose,
            func.count(),
            func.sum(on_ms),
            func.sum(case((is_estimated, zero), else_=grams_mg)),
            func.sum(case((is_estimated, grams_mg), else_=zero)),
            func.sum(case((run.c.on_ms.is_(None), grams_mg), else_=zero)),
            func.sum(case((run.c.grams_mg.is_(None), on_ms), else_=zero)),
            func.sum(case((is_paired, grams_mg), else_=zero)),
            func.sum(case((is_paired, on_ms), else_=zero)),
        )
        .where(
            run.c.account_no == bindparam("account_no"),
            run.c.grinder_no == bindparam("grinder_no"),
            run.c.started_ms >= bindparam(low),
            run.c.started_ms < bindparam(high),
            run.c.voided_ms.is_(None),
        )
        .group_by(run.c.purpose)
    )


_BOUND_NAMES = (
    "first_edge_low", "first_edge_high", "last_edge_low", "last_edge_high",
    "first_hours_low", "first_hours_high", "last_hours_low", "last_hours_high",
    "days_low", "days_high",
)  # fmt: skip
_BETWEEN = union_all(
    _raw("first_edge_low", "first_edge_high"),
    _raw("last_edge_low", "last_edge_high"),
    _kept(grinder_hour, "hour", "first_hours_low", "first_hours_high"),
    _kept(grinder_hour, "hour", "last_hours_low", "last_hours_high"),
    _kept(grinder_day, "day", "days_low", "days_high"),
)


_INSERT: dict[str, Any] = {"postgresql": insert_postgresql, "sqlite": insert_sqlite}


def _adding(insert: Any, table: Table, unit: str) -> Any:
    added = insert(table)
    return added.on_conflict_do_update(
        index_elements=["account_no", "grinder_no", unit, "purpose"],
        set_={name: table.c[name] + added.excluded[name] for name in SUM_NAMES},
    )


_LOCK = {
    name: insert(grinder_state).on_conflict_do_update(
        index_elements=["account_no", "grinder_no"],
        set_={"revision": grinder_state.c.revision + 1},
    )
    for name, insert in _INSERT.items()
}
_ADD = {
    (name, unit): _adding(insert, table, unit)
    for name, insert in _INSERT.items()
    for table, unit in ((grinder_hour, "hour"), (grinder_day, "day"))
}
