"""What held of motors: episodes folded from runs, readings and plates, anew for each answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from ..core.alert_settings import ALWAYS, DatedRules, rules_at
from ..core.episode_facts import DatedLimits, Episode, Reading, Stretch
from ..core.episode_span import judged
from ..core.heat import applied_limit_celsius
from ..core.nameplate import grinder_of
from ..core.records import Grinder
from ..store import grinders, readings, stretches
from ..store.database import Connection
from ..store.grinders import GrinderRow
from ..store.types import to_milliseconds
from . import running

DAY_MS = 24 * 3_600_000
WINDOWS_MS = (DAY_MS // 12, DAY_MS, 4 * DAY_MS)
Rules = Mapping[int, Sequence[DatedRules]]
"""The rules of alerts that hold for each grinder, from when on."""


def episodes_of(
    connection: Connection,
    account_no: int,
    found: Sequence[GrinderRow],
    rules: Rules,
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

    limits = {row.grinder_no: limits_of(row, until_ms, rules[row.grinder_no]) for row in found}
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
                known = _folded(warm, on, limits[number], begins_ms, from_ms, until_ms)
                folded[number] = judged(known, rules[number], until_ms=until_ms)
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


def limits_of(
    found: GrinderRow, until_ms: int, rules: Sequence[DatedRules] = ALWAYS
) -> list[DatedLimits]:
    """What the plate and the rules held the motor to by an instant, from when on."""
    plates = [
        (to_milliseconds(at), plate)
        for at, plate in grinders.plates_of(found)
        if to_milliseconds(at) <= until_ms
    ]
    known: list[tuple[int, Grinder]] = []
    for number, (at_ms, plate) in enumerate(plates, 1):
        grinder = found.grinder  # of the last plate, as the row is of the same instant
        if number < len(plates):
            grinder = grinder_of(
                plate,
                grinder_id=found.grinder.grinder_id,
                site_id=found.grinder.site_id,
                created_at=found.grinder.created_at,
                revision=found.grinder.revision,
            )
        known.append((at_ms, grinder))
    later = {dated.from_ms for dated in rules[1:] if dated.from_ms <= until_ms}
    limits = []
    for at_ms in sorted({at_ms for at_ms, _ in known} | later):
        grinder = max((one for one in known if one[0] <= at_ms), key=lambda one: one[0])[1]
        rule = rules_at(rules, at_ms)
        limits.append(
            DatedLimits(
                at_ms,
                limit_celsius=applied_limit_celsius(grinder.motor),
                rated=grinder.rated_duty,
                longest_run_seconds=rule["long_run"]["longest_run_seconds"],
                release_fraction=_exactly(rule["duty_exceeded"]["release_fraction"]),
                release_kelvin=rule["motor_overheat"]["release_kelvin"],
            )
        )
    return limits


def _exactly(fraction: float) -> Fraction:
    """The decimal fraction that somebody wrote, to the millionth."""
    return Fraction(round(fraction * 1_000_000), 1_000_000)
