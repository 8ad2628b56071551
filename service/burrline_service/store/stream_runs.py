"""Runs as far as the flow is concerned, read by whole hours."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sqlalchemy import Connection

from ..core.stream_eligible import StreamRun
from .many import Many, for_each
from .row_columns import RunRow
from .tables import HOUR_MS

RANGE_COUNT = 500
"""So many stretches of hours are asked for in one statement."""


def ranges(hours: Sequence[int]) -> list[tuple[int, int]]:
    """Stretches of neighbouring hours, first and last, of hours in order.

    >>> ranges([3, 4, 5, 9, 11, 12])
    [(3, 5), (9, 9), (11, 12)]
    """
    found: list[tuple[int, int]] = []
    for hour in hours:
        if found and found[-1][1] == hour - 1:
            found[-1] = (found[-1][0], hour)
        else:
            found.append((hour, hour))
    return found


def of_hours(
    connection: Connection, account_no: int, grinder_no: int, hours: Sequence[int]
) -> Iterator[StreamRun]:
    """The runs of the hours that count.

    What is left out leaves no trace: an hour in which nothing else ran may or may not be known.
    """
    asked = [
        (number, grinder_no, low * HOUR_MS, (high + 1) * HOUR_MS)
        for number, (low, high) in enumerate(ranges(hours))
    ]
    for first in range(0, len(asked), RANGE_COUNT):
        for row in _RUNS.rows(
            connection, asked[first : first + RANGE_COUNT], account_no=account_no
        ):
            yield StreamRun._make(row)


def of_row(row: RunRow) -> StreamRun:
    """The same of a run that was read as a whole row."""
    lot = (row.more or {}).get("coffee_lot")
    own = (lot if name == "coffee_lot" else getattr(row, name) for name in _RUN)
    return StreamRun._make(own)


_RUN = StreamRun._fields
_LOT = {
    "postgresql": "(SELECT m.more ->> 'coffee_lot' FROM run_more AS m"
    " WHERE m.account_no = run.account_no AND m.run_key = run.run_key)",
    "sqlite": "(SELECT json_extract(m.more, '$.coffee_lot') FROM run_more AS m"
    " WHERE m.account_no = run.account_no AND m.run_key = run.run_key)",
}
_RUNS = Many(
    {
        dialect: for_each(
            "run",
            ", ".join(lot if name == "coffee_lot" else f"run.{name}" for name in _RUN),
            "run.account_no = :account_no AND run.grinder_no = asked.grinder_no"
            " AND run.started_ms >= asked.low AND run.started_ms < asked.high"
            " AND run.left_out = 0",
        )[dialect]
        for dialect, lot in _LOT.items()
    },
    asked=("number", "grinder_no", "low", "high"),
)
