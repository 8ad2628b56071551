"""A motor's temperature model as of an instant: from facts, or from a memo of the same facts.

A fit as of t knows the readings up to the last one before the ten minutes around t, so that it is
worked out at most once in ten minutes, and what ran until then. It is kept in the store beside the
grinder's revision, and in this process; nothing but time depends on whether it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..core.thermal_ensemble import Body
from ..core.thermal_fit import WINDOW_SECONDS, fit_motor
from ..core.thermal_motor import MotorFit, fit_from_text
from ..store import motor_fits, motor_inputs
from ..store.database import Connection, Database
from ..store.early import fit_border_ms
from ..store.grinders import GrinderRow
from ..store.state import State
from .remembered import Remembered

WINDOW_MS = round(WINDOW_SECONDS * 1000)
MEMO_FORMAT = 1
"""To be counted up whenever a fit of the same facts may come out otherwise."""


REMEMBERED: Remembered[MotorFit] = Remembered(512)
"""Fits by the past that they know: while a grinder's early revision stands, it is the same."""


@dataclass(frozen=True)
class Memo:
    """A fit that was worked out now and may be kept."""

    grinder_no: int
    fitted_ms: int
    from_ms: int
    revision: int
    fit: str


@dataclass(frozen=True)
class Fitted:
    """A fit and the latest reading it knows, in ms; without readings there is none of either."""

    fit: MotorFit
    fitted_ms: int | None
    memo: Memo | None


def body_of(found: GrinderRow) -> Body:
    """What the sensor sits on."""
    motor = found.grinder.motor
    sensor = None if motor is None else motor.sensor
    return sensor if sensor in ("winding", "housing") else "unknown"


def fit_as_of(
    connection: Connection,
    account_no: int,
    found: GrinderRow,
    state: State,
    *,
    segment_ms: int | None,
    at_ms: int,
) -> Fitted:
    """The fit that an answer at an instant goes by, of readings since another motor came."""
    body = body_of(found)
    border_ms = fit_border_ms(at_ms)
    fitted_ms = motor_inputs.latest_reading_ms(
        connection,
        account_no,
        found.grinder_no,
        since_ms=border_ms - WINDOW_MS,
        before_ms=border_ms,
    )
    if fitted_ms is None:
        return Fitted(_NOTHING[body], None, None)
    from_ms = max(fitted_ms - WINDOW_MS, segment_ms or 0)
    if from_ms >= fitted_ms:
        return Fitted(_NOTHING[body], None, None)
    of_past = (account_no, found.grinder_no, fitted_ms, from_ms, body, state.early_revision)
    remembered = REMEMBERED.get(connection.engine, of_past)
    if remembered is not None:
        return Fitted(remembered, fitted_ms, None)
    kept = motor_fits.kept(
        connection, account_no, found.grinder_no, fitted_ms=fitted_ms, from_ms=from_ms
    )
    head, memo = f"{MEMO_FORMAT} {body}\n", None
    fit = _restored(kept, head)
    if fit is None:
        fit = _worked_out(connection, account_no, found, body, from_ms=from_ms, fitted_ms=fitted_ms)
        memo = Memo(found.grinder_no, fitted_ms, from_ms, state.revision, head + fit.as_text())
    REMEMBERED.put(connection.engine, of_past, fit)
    return Fitted(fit, fitted_ms, memo)


def keep(database: Database, account_no: int, *memos: Memo | None) -> None:
    """Keep fits that were worked out, unless somebody else is writing."""
    made = [memo for memo in memos if memo is not None]
    if not made:
        return

    def work(connection: Connection) -> None:
        for memo in made:
            motor_fits.put(connection, account_no, **memo.__dict__)

    database.write_if_free(account_no, work)


def _restored(kept: str | None, head: str) -> MotorFit | None:
    """The fit of a memo, None without one of this body that can be read."""
    if kept is None or not kept.startswith(head):
        return None
    try:
        return fit_from_text(kept[len(head) :])
    except (ValueError, TypeError, KeyError):  # of a release that wrote other members
        return None


