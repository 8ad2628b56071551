"""Alerts as a pure fold of facts: what held when, whatever the order in which it was told."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from ..core.answers import Alert
from ..core.episode_duty import duty_episodes
from ..core.episode_facts import DatedLimits, Episode, Reading, Stretch
from ..core.episodes import long_run_episodes, overheat_episodes, quiet_before_ms
from ..core.errors import Fault, FutureInstant, Invalid
from ..core.heat import applied_limit_celsius
from ..core.nameplate import grinder_of
from ..core.records import Caller, Page
from ..store import grinders, readings, stretches
from ..store.database import Connection, Database
from ..store.grinders import GrinderRow
from ..store.stretches import LONGEST_RUN_MS
from ..store.types import EPOCH, to_instant, to_milliseconds
from . import reach, running
from .on_time import PLACED

LONG_RUN_SECONDS = 600.0
"""A single run longer than this is told of (our choice, no source)."""
DEFAULT_SPAN = timedelta(days=7)
LONGEST_SPAN = timedelta(days=92)
GRINDER_LIMIT = 200
DAY_MS = 24 * 3_600_000
WINDOWS_MS = (DAY_MS // 12, DAY_MS, 4 * DAY_MS)


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
        for row in _grinders(connection, caller, grinder_id, site_id, at=at, now=now):
            for episode in episodes_of(
                connection,
                caller.account_no,
                row,
                from_ms=to_milliseconds(low_at),
                until_ms=to_milliseconds(at),
            ):
                is_open = episode.closed_at_ms is None
                if (
                    episode.opened_at_ms <= to_milliseconds(high_at)
                    and kind in (None, episode.kind)
                    and state in (None, "open" if is_open else "closed")
                ):
                    found.append(_alert(episode, row))
        found.sort(key=_place)
        if position is not None:
            found = [alert for alert in found if _place(alert) > tuple(position)]
        last = found[limit - 1] if len(found) > limit else None
        return Page(tuple(found[:limit]), None if last is None else _place(last))

    return database.read(caller.account_no, work)


def episodes_of(
    connection: Connection,
    account_no: int,
    found: GrinderRow,
    *,
    from_ms: int,
    until_ms: int,
) -> list[Episode]:
    """What held at or after ``from_ms``, as it stood at ``until_ms``.

    The fold begins at the last quiet instant before ``from_ms``, looked for up to four days back:
    nothing is remembered between two answers. A grinder that never rested in four days is folded
    from there on.
    """
    limits = _limits(connection, account_no, found, until_ms)
    quiet_ms, low_ms = None, 0
    warm: list[Reading] = []
    on: list[Stretch] = []
    for window_ms in WINDOWS_MS:
        low_ms = max(0, from_ms - window_ms)
        warm, on = _facts(connection, account_no, found.grinder_no, low_ms, until_ms)
        quiet_ms = quiet_before_ms(
            warm, on, limits, before_ms=from_ms, window_from_ms=low_ms or None
        )
        if quiet_ms is not None:
            break
    begins_ms = low_ms if quiet_ms is None else quiet_ms
    warm = [reading for reading in warm if reading.at_ms >= begins_ms]
    on = [stretch for stretch in on if stretch.started_ms >= begins_ms]
    episodes = (
        *overheat_episodes(warm, limits, until_ms=until_ms),
        *duty_episodes(on, limits, until_ms=until_ms),
        *long_run_episodes(on, limits, until_ms=until_ms),
    )
    return [
        episode
        for episode in episodes
        if episode.closed_at_ms is None or episode.closed_at_ms >= from_ms
    ]


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


def _facts(
    connection: Connection, account_no: int, grinder_no: int, low_ms: int, until_ms: int
) -> tuple[list[Reading], list[Stretch]]:
    """Temperatures and motor-on time of a window, each as far as it was there by ``until_ms``."""
    ends = stretches.run_ends(
        connection,
        account_no,
        grinder_no,
        from_ms=low_ms - LONGEST_RUN_MS,
        to_ms=until_ms,
        time_sources=PLACED,
    )
    warm = [
        Reading(end.started_ms + (end.on_ms or 0), end.motor_decicelsius / 10)
        for end in ends
        if end.motor_decicelsius is not None
    ]
    warm += [
        Reading(row.at_ms, row.motor_decicelsius / 10)
        for row in readings.between(
            connection, account_no, grinder_no, from_ms=low_ms, to_ms=until_ms + 1
        )
        if row.motor_decicelsius is not None
    ]
    on = [
        Stretch(end.started_ms, end.started_ms + end.on_ms)
        for end in ends
        if end.on_ms and end.started_ms + end.on_ms > low_ms
    ]
    on += [
        Stretch(*span)
        for span in running.open_stretches(
            connection, account_no, grinder_no, since_ms=low_ms, at_ms=until_ms
        )
    ]
    return [reading for reading in warm if low_ms <= reading.at_ms <= until_ms], on


def _limits(
    connection: Connection, account_no: int, found: GrinderRow, until_ms: int
) -> list[DatedLimits]:
    """What the plate held the motor to, from when on."""
    limits = []
    for at, plate in grinders.plates_from(connection, account_no, found.grinder_no, since=EPOCH):
        if to_milliseconds(at) <= until_ms:
            grinder = grinder_of(
                plate,
                grinder_id=found.grinder.grinder_id,
                site_id=found.grinder.site_id,
                created_at=found.grinder.created_at,
                revision=found.grinder.revision,
            )
            limits.append(
                DatedLimits(
                    to_milliseconds(at),
                    limit_celsius=applied_limit_celsius(grinder.motor),
                    rated=grinder.rated_duty,
                    longest_run_seconds=LONG_RUN_SECONDS,
                )
            )
    return limits


def _alert(episode: Episode, found: GrinderRow) -> Alert:
    closed_ms = episode.closed_at_ms
    return Alert(
        kind=episode.kind,
        severity=episode.severity,
        grinder_id=found.grinder.grinder_id,
        site_id=found.grinder.site_id,
        opened_at=to_instant(episode.opened_at_ms),
        closed_at=None if closed_ms is None else to_instant(closed_ms),
        facts=dict(episode.facts),
    )


def _place(alert: Alert) -> tuple[int, str, str]:
    return -to_milliseconds(alert.opened_at), alert.grinder_id, alert.kind
