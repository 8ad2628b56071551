"""Whether a thermal cut-out may have stopped a motor, as far as its runs and readings tell."""

from __future__ import annotations

from ..core.motor_answers import SuspectedTrip
from ..core.records import PURPOSES
from ..core.trip import LOWEST_CUT_OUT_CELSIUS, MotorRun, suspected_trip
from ..store import motor_inputs
from ..store.database import Connection
from ..store.grinders import GrinderRow
from ..store.types import to_instant
from .segments import Care

LOOK_BACK_MS = 31 * 24 * 3_600_000


def trip_of(
    connection: Connection,
    account_no: int,
    found: GrinderRow,
    care: Care,
    *,
    limit_celsius: float | None,
    at_ms: int,
) -> SuspectedTrip | None:
    """The latest pattern of a trip in the 31 days up to an instant that nobody looked at.

    What lies before another motor came, or before the last look, is done.
    """
    is_winding = found.grinder.motor is not None and found.grinder.motor.sensor == "winding"
    hot = [LOWEST_CUT_OUT_CELSIUS] if is_winding else []
    hot += [] if limit_celsius is None else [limit_celsius]
    if not hot:
        return None
    looked_ms = max((*care.trip_checked_ms, care.started_ms or 0), default=0)
    placed = (connection, account_no, found.grinder_no)
    from_ms = max(looked_ms, at_ms - LOOK_BACK_MS)
    if not motor_inputs.was_hot(
        *placed, from_ms=from_ms, to_ms=at_ms, from_decicelsius=round(min(hot) * 10)
    ):
        return None
    trip = suspected_trip(
        [
            MotorRun(
                started_at=to_instant(run.started_ms),
                seconds=(min(run.ended_ms, at_ms) - run.started_ms) / 1000,
                motor_celsius=(
                    None
                    if run.motor_decicelsius is None or run.ended_ms > at_ms
                    else run.motor_decicelsius / 10
                ),
                purpose=None if purpose >= len(PURPOSES) else PURPOSES[purpose],
            )
            for run, purpose in motor_inputs.runs_with_purpose(
                *placed, from_ms=from_ms, to_ms=at_ms
            )
        ],
        [
            (to_instant(reading.at_ms), reading.motor_decicelsius / 10)
            for reading in motor_inputs.readings_between(*placed, from_ms=from_ms, to_ms=at_ms)
            if reading.motor_decicelsius is not None
        ],
        limit_celsius=limit_celsius,
        is_winding=is_winding,
        acknowledged=[to_instant(looked_ms)],
    )
    if trip is None:
        return None
    return SuspectedTrip(
        stopped_at=trip.stopped_at,
        restarted_at=trip.restarted_at,
        stopped_celsius=trip.stopped_celsius,
        sentence=trip.why,
    )
