"""The flow of days that are over, remembered while none of their hours is touched."""

from __future__ import annotations

from collections.abc import Mapping

from ..core.episode_flow import FlowDay
from ..store import flows, state
from ..store.database import Connection
from ..store.early import fit_border_ms
from ..store.stretches import LONGEST_RUN_MS
from ..store.tables import DAY_MS
from .remembered import Remembered

KEPT: Remembered[list[FlowDay]] = Remembered(8192)


def flow_days(
    connection: Connection, account_no: int, since_ms: Mapping[int, int], *, until_ms: int
) -> dict[int, list[FlowDay]]:
    """The flow of each day and cell of each grinder, from the start of a day on.

    Their hours tell by which change they were last touched, and retention by when it let runs go;
    so days that are over are read once.
    """
    if not since_ms:
        return {}
    over_day = fit_border_ms(until_ms) // DAY_MS
    over_ms = over_day * DAY_MS
    states = state.of_grinders(connection, account_no, since_ms)
    touched = flows.last_touched(connection, account_no, since_ms, before_ms=over_ms)
    found: dict[int, list[FlowDay]] = {}
    keys = {}
    for number, low_ms in since_ms.items():
        changed = (touched.get(number, 0), states[number].archived_before)
        key = (account_no, number, *changed, low_ms, over_day)
        days = KEPT.get(connection.engine, key)
        if days is None:
            keys[number] = key
        else:
            found[number] = days
    unread = {number: since_ms[number] for number in keys}
    read = flows.days(connection, account_no, unread, until_ms=over_ms) if unread else {}
    for number, key in keys.items():
        found[number] = [one for one in read.get(number, []) if one.day < over_day]
        KEPT.put(connection.engine, key, found[number])
    if until_ms // DAY_MS > over_day:  # yesterday may still change, for some minutes
        last = dict.fromkeys(since_ms, over_ms - LONGEST_RUN_MS)
        for number, days in flows.days(connection, account_no, last, until_ms=until_ms).items():
            found[number] = found[number] + [one for one in days if one.day >= over_day]
    return found
