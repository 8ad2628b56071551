"""Many runs member by member, so that what is alike in them is looked at once."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from operator import attrgetter
from typing import Any, overload

from .errors import Refusal
from .records import Run, RunOutcome

MEMBERS: Mapping[str, Any] = {member.name: member.default for member in dataclasses.fields(Run)}
"""What a run has, with what stands where it was left out."""
_ALL_OF = attrgetter(*MEMBERS)


class RunColumns(Sequence[Run]):
    """Runs as one column per member; a column that is not there holds what is left out.

    A sequence of runs like any other, whose runs are only made where somebody looks at one.
    """

    __slots__ = ("_columns", "_count")

    def __init__(self, count: int, columns: Mapping[str, Sequence[Any]]) -> None:
        self._count = count
        self._columns = columns

    @classmethod
    def of(cls, runs: Sequence[Run]) -> RunColumns:
        if isinstance(runs, RunColumns):
            return runs
        columns = zip(*map(_ALL_OF, runs), strict=True)
        return cls(len(runs), dict(zip(MEMBERS, columns, strict=False)))

    @classmethod
    def joined(cls, count: int, groups: Iterable[tuple[Sequence[int], RunColumns]]) -> RunColumns:
        """Groups put together again, each with the places of its runs among all."""
        columns: dict[str, list[Any]] = {}
        for places, group in groups:
            for name, values in group._columns.items():
                column = columns.setdefault(name, [MEMBERS[name]] * count)
                for place, value in zip(places, values, strict=True):
                    column[place] = value
        return cls(count, columns)

    def column(self, name: str) -> Sequence[Any]:
        """One member of all the runs."""
        found = self._columns.get(name)
        return [MEMBERS[name]] * self._count if found is None else found

    def is_left_out(self, name: str) -> bool:
        """Whether no run has this member."""
        return name not in self._columns

    def taken(self, places: Sequence[int]) -> RunColumns:
        """The runs at these places."""
        columns = {
            name: [column[place] for place in places] for name, column in self._columns.items()
        }
        return RunColumns(len(places), columns)

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, index: int) -> Run: ...
    @overload
    def __getitem__(self, index: slice) -> RunColumns: ...
    def __getitem__(self, index: int | slice) -> Run | RunColumns:
        if isinstance(index, slice):
            return self.taken(range(self._count)[index])
        if not -self._count <= index < self._count:
            raise IndexError(index)
        run = object.__new__(Run)  # as its own constructor makes it, in a quarter of the time
        run.__dict__.update(MEMBERS)
        run.__dict__.update((name, column[index]) for name, column in self._columns.items())
        return run


class RunOutcomes(Sequence[RunOutcome | Refusal]):
    """What became of many runs: recorded without a remark, all but the ``others`` (by place)."""

    __slots__ = ("_run_ids", "others")

    def __init__(self, run_ids: Sequence[str], others: Mapping[int, RunOutcome | Refusal]) -> None:
        self._run_ids = run_ids
        self.others = others

    def __len__(self) -> int:
        return len(self._run_ids)

    @overload
    def __getitem__(self, index: int) -> RunOutcome | Refusal: ...
    @overload
    def __getitem__(self, index: slice) -> list[RunOutcome | Refusal]: ...
    def __getitem__(self, index: int | slice) -> Any:
        if isinstance(index, slice):
            return [self[place] for place in range(*index.indices(len(self)))]
        run_id = self._run_ids[index]
        other = self.others.get(index % len(self))
        return RunOutcome(run_id, "accepted") if other is None else other
