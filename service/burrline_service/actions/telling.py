"""What is to be told of a grinder: its episodes held to the ledger, its stages to those told."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from ..core.alert_records import ALERT_CLOSED, ALERT_OPENED, EventRow
from ..core.alert_settings import rules_at
from ..core.episode_facts import Episode
from ..core.ledger import Change, Entry, amended, is_late
from ..core.quiet_hours import quiet_until
from ..store import flows, readings
from ..store.alerts import AlertRow
from ..store.database import Connection
from ..store.grinders import GrinderRow
from ..store.looks import Look
from ..store.types import to_milliseconds
from .alert_events import alert_event, instant_text, stage_event
from .all_episodes import Held
from .episodes_held import Rules

HEARTBEAT_MS = 3_600_000
MOVING_MS = 10_000
SETTLING_MS = 2_500
"""A forecast is judged 2 s after the fact."""
SILENT_RUN_MS = 120_000
"""A run is told as ended when it gave no sign for so long (our choice, no source)."""
STAGE_LATE = timedelta(days=14)
"""Doses may be measured long after they were ground: a stage is told of up to then."""
FORECAST = "motor_heating"
FORECAST_BACK_MS = 7_200_000
"""A forecast that nobody made in its time is of no use: none is recorded from further back."""


@dataclass
class Found:
    """What one look found of one grinder: all that is to be written of it."""

    look: Look
    row: GrinderRow
    watermarks: dict[str, Any]
    added: list[AlertRow] = field(default_factory=list)
    changed: list[AlertRow] = field(default_factory=list)
    told: list[EventRow] = field(default_factory=list)
    released: list[int] = field(default_factory=list)
    moves_at_ms: int | None = None


def compare(
    connection: Connection,
    account_no: int,
    one: Found,
    held: Held,
    told: Sequence[AlertRow],
    rules: Rules,
    *,
    from_ms: int,
    now: datetime,
    draw: Callable[[datetime], str],
) -> int:
    """Put down what is to be written of a grinder; gives when to look at it again."""
    now_ms = to_milliseconds(now)
    known = {row.entry.alert_id: row for row in told}
    rule = rules_at(rules[one.row.grinder_no], now_ms)
    quiet = partial(
        quiet_until, now, quiet_hours=rule["quiet_hours"], time_zone=one.row.site.time_zone
    )
    changes = _changes(
        [row.entry for row in told], held.episodes, one.look.looked_ms, from_ms, now_ms
    )
    for change in changes:
        if change.entry is None and change.episode is not None:
            _open(connection, account_no, one, change, change.episode, quiet, now=now, draw=draw)
        elif change.entry is not None:
            if change.tells == ("closed",) and _is_maybe_going_on(change.episode, now_ms):
                one.moves_at_ms = now_ms + MOVING_MS
                continue
            row = known[change.entry.alert_id]
            entry = _entry_after(change.entry, change)
            # the end of what was told before quiet hours began waits for their own end
            is_end_held = (
                row.held_position is None
                and change.tells == ("closed",)
                and not entry.is_late
                and quiet(severity=entry.severity) is not None
            )
            for what in change.tells:
                is_again = what == "again"
                one.told.append(
                    alert_event(
                        ALERT_CLOSED if what == "closed" else ALERT_OPENED,
                        entry,
                        one.row,
                        noticed_at=row.noticed_at,
                        is_late=entry.is_late or is_again,
                        is_held=is_end_held or row.held_position is not None,
                        reason="again" if is_again else change.reason,
                        event_id=draw(now),
                    )
                )
            after = replace(row, entry=entry)
            if is_end_held:
                after = replace(after, held_position=WAITS)
            elif change.tells:  # it is over before anybody was called, or goes on after all
                after = replace(after, held_position=None)
            known[entry.alert_id] = after
            one.changed.append(after)
    quiet_end = _tell_stages(one, held, quiet, now=now, draw=draw)
    next_ms = [now_ms + HEARTBEAT_MS, *map(to_milliseconds, [quiet_end] if quiet_end else [])]
    _release(one, known, quiet)
    next_ms += [
        to_milliseconds(until)
        for row in (*known.values(), *one.added)
        if row.held_position is not None and (until := quiet(severity=row.entry.severity))
    ]
    if held.silent_ms is not None and held.silent_ms > now_ms:
        next_ms.append(held.silent_ms)
    next_ms += _soon(one, held, now_ms)
    return min(next_ms)


def _changes(
    ledger: Sequence[Entry],
    episodes: Sequence[Episode],
    looked_ms: int,
    from_ms: int,
    now_ms: int,
) -> list[Change]:
    """What differs, each kind from where it was folded."""
    since = {True: max(from_ms, now_ms - FORECAST_BACK_MS), False: from_ms}
    return [
        change
        for is_forecast, low_ms in since.items()
        for change in amended(
            [entry for entry in ledger if (entry.kind == FORECAST) is is_forecast],
            [episode for episode in episodes if (episode.kind == FORECAST) is is_forecast],
            from_ms=low_ms,
            now_ms=now_ms,
            looked_ms=looked_ms,
        )
    ]


def _open(
    connection: Connection,
    account_no: int,
    one: Found,
    change: Change,
    episode: Episode,
    quiet: Callable[..., datetime | None],
    *,
    now: datetime,
    draw: Callable[[datetime], str],
) -> None:
    lags_ms = _lags_ms(connection, account_no, one.look.grinder_no, episode, now)
    now_ms = to_milliseconds(now)
    tells = change.tells
    if _is_maybe_going_on(episode, now_ms):
        episode = replace(episode, closed_at_ms=None)
        tells = ("opened",)
        one.moves_at_ms = now_ms + MOVING_MS
    entry = Entry(
        draw(now),
        episode.kind,
        episode.severity,
        episode.opened_at_ms,
        episode.closed_at_ms,
        None,
        dict(episode.facts),
        change.is_part or is_late(episode, lags_ms, now_ms=now_ms),
    )
    is_held = not entry.is_late and quiet(severity=entry.severity) is not None
    # where its event waits is known once it has a position: until then any number marks it
    waits = WAITS if is_held and entry.closed_ms is None else None
    one.added.append(AlertRow(entry, one.look.grinder_no, now, held_position=waits))
    for what in tells:
        one.told.append(
            alert_event(
                ALERT_CLOSED if what == "closed" else ALERT_OPENED,
                entry,
                one.row,
                noticed_at=now,
                is_late=entry.is_late,
                is_held=is_held,
                reason="part" if change.is_part else None,
                event_id=draw(now),
            )
        )


WAITS = -1


def _is_maybe_going_on(episode: Episode | None, now_ms: int) -> bool:
    """Whether what looks closed is a run that only was silent for a moment.

    A run that is told of by readings ends, as far as is known, at each of them.
    """
    return (
        episode is not None
        and episode.kind == "long_run"
        and episode.closed_at_ms is not None
        and episode.closed_at_ms > now_ms - SILENT_RUN_MS
    )


def _entry_after(entry: Entry, change: Change) -> Entry:
    episode = change.episode
    if episode is None:
        return replace(entry, closed_ms=change.closed_ms, reason=change.reason)
    return replace(
        entry,
        severity=episode.severity,
        opened_ms=episode.opened_at_ms,
        closed_ms=episode.closed_at_ms,
        reason=None,
        facts=dict(episode.facts),
    )


def _lags_ms(
    connection: Connection, account_no: int, grinder_no: int, episode: Episode, now: datetime
) -> list[int]:
    """How late the facts within an episode were, for the kinds that facts show."""
    if episode.kind in ("silent", "checkpoint_due", "settled", "burr_life", "clock_suspect"):
        return []
    low_ms = episode.opened_at_ms
    high_ms = to_milliseconds(now) if episode.closed_at_ms is None else episode.closed_at_ms
    since = {grinder_no: low_ms}
    return [
        *flows.lags_ms(connection, account_no, since, until_ms=high_ms),
        *readings.lags_ms(connection, account_no, since, until_ms=high_ms),
    ]


def _tell_stages(
    one: Found,
    held: Held,
    quiet: Callable[..., datetime | None],
    *,
    now: datetime,
    draw: Callable[[datetime], str],
) -> datetime | None:
    """Tell of the stages of the set in the grinder that were not told before.

    In quiet hours none is told, as it is a notice: gives when they end.
    """
    told: Mapping[str, Any] = one.look.told
    one.watermarks["told"] = told
    if held.burr_set_id is None or not held.stages:
        return None
    latest = held.stages[-1]
    mark = {
        "burr_set_id": held.burr_set_id,
        "stage": latest.to_stage,
        "at": instant_text(latest.at),
    }
    if told.get("stage") == mark["stage"] and told.get("burr_set_id") == held.burr_set_id:
        return None
    is_late = now - latest.at > STAGE_LATE
    if not is_late and (until := quiet(severity="notice")) is not None:
        return until
    one.watermarks["told"] = mark
    before = told.get("stage") if told.get("burr_set_id") == held.burr_set_id else None
    one.told.append(
        stage_event(
            held.burr_set_id,
            latest,
            one.row,
            from_stage=before or latest.from_stage,
            is_late=is_late,
            event_id=draw(now),
        )
    )
    return None


def _release(one: Found, known: dict[str, AlertRow], quiet: Callable[..., datetime | None]) -> None:
    """Let go what was held back, where quiet hours are over and it still lasts."""
    for alert_id, row in known.items():
        position = row.held_position
        if position is not None and quiet(severity=row.entry.severity) is None:
            one.released.append(position)
            known[alert_id] = replace(row, held_position=None)


def _soon(one: Found, held: Held, now_ms: int) -> list[int]:
    """When something may change without another fact."""
    motors = ("motor_overheat", "motor_heating", "duty_exceeded", "long_run")
    soon = [] if one.moves_at_ms is None else [one.moves_at_ms]
    if any(e.closed_at_ms is None and e.kind in motors for e in held.episodes):
        soon.append(now_ms + MOVING_MS)
    if one.look.is_changed and held.is_warm:
        soon.append(now_ms + SETTLING_MS)
    return soon
