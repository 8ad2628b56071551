"""Finding the grinders of some runs and holding them, in one go."""

from __future__ import annotations

import json
from collections.abc import Collection

from sqlalchemy import Connection

from . import arrays, driver, early, sums
from .sums import Held


def by_ids(
    connection: Connection,
    account_no: int,
    grinder_ids: Collection[str],
    *,
    earliest_ms: int | None,
    now_ms: int,
) -> dict[str, Held]:
    """The account's grinders of these ids, held as by ``sums.lock``."""
    if driver.is_postgresql(connection):
        named = arrays.texts(grinder_ids)
        statement = _HELD[early.is_early(earliest_ms, now_ms)]
        rows = driver.rows_of(connection, statement, (named, account_no, account_no))
        held = {row[1]: Held(*row[1:]) for row in rows if row[0] is None}
        found = [(row[0], row[1]) for row in rows if row[0] is not None]
    else:
        names = json.dumps(sorted(grinder_ids))
        found = [
            (row[0], row[1]) for row in driver.rows_of(connection, _FOUND, (account_no, names))
        ]
        numbers = (number for _, number in found)
        held = sums.lock(connection, account_no, numbers, earliest_ms=earliest_ms, now_ms=now_ms)
    return {grinder_id: held[number] for grinder_id, number in found}


_NUMBERED = "SELECT %s::int4, grinder_no, 1, {} FROM found ORDER BY grinder_no"
# Not joined in the end: nobody could tell the planner how many there are.
_HELD = {
    is_early: "WITH found AS (SELECT grinder_id, grinder_no FROM grinder"
    " JOIN unnest(%s::text[]) AS u (grinder_id) USING (grinder_id) WHERE account_no = %s),"
    f" held AS ({early.counting_up(_NUMBERED, is_early=is_early)})"
    " SELECT NULL, * FROM held"
    " UNION ALL SELECT grinder_id, grinder_no, NULL, NULL, NULL FROM found"
    for is_early in (False, True)
}
_FOUND = (
    "SELECT grinder_id, grinder_no FROM grinder"
    " WHERE account_no = ? AND grinder_id IN (SELECT value FROM json_each(?))"
)
