"""Totals of runs over any interval: whole days, whole hours beside, runs of the edge hours."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from sqlalchemy import Connection

from . import driver
from .many import Many, for_each
from .sums import Sums, share_of
from .tables import DAY_MS, HOUR_MS, SUM_NAMES

HOURS_OF_DAY = DAY_MS // HOUR_MS


class Span(NamedTuple):
    """The runs of a grinder started in [low, high)."""

    grinder_no: int
    low_ms: int
    high_ms: int


def over(connection: Connection, account_no: int, spans: Sequence[Span]) -> list[dict[int, Sums]]:
    """Sums by purpose over each of the spans, in their order."""
    edges: list[tuple[int, int, int, int]] = []
    hours: list[tuple[int, int, int, int]] = []
    days: list[tuple[int, int, int, int]] = []
    for number, (grinder_no, low_ms, high_ms) in enumerate(spans):
        edge_spans, whole_hours = _inner(low_ms, high_ms, HOUR_MS)
        hour_spans, whole_days = _inner(*whole_hours, HOURS_OF_DAY)
        edges += ((number, grinder_no, *edge) for edge in edge_spans)
        hours += ((number, grinder_no, *hour) for hour in hour_spans)
        days += ((number, grinder_no, *day) for day in _not_empty([whole_days]))
    totals: list[dict[int, Sums]] = [{} for _ in spans]
    if hours or days:
        for number, purpose, *kept in _KEPT.rows(connection, hours, days, account_no=account_no):
            _add(totals[number], purpose, Sums(*kept))
    if edges:
        for number, purpose, *of_run in _EDGES.rows(connection, edges, account_no=account_no):
            _add(totals[number], purpose, share_of(*of_run))
    return totals


def between(
    connection: Connection, account_no: int, grinder_no: int, *, low_ms: int, high_ms: int
) -> dict[int, Sums]:
    """Sums by purpose over the runs of one grinder started in [low, high)."""
    return over(connection, account_no, [Span(grinder_no, low_ms, high_ms)])[0]


def weighed_by_hour(
    connection: Connection, account_no: int, grinder_no: int, *, from_hour: int, to_hour: int
) -> driver.Rows:
    """(hour, purpose, mg) of all hours in [from, to) that a run was ever counted into."""
    mark = "%s" if driver.is_postgresql(connection) else "?"
    return driver.rows_of(
        connection,
        f"SELECT hour, purpose, grams_mg FROM grinder_hour WHERE account_no = {mark}"
        f" AND grinder_no = {mark} AND hour >= {mark} AND hour < {mark} ORDER BY hour, purpose",
        (account_no, grinder_no, from_hour, to_hour),
    )


def _inner(low: int, high: int, length: int) -> tuple[list[tuple[int, int]], tuple[int, int]]:
    """What of [low, high) lies outside of whole units of a length, and the units [from, to).

    >>> _inner(5, 47, 10)
    ([(5, 10), (40, 47)], (1, 4))
    >>> _inner(11, 18, 10)
    ([(11, 18)], (0, 0))
    """
    first, last = -(-low // length), high // length
    if first >= last:
        return _not_empty([(low, high)]), (0, 0)
    return _not_empty([(low, first * length), (last * length, high)]), (first, last)


def _not_empty(spans: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    return [(low, high) for low, high in spans if low < high]


def _add(total: dict[int, Sums], purpose: int, share: Sums) -> None:
    total[purpose] = total[purpose].plus(share) if purpose in total else share


def _kept(table: str, unit: str, asked: str) -> dict[str, str]:
    sums = ", ".join(f"CAST(sum(kept.{name}) AS bigint)" for name in SUM_NAMES)
    return for_each(
        f"{table} AS kept",
        f"{asked}.number, kept.purpose, {sums}",
        f"kept.account_no = :account_no AND kept.grinder_no = {asked}.grinder_no"
        f" AND kept.{unit} >= {asked}.low AND kept.{unit} < {asked}.high",
        asked=asked,
        group_by="kept.purpose",
    )


_COLUMNS = ("number", "grinder_no", "low", "high")
_HOURS, _DAYS = _kept("grinder_hour", "hour", "hours"), _kept("grinder_day", "day", "days")
_KEPT = Many(
    {dialect: f"{_HOURS[dialect]} UNION ALL {_DAYS[dialect]}" for dialect in _HOURS},
    hours=_COLUMNS,
    days=_COLUMNS,
)
_EDGES = Many(
    for_each(
        "run",
        "edges.number, run.purpose, run.on_ms, run.grams_mg, run.grams_basis, run.part",
        "run.account_no = :account_no AND run.grinder_no = edges.grinder_no"
        " AND run.started_ms >= edges.low AND run.started_ms < edges.high AND run.left_out = 0",
        asked="edges",
    ),
    edges=_COLUMNS,
)