def _worked_out(
    connection: Connection,
    account_no: int,
    found: GrinderRow,
    body: Body,
    *,
    from_ms: int,
    fitted_ms: int,
) -> MotorFit:
    heard = heard_between(
        connection, account_no, found.grinder_no, from_ms=from_ms, to_ms=fitted_ms
    )
    return fit_motor(
        heard.starts_seconds,
        heard.ends_seconds,
        heard.read_at_seconds,
        heard.read_celsius,
        body=body,
        ambient_at_seconds=heard.room_at_seconds,
        ambient_readings_celsius=heard.room_celsius,
    )


@dataclass(frozen=True)
class Heard:
    """Motor-on time and temperatures of a window, in POSIX s and degrees Celsius."""

    starts_seconds: list[float]
    ends_seconds: list[float]
    read_at_seconds: list[float]
    read_celsius: list[float]
    room_at_seconds: list[float]
    room_celsius: list[float]


def heard_between(
    connection: Connection, account_no: int, grinder_no: int, *, from_ms: int, to_ms: int
) -> Heard:
    """What ran and was read in a window, as it was known at its end.

    Runs are cut at both ends of the window; temperatures are those within (from, to].
    """
    placed = (connection, account_no, grinder_no)
    ran = motor_inputs.runs_between(*placed, from_ms=from_ms, to_ms=to_ms)
    read = motor_inputs.readings_between(*placed, from_ms=from_ms + 1, to_ms=to_ms)
    spans = [
        (max(run.started_ms, from_ms), min(run.ended_ms, to_ms)) for run in ran if run.on_ms > 0
    ]
    spans += motor_inputs.open_spans(*placed, from_ms=from_ms, to_ms=to_ms)
    spans = sorted((low, high) for low, high in spans if low < high)
    ended = [run for run in ran if from_ms < run.ended_ms <= to_ms]
    warm = [
        (at_ms, decicelsius)
        for at_ms, decicelsius in (
            *((run.ended_ms, run.motor_decicelsius) for run in ended),
            *((one.at_ms, one.motor_decicelsius) for one in read),
        )
        if decicelsius is not None
    ]
    room = [
        (at_ms, decicelsius)
        for at_ms, decicelsius in (
            *((run.ended_ms, run.ambient_decicelsius) for run in ended),
            *((one.at_ms, one.ambient_decicelsius) for one in read),
        )
        if decicelsius is not None
    ]
    return Heard(
        starts_seconds=[low / 1000 for low, _ in spans],
        ends_seconds=[high / 1000 for _, high in spans],
        read_at_seconds=[at_ms / 1000 for at_ms, _ in warm],
        read_celsius=[decicelsius / 10 for _, decicelsius in warm],
        room_at_seconds=[at_ms / 1000 for at_ms, _ in room],
        room_celsius=[decicelsius / 10 for _, decicelsius in room],
    )


def thinned(
    at_seconds: Sequence[float], celsius: Sequence[float], *, is_first_kept: bool = False
) -> tuple[list[float], list[float]]:
    """At most one reading of each minute, the latest or the first: a probe may tell every second.

    >>> thinned([1.0, 59.0, 61.0], [20.0, 21.0, 22.0])
    ([59.0, 61.0], [21.0, 22.0])
    >>> thinned([1.0, 59.0, 61.0], [20.0, 21.0, 22.0], is_first_kept=True)
    ([1.0, 61.0], [20.0, 22.0])
    """
    chosen = min if is_first_kept else max
    kept: dict[int, tuple[float, float]] = {}
    for one in zip(at_seconds, celsius, strict=True):
        minute = int(one[0] // 60)
        kept[minute] = one if minute not in kept else chosen(one, kept[minute])
    ordered = sorted(kept.values())
    return [at for at, _ in ordered], [read for _, read in ordered]


_NOTHING: dict[Body, MotorFit] = {
    body: fit_motor([], [], [], [], body=body) for body in ("winding", "housing", "unknown")
}
