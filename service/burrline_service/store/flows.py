"""Runs as what they tell of a grinder's flow, and of the clock of whoever sent them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import NamedTuple

from sqlalchemy import Connection

from ..core.episode_flow import DOSE_BOUNDS_MG, Cell, FlowDay
from ..core.records import GRAMS_BASES, PURPOSES, TIME_SOURCES
from .many import Many, for_each
from .stretches import LONGEST_RUN_MS
from .tables import DAY_MS, HOUR_MS, UNSTATED

SHORTEST_MS = 1000
"""A shorter run tells little of the flow (our choice, no source)."""


class Recent(NamedTuple):
    """A run of late: when, and its flow and cell where it tells of the flow."""

    started_ms: int
    ended_ms: int
    milligrams_per_second: int | None
    cell: Cell
    source_no: int
    received_ms: int
    is_by_device: bool


def recent(
    connection: Connection, account_no: int, since_ms: Mapping[int, int], *, until_ms: int
) -> dict[int, list[Recent]]:
    """The runs of each grinder that began from an instant of its own on, up to one."""
    found: dict[int, list[Recent]] = defaultdict(list)
    for number, started, on_ms, flow, setting, dose, source, received, kind in _RECENT.rows(
        connection, list(since_ms.items()), account_no=account_no, until_ms=until_ms
    ):
        found[number].append(
            Recent(
                started,
                started + (on_ms or 0),
                flow,
                (setting, dose),
                source or 0,
                received,
                kind == _DEVICE,
            )
        )
    return found


def days(
    connection: Connection, account_no: int, since_ms: Mapping[int, int], *, until_ms: int
) -> dict[int, list[FlowDay]]:
    """The flow of each day and cell of each grinder, from an instant of its own on."""
    found: dict[int, list[FlowDay]] = defaultdict(list)
    for number, day, setting, dose, count, flow_sum, square_sum in _DAYS.rows(
        connection, list(since_ms.items()), account_no=account_no, until_ms=until_ms
    ):
        found[number].append(FlowDay(day, (setting, dose), count, int(flow_sum), int(square_sum)))
    return found


def last_touched(
    connection: Connection, account_no: int, since_ms: Mapping[int, int], *, before_ms: int
) -> dict[int, int]:
    """The latest revision that touched an hour of each grinder, from the hour of an instant on."""
    rows = _LAST_TOUCHED.rows(
        connection, list(since_ms.items()), account_no=account_no, before_ms=before_ms
    )
    return {number: revision for number, revision in rows if revision is not None}


def last_starts(
    connection: Connection, account_no: int, before_ms: Mapping[int, int]
) -> dict[int, int]:
    """When the last run before an instant of each grinder's own began, where there is one."""
    rows = _LAST.rows(connection, list(before_ms.items()), account_no=account_no)
    return {number: at_ms for number, at_ms in rows if at_ms is not None}


def first_starts(
    connection: Connection, account_no: int, from_ms: Mapping[int, int]
) -> dict[int, int]:
    """When the first run from an instant of each grinder's own on began, where there is one."""
    rows = _FIRST.rows(connection, list(from_ms.items()), account_no=account_no)
    return {number: at_ms for number, at_ms in rows if at_ms is not None}


def next_facts(
    connection: Connection, account_no: int, after_ms: Mapping[int, int]
) -> dict[int, int]:
    """The next instant after one of each grinder's own at which a run begins or ends, or a reading.

    Devices whose clocks run a little ahead tell of what is to come.
    """
    rows = _NEXT.rows(connection, list(after_ms.items()), account_no=account_no)
    return {number: at_ms for number, at_ms in rows if at_ms is not None}


def lags_ms(
    connection: Connection, account_no: int, since_ms: Mapping[int, int], *, until_ms: int
) -> list[int]:
    """How long after their own end runs were received that touch the time from an instant on."""
    rows = _LAGS.rows(connection, list(since_ms.items()), account_no=account_no, until_ms=until_ms)
    return [lag_ms for (lag_ms,) in rows]


