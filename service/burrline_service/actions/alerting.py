"""Alerts as a pure fold of facts, with what the ledger knows of who was told of them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from ..core.answers import Alert
from ..core.episode_facts import Episode
from ..core.errors import Fault, FutureInstant, Invalid, NotFound
from ..core.ledger import paired
from ..core.records import Caller, Page
from ..store import alerts, grinders
from ..store.alerts import AlertRow
from ..store.database import Connection, Database
from ..store.grinders import GrinderRow
from ..store.types import to_instant, to_milliseconds
from . import reach
from .alert_rules import rules_of
from .all_episodes import held_of

DEFAULT_SPAN = timedelta(days=7)
LONGEST_SPAN = timedelta(days=92)
GRINDER_LIMIT = 200
GRINDER_DAYS = 400


def list_alerts(
    database: Database,
    caller: Caller,
    *,
    grinder_id: str | None = None,
    site_id: str | None = None,
    kind: str | None = None,
    state: str | None = None,
    from_at: datetime | None = None,
    to_at: datetime | None = None,
    as_of: datetime | None = None,
    limit: int,
    position: tuple[Any, ...] | None,
    now: datetime,
) -> Page:
    """Alerts that held within a stretch of time (default the last week), the latest first."""
    at = now if as_of is None else as_of
    if at > now:
        raise FutureInstant(at.isoformat(), now.isoformat())
    high_at = min(to_at or at, at)
    low_at = from_at or high_at - DEFAULT_SPAN
    if low_at > high_at:
        raise Invalid(Fault("must not be later than to", parameter="from", place="query"))
    if high_at - low_at > LONGEST_SPAN:
        raise Invalid(
            Fault(f"ask for at most {LONGEST_SPAN.days} days", parameter="from", place="query")
        )

    def work(connection: Connection) -> Page:
        found: list[Alert] = []
        rows = _grinders(connection, caller, grinder_id, site_id, at=at, now=now)
        # single runs of so many grinders at once as all in all make up so many days
        most = max(1, GRINDER_DAYS // max(1, (high_at - low_at).days))
        for start in range(0, len(rows), most):
            some = rows[start : start + most]
            held = held_of(
                connection,
                caller.account_no,
                some,
                rules_of(some),
                from_ms=to_milliseconds(low_at),
                until_ms=to_milliseconds(at),
                is_now=as_of is None,
            )
            told = (
                {}
                if as_of is not None
                else alerts.since(
                    connection,
                    caller.account_no,
                    dict.fromkeys(held, to_milliseconds(low_at)),
                )
            )
            for row in some:
                episodes = held[row.grinder_no].episodes
                known = joined(episodes, told.get(row.grinder_no, ()))
                found += (
                    alert_of(episode, row, entry)
                    for episode, entry in zip(episodes, known, strict=True)
                    if episode.opened_at_ms <= to_milliseconds(high_at)
                    and kind in (None, episode.kind)
                    and state in (None, "open" if episode.closed_at_ms is None else "closed")
                )
        found.sort(key=_place)
        if position is not None:
            found = [alert for alert in found if _place(alert) > tuple(position)]
        last = found[limit - 1] if len(found) > limit else None
        return Page(tuple(found[:limit]), None if last is None else _place(last))

    return database.read(caller.account_no, work)


def _grinders(
    connection: Connection,
    caller: Caller,
    grinder_id: str | None,
    site_id: str | None,
    *,
    at: datetime,
    now: datetime,
) -> list[GrinderRow]:
    if grinder_id is not None:
        found = reach.grinder_of(connection, caller, grinder_id, now=now)
        then = grinders.by_nos(connection, caller.account_no, [found.grinder_no], as_of=at)
        return [row for row in then.values() if site_id in (None, row.grinder.site_id)]
    rows: list[GrinderRow] = []
    after = None
    while True:
        page = grinders.listed(
            connection,
            caller.account_no,
            as_of=now,  # what a key may see is where its grinders stand now
            limit=GRINDER_LIMIT,
            after=after,
            within=reach.within(caller),
        )
        then = grinders.by_nos(
            connection, caller.account_no, [row.grinder_no for row in page], as_of=at
        )
        rows += [row for row in then.values() if site_id in (None, row.grinder.site_id)]
        if len(page) < GRINDER_LIMIT:
            return rows
        after = page[-1].grinder.grinder_id


def joined(episodes: Sequence[Episode], told: Sequence[AlertRow]) -> list[AlertRow | None]:
    """What the ledger knows of each episode, None where it was not noticed yet."""
    if not told:
        return [None] * len(episodes)
    rows = {row.entry.alert_id: row for row in told}
    pairs = paired([row.entry for row in told], episodes)
    return [
        rows[pairs[place].alert_id] if place in pairs else None for place in range(len(episodes))
    ]


def alert_of(episode: Episode, found: GrinderRow, told: AlertRow | None) -> Alert:
    closed_ms = episode.closed_at_ms
    return Alert(
        kind=episode.kind,
        severity=episode.severity,
        grinder_id=found.grinder.grinder_id,
        site_id=found.grinder.site_id,
        opened_at=to_instant(episode.opened_at_ms),
        closed_at=None if closed_ms is None else to_instant(closed_ms),
        facts=dict(episode.facts),
        **_of_ledger(told),
    )


def acknowledge_alert(database: Database, caller: Caller, *, alert_id: str, now: datetime) -> Alert:
    """Say that somebody has seen an alert; who did so first is kept."""

    def work(connection: Connection) -> Alert:
        row = alerts.by_id(connection, caller.account_no, alert_id)
        found = (
            None
            if row is None
            else reach.grinder_numbered(connection, caller, row.grinder_no, now=now)
        )
        if row is None or found is None:
            raise NotFound("alert", alert_id)
        alerts.acknowledge(connection, caller.account_no, alert_id, by=caller.key_id, now=now)
        seen = alerts.by_id(connection, caller.account_no, alert_id)
        assert seen is not None
        entry = seen.entry
        return Alert(
            kind=entry.kind,
            severity=entry.severity,
            grinder_id=found.grinder.grinder_id,
            site_id=found.grinder.site_id,
            opened_at=to_instant(entry.opened_ms),
            closed_at=None if entry.closed_ms is None else to_instant(entry.closed_ms),
            facts=dict(entry.facts),
            **_of_ledger(seen),
        )

    return database.write(caller.account_no, work)


def _of_ledger(told: AlertRow | None) -> dict[str, Any]:
    if told is None:
        return {}
    return {
        "alert_id": told.entry.alert_id,
        "noticed_at": told.noticed_at,
        "is_late": told.entry.is_late,
        "acknowledged_at": told.acknowledged_at,
        "acknowledged_by": told.acknowledged_by,
    }


def _place(alert: Alert) -> tuple[int, str, str]:
    return -to_milliseconds(alert.opened_at), alert.grinder_id, alert.kind
