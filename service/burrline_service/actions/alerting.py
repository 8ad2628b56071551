"""Alerts as a pure fold of facts: what held when, whatever the order in which it was told."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from ..core.answers import Alert
from ..core.episode_facts import DatedLimits, Episode, Reading, Stretch
from ..core.errors import Fault, FutureInstant, Invalid
from ..core.heat import applied_limit_celsius
from ..core.nameplate import grinder_of
from ..core.records import Caller, Page
from ..store import grinders, readings, stretches
from ..store.database import Connection, Database
from ..store.grinders import GrinderRow
from ..store.types import to_instant, to_milliseconds
from . import reach, running

LONG_RUN_SECONDS = 600.0
"""A single run longer than this is told of (our choice, no source)."""
DEFAULT_SPAN = timedelta(days=7)
LONGEST_SPAN = timedelta(days=92)
GRINDER_LIMIT = 200
GRINDER_DAYS = 400
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
        from .heating import heating_of  # with numpy: loaded when first there is need

        found: list[Alert] = []
        rows = _grinders(connection, caller, grinder_id, site_id, at=at, now=now)
        # single runs of so many grinders at once as all in all make up so many days
        most = max(1, GRINDER_DAYS // max(1, (high_at - low_at).days))
        for start in range(0, len(rows), most):
            some = rows[start : start + most]
            held = episodes_of(
                connection,
                caller.account_no,
                some,
                from_ms=to_milliseconds(low_at),
                until_ms=to_milliseconds(at),
            )
            for row in some:
                held[row.grinder_no] += heating_of(
                    connection,
                    caller.account_no,
                    row,
                    limits_of(row, to_milliseconds(at)),
                    from_ms=to_milliseconds(low_at),
                    until_ms=to_milliseconds(at),
                )
            found += (
                _alert(episode, row)
                for row in some
                for episode in held[row.grinder_no]
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


def episodes_of(
    connection: Connection,
    account_no: int,
    found: Sequence[GrinderRow],
    *,
    from_ms: int,
    until_ms: int,
) -> dict[int, list[Episode]]:
    """What held of each grinder at or after ``from_ms``, as it stood at ``until_ms``.

    Forecasts aside, which ``heating`` tells.

    The fold begins at the last quiet instant before ``from_ms``, looked for up to four days back:
    nothing is remembered between two answers. A grinder that never rested in four days is folded
    from there on.
    """
    if not found:
        return {}
    from ..core.episodes import quiet_before_ms  # with numpy: loaded when first there is need

    limits = {row.grinder_no: limits_of(row, until_ms) for row in found}
    folded: dict[int, list[Episode]] = {}
    for window_ms in WINDOWS_MS:
        low_ms = max(0, from_ms - window_ms)
        restless = [number for number in limits if number not in folded]
        facts = _facts(connection, account_no, restless, low_ms, until_ms) if restless else {}
        for number, (warm, on) in facts.items():
            quiet_ms = quiet_before_ms(
                warm, on, limits[number], before_ms=from_ms, window_from_ms=low_ms or None
            )
            if quiet_ms is not None or window_ms == WINDOWS_MS[-1]:
                begins_ms = low_ms if quiet_ms is None else quiet_ms
                folded[number] = _folded(warm, on, limits[number], begins_ms, from_ms, until_ms)
    return folded


def _folded(
    warm: Sequence[Reading],
    on: Sequence[Stretch],
    limits: Sequence[DatedLimits],
    begins_ms: int,
    from_ms: int,
    until_ms: int,
) -> list[Episode]:
    from ..core.episodes import duty_episodes, long_run_episodes, overheat_episodes

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
    connection: Connection, account_no: int, grinder_nos: Sequence[int], low_ms: int, until_ms: int
) -> dict[int, tuple[list[Reading], list[Stretch]]]:
    """Temperatures and motor-on time of a window, each as far as it was there by ``until_ms``."""
    since = dict.fromkeys(grinder_nos, low_ms)
    ends = stretches.run_ends(connection, account_no, since, until_ms=until_ms)
    beside = readings.of_motors(connection, account_no, since, until_ms=until_ms)
    open_now = running.open_stretches(connection, account_no, since, at_ms=until_ms)
    facts = {}
    for number in grinder_nos:
        warm = [
            Reading(end.started_ms + (end.on_ms or 0), end.motor_decicelsius / 10)
            for end in ends.get(number, ())
            if end.motor_decicelsius is not None
        ]
        warm += [Reading(at_ms, tenths / 10) for at_ms, tenths in beside.get(number, ())]
        on = [
            Stretch(end.started_ms, end.started_ms + end.on_ms)
            for end in ends.get(number, ())
            if end.on_ms and end.started_ms + end.on_ms > low_ms
        ]
        on += [Stretch(*span) for span in open_now.get(number, ())]
        facts[number] = ([reading for reading in warm if low_ms <= reading.at_ms <= until_ms], on)
    return facts


def limits_of(found: GrinderRow, until_ms: int) -> list[DatedLimits]:
    """What the plate held the motor to by an instant, from when on."""
    limits = []
    plates = grinders.plates_of(found)
    for number, (at, plate) in enumerate(plates, 1):
        if to_milliseconds(at) <= until_ms:
            grinder = found.grinder  # of the last plate, as the row is of the same instant
            if number < len(plates):
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