_DEVICE, _RECEIVED = TIME_SOURCES.index("device"), TIME_SOURCES.index("received")
_WEIGHED = tuple(GRAMS_BASES.index(basis) for basis in ("weighed_out", "weighed_in"))
_PURPOSES = (PURPOSES.index("service"), UNSTATED)
_FLOW = "(CAST(run.grams_mg AS bigint) * 1000 / run.on_ms)"
_TELLS_FLOW = (
    f"run.on_ms >= {SHORTEST_MS} AND run.grams_mg > 0 AND run.grams_basis IN {_WEIGHED}"
    f" AND run.purpose IN {_PURPOSES} AND run.part IS NULL AND run.time_source <> {_RECEIVED}"
)
_DOSE = (
    "CASE"
    + "".join(f" WHEN run.grams_mg < {b} THEN {n}" for n, b in enumerate(DOSE_BOUNDS_MG))
    + f" ELSE {len(DOSE_BOUNDS_MG)} END"
)
_BETWEEN = (
    "run.account_no = :account_no AND run.grinder_no = asked.grinder_no AND run.left_out = 0"
    " AND run.started_ms >= asked.since_ms AND run.started_ms <= :until_ms"
)
_RECENT = Many(
    for_each(
        "run",
        f"run.grinder_no, run.started_ms, run.on_ms, CASE WHEN {_TELLS_FLOW} THEN {_FLOW} END,"
        f" run.setting_milli, {_DOSE}, run.source_no, run.received_ms, run.time_source",
        _BETWEEN,
    ),
    asked=("grinder_no", "since_ms"),
)
_DAY = f"((run.started_ms + run.on_ms) / {DAY_MS})"
_DAYS = Many(
    {
        "postgresql": "SELECT asked.grinder_no, found.* FROM {asked} CROSS JOIN LATERAL"
        f" (SELECT {_DAY} AS day, run.setting_milli, {_DOSE} AS dose, count(*), sum({_FLOW}),"
        f" sum({_FLOW} * {_FLOW}) FROM run WHERE {_BETWEEN} AND {_TELLS_FLOW}"
        " GROUP BY 1, 2, 3 OFFSET 0) AS found",
        "sqlite": f"SELECT run.grinder_no, {_DAY}, run.setting_milli, {_DOSE}, count(*),"
        f" sum({_FLOW}), sum({_FLOW} * {_FLOW}) FROM {{asked}} CROSS JOIN run"
        f" WHERE {_BETWEEN} AND {_TELLS_FLOW} GROUP BY 1, 2, 3, 4",
    },
    asked=("grinder_no", "since_ms"),
)
_LAST_TOUCHED = Many(
    "SELECT asked.grinder_no, (SELECT max(h.touched_revision) FROM grinder_hour AS h"
    " WHERE h.account_no = :account_no AND h.grinder_no = asked.grinder_no"
    f" AND h.hour >= asked.since_ms / {HOUR_MS}"
    f" AND h.hour < CAST(:before_ms AS bigint) / {HOUR_MS})"
    " FROM {asked}",
    asked=("grinder_no", "since_ms"),
)
_LAST = Many(
    "SELECT asked.grinder_no, (SELECT run.started_ms FROM run"
    " WHERE run.account_no = :account_no AND run.grinder_no = asked.grinder_no"
    " AND run.left_out = 0 AND run.started_ms < asked.before_ms"
    " ORDER BY run.started_ms DESC LIMIT 1) FROM {asked}",
    asked=("grinder_no", "before_ms"),
)
_FIRST = Many(
    "SELECT asked.grinder_no, (SELECT run.started_ms FROM run"
    " WHERE run.account_no = :account_no AND run.grinder_no = asked.grinder_no"
    " AND run.left_out = 0 AND run.started_ms >= asked.from_ms"
    " ORDER BY run.started_ms LIMIT 1) FROM {asked}",
    asked=("grinder_no", "from_ms"),
)
_LAGS = Many(
    for_each(
        "run",
        "run.received_ms - run.started_ms - coalesce(run.on_ms, 0) AS lag_ms",
        "run.account_no = :account_no AND run.grinder_no = asked.grinder_no AND run.left_out = 0"
        f" AND run.started_ms >= asked.since_ms - {LONGEST_RUN_MS} AND run.started_ms <= :until_ms"
        " AND run.started_ms + coalesce(run.on_ms, 0) >= asked.since_ms",
    ),
    asked=("grinder_no", "since_ms"),
)
_NEXT = Many(
    "SELECT asked.grinder_no, (SELECT min(at_ms) FROM ("
    "SELECT min(CASE WHEN run.started_ms > asked.after_ms THEN run.started_ms"
    " ELSE run.started_ms + run.on_ms END) AS at_ms FROM run"
    " WHERE run.account_no = :account_no AND run.grinder_no = asked.grinder_no"
    f" AND run.left_out = 0 AND run.started_ms >= asked.after_ms - {LONGEST_RUN_MS}"
    " AND run.started_ms + coalesce(run.on_ms, 0) > asked.after_ms"
    " UNION ALL SELECT min(reading.at_ms) FROM reading"
    " WHERE reading.account_no = :account_no AND reading.grinder_no = asked.grinder_no"
    " AND reading.at_ms > asked.after_ms) AS facts) AS at_ms FROM {asked}",
    asked=("grinder_no", "after_ms"),
)
