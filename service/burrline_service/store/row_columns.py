"""Run rows, one by one and as columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple


class RunRow(NamedTuple):
    """A run in stored units: milliseconds, milligrams, tenths of a degree."""

    run_key: bytes
    run_id: str | None
    grinder_no: int
    started_ms: int
    on_ms: int | None
    grams_mg: int | None
    grams_basis: int
    feed: int | None
    purpose: int
    setting_milli: int | None
    rpm: int | None
    energy_joules: int | None
    motor_decicelsius: int | None
    ambient_decicelsius: int | None
    time_source: int
    source_no: int | None
    fingerprint: bytes
    received_ms: int
    voided_ms: int | None = None
    raw_started_ms: int | None = None
    raw_grams_mg: int | None = None
    left_out: int = 0
    part: int | None = None
    more: dict[str, Any] | None = None


NAMES = RunRow._fields[:-1]
LEFT_OUT: Mapping[str, Any] = {"left_out": 0}
"""What a column holds that is not there: NULL but for these."""


class RowColumns:
    """Rows of runs, column by column; ``more`` by the place of those that have it."""

    __slots__ = ("_columns", "count", "more")

    def __init__(
        self,
        count: int,
        columns: Mapping[str, Sequence[Any]],
        more: Mapping[int, dict[str, Any]],
    ) -> None:
        self.count = count
        self.more = more
        self._columns = columns

    @classmethod
    def of(cls, rows: Sequence[RunRow]) -> RowColumns:
        columns = {}
        for name, column in zip(NAMES, zip(*rows, strict=True), strict=False):
            left_out = LEFT_OUT.get(name)
            if column.count(left_out) < len(column):
                columns[name] = column
        more = {place: row.more for place, row in enumerate(rows) if row.more}
        return cls(len(rows), columns, more)

    @property
    def names(self) -> tuple[str, ...]:
        """The columns that are there, in the table's order."""
        return tuple(name for name in NAMES if name in self._columns)

    def column(self, name: str) -> Sequence[Any]:
        found = self._columns.get(name)
        return [LEFT_OUT.get(name)] * self.count if found is None else found

    def taken(self, places: Sequence[int]) -> RowColumns:
        """The rows at these places."""
        columns = {
            name: [column[place] for place in places] for name, column in self._columns.items()
        }
        more = (
            {index: self.more[place] for index, place in enumerate(places) if place in self.more}
            if self.more
            else {}
        )
        return RowColumns(len(places), columns, more)

    def row(self, place: int) -> RunRow:
        found = {name: column[place] for name, column in self._columns.items()}
        return RunRow(**{**_NOTHING, **found}, more=self.more.get(place))

    def rows(self) -> list[RunRow]:
        return [
            RunRow._make((*values, self.more.get(place)))
            for place, values in enumerate(zip(*map(self.column, NAMES), strict=True))
        ]


_NOTHING: Mapping[str, Any] = {name: LEFT_OUT.get(name) for name in NAMES}
