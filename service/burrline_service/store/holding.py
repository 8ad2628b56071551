"""Finding the grinders of some runs and holding them, in one go."""

from __future__ import annotations

import json
from collections.abc import Collection

from sqlalchemy import Connection

from . import arrays, driver, sums
from .sums import Held


def by_ids(
    connection: Connection, account_no: int, grinder_ids: Collection[str]
) -> dict[str, Held]:
    """The account's grinders of these ids, held as by ``sums.lock``."""
    if driver.is_postgresql(connection):
        named = arrays.texts(grinder_ids)
        rows = driver.rows_of(connection, _HELD, (named, account_no, account_no))
        held = {row[1]: Held(*row[1:]) for row in rows if row[0] is None}
        found = [(row[0], row[1]) for row in rows if row[0] is not None]
    else:
        names = json.dumps(sorted(grinder_ids))
        found = [
            (row[0], row[1]) for row in driver.rows_of(connection, _FOUND, (account_no, names))
        ]
        held = sums.lock(connection, account_no, (number for _, number in found))
    return {grinder_id: held[number] for grinder_id, number in found}


# Not joined in the end: nobody could tell the planner how many there are.
_HELD = (
    "WITH found AS (SELECT grinder_id, grinder_no FROM grinder"
    " JOIN unnest(%s::text[]) AS u (grinder_id) USING (grinder_id) WHERE account_no = %s),"
    " held AS (INSERT INTO grinder_state (account_no, grinder_no, revision)"
    f" SELECT %s::int4, grinder_no, 1 FROM found ORDER BY grinder_no {sums.COUNT_UP_AND_TELL})"
    " SELECT NULL, * FROM held"
    " UNION ALL SELECT grinder_id, grinder_no, NULL, NULL, NULL FROM found"
)
_FOUND = (
    "SELECT grinder_id, grinder_no FROM grinder"
    " WHERE account_no = ? AND grinder_id IN (SELECT value FROM json_each(?))"
)
