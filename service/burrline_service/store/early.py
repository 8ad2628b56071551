"""Which changes reach into the past that a kept fit knows, and how a state row says so.

A fit as of an instant knows only what lies before the ten minutes around it. What changes within
the ten minutes in which it is received leaves every fit that was kept by then as it is.
"""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, update

from . import arrays
from .tables import grinder_state

FIT_STEP_MS = 600_000


def fit_border_ms(at_ms: int) -> int:
    """Before it lies what a fit as of an instant may know.

    >>> fit_border_ms(1_234_567)
    1200000
    """
    return at_ms - at_ms % FIT_STEP_MS


def is_early(earliest_ms: int | None, now_ms: int | None) -> bool:
    """Whether a change that begins at ``earliest_ms`` (None: not known) may outdate a kept fit."""
    return earliest_ms is None or now_ms is None or earliest_ms < fit_border_ms(now_ms)


def locking(dialect: str, ordered: list[int], *, is_early: bool) -> tuple[str, str]:
    """The statement that takes state rows and counts up their revision, and its last parameter."""
    if dialect == "postgresql":
        return _LOCK[is_early], arrays.integers(ordered)
    return _LOCK_SQLITE[is_early], str(ordered)


def mark(connection: Connection, account_no: int, grinder_nos: Iterable[int]) -> None:
    """Say of locked state rows that this change may outdate kept fits."""
    connection.execute(
        update(grinder_state)
        .where(
            grinder_state.c.account_no == account_no,
            grinder_state.c.grinder_no.in_(sorted(set(grinder_nos))),
        )
        .values(early_revision=grinder_state.c.revision)
    )


def counting_up(numbered: str, *, is_early: bool) -> str:
    """The statement that takes the state rows of some grinders and counts up their revision.

    ``numbered`` selects account, grinder and revision 1 of each.
    """
    early = ", early_revision = grinder_state.revision + 1" if is_early else ""
    return (
        "INSERT INTO grinder_state (account_no, grinder_no, revision, early_revision)"
        f" {numbered.format(int(is_early))} ON CONFLICT (account_no, grinder_no)"
        f" DO UPDATE SET revision = grinder_state.revision + 1{early}"
        " RETURNING grinder_no, first_source_no, is_shared, is_corrected"
    )


_LOCK, _LOCK_SQLITE = (
    {is_early: counting_up(numbered, is_early=is_early) for is_early in (False, True)}
    for numbered in (
        "SELECT %s::int4, n, 1, {} FROM unnest(%s::int4[]) AS n",
        "SELECT ?, value, 1, {} FROM json_each(?) WHERE true",
    )
)
