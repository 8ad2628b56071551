"""Forecast alerts: motors on their way to their limit, folded anew for each answer.

A forecast as of t goes by the fit of the facts before the six hours around t began, so that a week
needs a few fits and not a thousand. Only where the motor was read warm can it reach its limit in
ten minutes: nothing else is looked at.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ..core.episode_facts import DatedLimits, Episode, Reading, Stretch, spans_in_force
from ..core.episode_heating import AHEAD_MS, DatedFit, Judged, join_heating, judge_heating
from ..core.thermal_fit import fit_motor
from ..core.thermal_forecast import MEMORY_SECONDS
from ..store import motor_inputs, state
from ..store.database import Connection
from ..store.early import fit_border_ms
from ..store.grinders import GrinderRow
from ..store.state import State
from .motor_fitting import body_of, fit_as_of, thinned
from .remembered import Remembered
from .segments import Care, care_of

STEP_MS = 6 * 3_600_000
MEMORY_MS = round(MEMORY_SECONDS * 1000)
BACK_MS = (2 * AHEAD_MS, 2 * 3_600_000, 8 * 3_600_000, MEMORY_MS)
"""How far before the time asked for is looked: farther only for an episode that may have begun."""
WARM_KELVIN = {"winding": 75.0, "housing": 30.0, "unknown": 75.0}
"""A body read farther below its limit is not looked at: a small winding warms by some 70 K in two
minutes, a housing far more slowly (our choice, no source)."""

Interval = tuple[int, int]
JUDGED: Remembered[dict[int, Judged]] = Remembered(256)
"""What was judged of instants long enough ago, by grinder and all that it was judged from."""
MOST_JUDGED = 5000


def heating_of(
    connection: Connection,
    account_no: int,
    found: GrinderRow,
    limits: Sequence[DatedLimits],
    *,
    from_ms: int,
    until_ms: int,
) -> tuple[Episode, ...]:
    """What was forecast at or after ``from_ms``, as it stood at ``until_ms``.

    An episode that began more than 24 hours before ``from_ms`` is told from there on.
    """
    lowest = lowest_decicelsius(found, limits)
    if lowest is None or not motor_inputs.was_hot(
        connection,
        account_no,
        found.grinder_no,
        from_ms=max(0, from_ms - BACK_MS[0]),
        to_ms=until_ms,
        from_decicelsius=lowest,
    ):
        return ()
    care = care_of(connection, account_no, found, at_ms=until_ms)
    episodes: tuple[Episode, ...] = ()
    for back_ms in BACK_MS:
        since_ms = max(0, from_ms - back_ms)
        episodes = _judged(connection, account_no, found, limits, care, since_ms, until_ms)
        # none that may go on from before: whatever is looked at, what holds at an instant is the
        # same, and an episode goes on over ten minutes at most
        if not episodes or episodes[0].opened_at_ms > since_ms + AHEAD_MS:
            break
    return episodes


def lowest_decicelsius(found: GrinderRow, limits: Sequence[DatedLimits]) -> int | None:
    """What a motor must have been read at for a forecast, in tenths; None = none without limit."""
    known = [limit.limit_celsius for limit in limits if limit.limit_celsius is not None]
    return round((min(known) - WARM_KELVIN[body_of(found)]) * 10) if known else None


def warm_ones(
    connection: Connection,
    account_no: int,
    found: Sequence[GrinderRow],
    limits: Mapping[int, Sequence[DatedLimits]],
    *,
    from_ms: int,
    until_ms: int,
) -> set[int]:
    """The grinders of which ``heating_of`` may tell something, by one look at all."""
    lowest = {row.grinder_no: lowest_decicelsius(row, limits[row.grinder_no]) for row in found}
    return motor_inputs.were_hot(
        connection,
        account_no,
        {number: bar for number, bar in lowest.items() if bar is not None},
        from_ms=max(0, from_ms - BACK_MS[0]),
        to_ms=until_ms,
    )


def _judged(
    connection: Connection,
    account_no: int,
    found: GrinderRow,
    limits: Sequence[DatedLimits],
    care: Care,
    since_ms: int,
    until_ms: int,
) -> tuple[Episode, ...]:
    """The episodes of what holds at the instants from ``since_ms`` on."""
    # whole steps, so that what is told of an instant is the same whatever else is asked for
    first_ms = since_ms - 2 * AHEAD_MS
    low_ms = max(0, first_ms - first_ms % STEP_MS - MEMORY_MS)
    stretches, warm, room = _facts(connection, account_no, found, low_ms, until_ms)
    hot_ms = _hot_instants(warm, limits, WARM_KELVIN[body_of(found)], first_ms, until_ms)
    if not hot_ms:
        return ()
    row = state.of_grinder(connection, account_no, found.grinder_no)
    known = (row.early_revision, row.archived_before, found.grinder.revision, body_of(found))
    key = (account_no, found.grinder_no, *known)
    kept = JUDGED.get(connection.engine, key) or {}
    judged = judge_heating(
        _fits(connection, account_no, found, row, care, hot_ms, until_ms),
        stretches,
        warm,
        _while_hot(limits, hot_ms, until_ms),
        since_ms=since_ms,
        until_ms=until_ms,
        ambient=room,
        kept=kept,
    )
    # what lies before the ten minutes around now stays as it is while the early revision does
    border_ms = fit_border_ms(until_ms)
    new = {
        one.at_ms: one
        for one in judged
        if one.limit_celsius is not None and one.at_ms < border_ms and one.at_ms not in kept
    }
    if new:
        JUDGED.put(connection.engine, key, dict(sorted((kept | new).items())[-MOST_JUDGED:]))
    return join_heating(judged, since_ms=since_ms, until_ms=until_ms)


def _facts(
    connection: Connection, account_no: int, found: GrinderRow, low_ms: int, until_ms: int
) -> tuple[list[Stretch], list[Reading], list[Reading]]:
    """Motor-on time, motor temperatures and ambient ones of a window."""
    placed = (connection, account_no, found.grinder_no)
    ran = motor_inputs.runs_between(*placed, from_ms=low_ms, to_ms=until_ms)
    read = motor_inputs.readings_between(*placed, from_ms=low_ms, to_ms=until_ms)
    stretches = [Stretch(run.started_ms, run.ended_ms) for run in ran if run.on_ms > 0]
    stretches += [
        Stretch(*span) for span in motor_inputs.open_spans(*placed, from_ms=low_ms, to_ms=until_ms)
    ]
    ended = [run for run in ran if low_ms < run.ended_ms <= until_ms]
    warm = [
        (at_ms / 1000, decicelsius / 10)
        for at_ms, decicelsius in (
            *((run.ended_ms, run.motor_decicelsius) for run in ended),
            *((one.at_ms, one.motor_decicelsius) for one in read),
        )
        if decicelsius is not None
    ]
    room = [
        Reading(at_ms, decicelsius / 10)
        for at_ms, decicelsius in (
            *((run.ended_ms, run.ambient_decicelsius) for run in ended),
            *((one.at_ms, one.ambient_decicelsius) for one in read),
        )
        if decicelsius is not None
    ]
    at_seconds, celsius = thinned(
        [at for at, _ in warm], [one for _, one in warm], is_first_kept=True
    )
    readings = [Reading(round(at * 1000), one) for at, one in zip(at_seconds, celsius, strict=True)]
    return stretches, readings, room


def _hot_instants(
    warm: Sequence[Reading],
    limits: Sequence[DatedLimits],
    warm_kelvin: float,
    low_ms: int,
    until_ms: int,
) -> list[int]:
    """When the motor was read near the limit of that time, ascending."""
    spans = spans_in_force(limits, until_ms=until_ms)
    found = []
    for reading in warm:
        if reading.at_ms < low_ms:
            continue
        span = next(one for one in spans if reading.at_ms <= one.last_ms)
        limit = span.limits.limit_celsius
        if limit is not None and reading.celsius > limit - warm_kelvin:
            found.append(reading.at_ms)
    return sorted(found)


def _while_hot(
    limits: Sequence[DatedLimits], hot_ms: Sequence[int], until_ms: int
) -> list[DatedLimits]:
    """The limits, in force only for ten minutes after each warm reading."""
    warm: list[Interval] = []
    for at_ms in hot_ms:
        if warm and at_ms <= warm[-1][1]:
            warm[-1] = (warm[-1][0], at_ms + AHEAD_MS)
        else:
            warm.append((at_ms, at_ms + AHEAD_MS))
    found = {0: DatedLimits(0)}
    spans = spans_in_force(limits, until_ms=until_ms)
    for low_ms, high_ms in warm:
        for span in spans:
            begins, ends = max(low_ms, span.first_ms), min(high_ms, span.last_ms)
            if begins <= ends:
                limit = span.limits.limit_celsius
                found[begins] = DatedLimits(begins, limit_celsius=limit)
        found[high_ms + 1] = DatedLimits(high_ms + 1)
    return [found[at] for at in sorted(found)]


def _fits(
    connection: Connection,
    account_no: int,
    found: GrinderRow,
    kept: State,
    care: Care,
    hot_ms: Sequence[int],
    until_ms: int,
) -> list[DatedFit]:
    """The fits of the six hours in which the motor was warm, each void from another motor on."""
    nothing = fit_motor([], [], [], [], body=body_of(found))
    fits = {changed: DatedFit(changed, nothing) for changed, _ in care.changes}
    steps = {at_ms // STEP_MS for hot in hot_ms for at_ms in (hot, min(hot + AHEAD_MS, until_ms))}
    for step in sorted(steps):
        begins = step * STEP_MS
        fitted = fit_as_of(
            connection,
            account_no,
            found,
            kept,
            segment_ms=care.until(begins),
            at_ms=begins,
        )
        fits.setdefault(begins, DatedFit(begins, fitted.fit))
    return [fits[at] for at in sorted(fits)]
