"""What is implausible about a run, and where in time it belongs.

A run is stored whatever is found: a finding is a remark for a person, never a refusal.
Thresholds are wide choices of ours (common practice, no source) that real grinders do not reach.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Literal, TypeGuard

from .records import (
    Brew,
    Finding,
    Grinder,
    Run,
)

HIGHEST_FLOW_GRAMS_PER_SECOND = 20.0
UNEXPECTED_FLOW_FACTOR = 3.0
LONG_RUN_SECONDS = 600.0
LONG_BREAK_IN_SECONDS = 3600.0
FUTURE_SECONDS = 300.0
EARLIEST_START_AT = datetime(2020, 1, 1, tzinfo=UTC)
HIGHEST_RPM = 5000.0
HIGHEST_WATTS = 10_000.0
UNEXPECTED_WATTS_FACTOR = 3.0
BELOW_AMBIENT_KELVIN = 10.0
AMBIENT_RANGE_CELSIUS = (-10.0, 50.0)
HIGHEST_TDS_FRACTION = 0.25
HIGHEST_EXTRACTION_FRACTION = 0.35
RATIO_RANGE = {"espresso": (0.5, 6.0), "percolation": (5.0, 30.0), "immersion": (3.0, 30.0)}
"""Plausible beverage (espresso) or water (else) per gram of ground coffee, by brew method."""


def judge_run(run: Run, grinder: Grinder, *, received_at: datetime) -> tuple[Finding, ...]:
    """List what is implausible about a run; it counts all the same.

    ``flow = grams / seconds`` against 20 g/s and the grinder's own, and one rule per field

    Parameters
    ----------
    run : Run
        The run as sent, best with ``started_at`` already placed in time.
    grinder : Grinder
        The machine it names, for hopper, expected flow, settings, rated power and limit.
    received_at : datetime
        When the service got it, aware.

    Returns
    -------
    tuple of Finding
        Codes in a fixed order: ``flow_implausible``, ``flow_unexpected``, ``no_motor_time``,
        ``run_long``, ``ends_after_receipt``, ``over_hopper``, ``setting_out_of_range``,
        ``rpm_implausible``, ``power_implausible``, ``motor_over_limit``, ``motor_below_ambient``,
        ``ambient_implausible``, ``brew_ratio_implausible``, ``brew_exceeds_water``,
        ``tds_implausible``, ``extraction_implausible``; empty = nothing to remark.

    Raises
    ------
    Nothing; a field that is missing, zero or not finite yields no finding of its own.

    Valid
    -----
    Any run. Flow and ratio need both their numbers; a purge or cleaning has no expected flow.

    Source
    ------
    Thresholds: common practice, no source. Extraction = TDS x beverage / dose (definition).

    Examples
    --------
    >>> noon = datetime(2026, 5, 4, 12, tzinfo=UTC)
    >>> grinder = Grinder("bar-1", "harbour", "Bar left", noon)
    >>> [finding.code for finding in judge_run(Run("r-0000001", "bar-1", seconds=2.0, grams=90.0),
    ...     grinder, received_at=noon)]
    ['flow_implausible']
    """
    findings = [*_of_flow_and_time(run, grinder, received_at), *_of_machine(run, grinder)]
    if run.brew is not None:
        findings.extend(_of_brew(run.brew, run.grams))
    return tuple(findings)


def place_in_time(
    run: Run, *, received_at: datetime
) -> tuple[datetime, Literal["device", "age", "received"], Finding | None]:
    """Decide when a run started, and by whose clock.

    ``start = started_at, else received_at - age_seconds, else received_at - seconds``

    Parameters
    ----------
    run : Run
        The run as sent.
    received_at : datetime
        When the service got it, aware.

    Returns
    -------
    tuple
        Start (UTC, whole milliseconds), whose clock it is by (``device``, ``age``, ``received``),
        and the finding ``clock_suspect`` or None.

    Raises
    ------
    ValueError
        ``received_at`` or ``started_at`` is naive.

    Valid
    -----
    A start more than 5 min after receipt or before 2020 is a wrong clock: the age, if told, or
    else the time of receipt takes its place. Nothing is lost because a clock is wrong.

    Source
    ------
    Definition made here.

    Examples
    --------
    >>> noon = datetime(2026, 5, 4, 12, tzinfo=UTC)
    >>> place_in_time(Run("r-0000001", "bar-1", age_seconds=90.0), received_at=noon)[:2]
    (datetime.datetime(2026, 5, 4, 11, 58, 30, tzinfo=datetime.timezone.utc), 'age')
    """
    if received_at.utcoffset() is None:
        raise ValueError("received_at must be aware (have an offset)")
    received_at = received_at.astimezone(UTC)
    suspect: Finding | None = None
    if run.started_at is not None:
        if run.started_at.utcoffset() is None:
            raise ValueError("started_at must be aware (have an offset)")
        if _is_credible(run.started_at, received_at):
            started_at = run.started_at
            if started_at.tzinfo is not UTC:
                started_at = started_at.astimezone(UTC)
            return _to_millisecond(started_at), "device", None
        suspect = Finding(
            "clock_suspect",
            f"The device says {run.started_at.isoformat()}, received {received_at.isoformat()}: "
            "its clock cannot be right, so the run was placed by the time of receipt.",
        )
    if run.age_seconds is not None:
        if 0 <= run.age_seconds <= (received_at - EARLIEST_START_AT).total_seconds():
            started_at = received_at - timedelta(seconds=run.age_seconds)
            return _to_millisecond(started_at), "age", suspect
        suspect = suspect or Finding(
            "clock_suspect",
            f"An age of {_text(run.age_seconds)} s cannot be right, so the run was placed by the "
            "time of receipt.",
        )
    seconds = run.seconds if _is_number(run.seconds) and 0 <= run.seconds <= 1e6 else 0.0
    return _to_millisecond(received_at - timedelta(seconds=seconds)), "received", suspect


def _of_flow_and_time(run: Run, grinder: Grinder, received_at: datetime) -> Iterator[Finding]:
    grams, seconds = run.grams, run.seconds
    if _is_number(grams) and _is_number(seconds) and grams > 0:
        if seconds <= 0:
            yield Finding("no_motor_time", f"{grams:g} g came with 0 s of motor time.")
        else:
            yield from _of_flow(grams / seconds, run, grinder)
    if _is_number(seconds):
        longest = LONG_BREAK_IN_SECONDS if run.purpose == "break_in" else LONG_RUN_SECONDS
        if seconds > longest:
            yield Finding(
                "run_long", f"The motor ran {seconds / 60:.1f} min, over {longest / 60:g} min."
            )
        if _is_aware(run.started_at) and _is_aware(received_at):
            late = (run.started_at - received_at).total_seconds() + seconds
            if late > FUTURE_SECONDS:
                yield Finding(
                    "ends_after_receipt", f"The run ends {late:.0f} s after it was received."
                )


def _of_flow(flow: float, run: Run, grinder: Grinder) -> Iterator[Finding]:
    if flow > HIGHEST_FLOW_GRAMS_PER_SECOND:
        yield Finding(
            "flow_implausible",
            f"{flow:.3g} g/s is over {HIGHEST_FLOW_GRAMS_PER_SECOND:g} g/s.",
        )
    expected = None if grinder.grind is None else grinder.grind.expected_grams_per_second
    if _is_number(expected) and expected > 0 and run.purpose not in ("purge", "cleaning"):
        ratio = flow / expected
        if not 1 / UNEXPECTED_FLOW_FACTOR <= ratio <= UNEXPECTED_FLOW_FACTOR:
            yield Finding(
                "flow_unexpected",
                f"{flow:.3g} g/s is far from this grinder's expected {expected:.3g} g/s.",
            )


def _of_machine(run: Run, grinder: Grinder) -> Iterator[Finding]:
    hopper = grinder.hopper_grams
    if run.feed == "hopper" and _is_number(run.grams) and _is_number(hopper) and run.grams > hopper:
        yield Finding("over_hopper", f"{run.grams:g} g is more than the hopper's {hopper:g} g.")
    if _is_number(run.setting) and grinder.grind is not None:
        low, high = grinder.grind.low_setting, grinder.grind.high_setting
        is_below = _is_number(low) and run.setting < low
        is_above = _is_number(high) and run.setting > high
        if is_below or is_above:
            yield Finding(
                "setting_out_of_range",
                f"Setting {run.setting:g} is {'below' if is_below else 'above'} the grinder's "
                f"{low if is_below else high:g}.",
            )
    if _is_number(run.rpm) and run.rpm > HIGHEST_RPM:
        yield Finding("rpm_implausible", f"{run.rpm:g} rpm is over {HIGHEST_RPM:g} rpm.")
    yield from _of_power(run, grinder)
    yield from _of_temperature(run, grinder)


def _of_power(run: Run, grinder: Grinder) -> Iterator[Finding]:
    if not (_is_number(run.energy_joules) and _is_number(run.seconds) and run.seconds > 0):
        return
    watts = run.energy_joules / run.seconds
    rated = None if grinder.motor is None else grinder.motor.rated_watts
    highest = UNEXPECTED_WATTS_FACTOR * rated if _is_number(rated) and rated > 0 else HIGHEST_WATTS
    if watts > highest:
        yield Finding("power_implausible", f"{watts:.4g} W on average is over {highest:.4g} W.")


def _of_temperature(run: Run, grinder: Grinder) -> Iterator[Finding]:
    motor, ambient = run.motor_celsius, run.ambient_celsius
    limit = None if grinder.motor is None else grinder.motor.limit_celsius
    if _is_number(motor) and _is_number(limit) and motor >= limit:
        yield Finding(
            "motor_over_limit", f"The motor read {motor:g} °C; its limit is {limit:g} °C."
        )
    if _is_number(motor) and _is_number(ambient) and motor < ambient - BELOW_AMBIENT_KELVIN:
        yield Finding(
            "motor_below_ambient",
            f"The motor read {motor:g} °C, more than {BELOW_AMBIENT_KELVIN:g} K below the "
            f"{ambient:g} °C around it.",
        )
    low, high = AMBIENT_RANGE_CELSIUS
    if _is_number(ambient) and not low <= ambient <= high:
        yield Finding(
            "ambient_implausible",
            f"{ambient:g} °C around the grinder is outside {low:g} to {high:g}.",
        )


def _of_brew(brew: Brew, dose_grams: float | None) -> Iterator[Finding]:
    beverage, water, tds = brew.beverage_grams, brew.water_grams, brew.tds_fraction
    dose = dose_grams if _is_number(dose_grams) and dose_grams > 0 else None
    drink, name = (beverage, "beverage") if brew.method == "espresso" else (water, "water")
    bounds = RATIO_RANGE.get(brew.method)
    if dose is not None and _is_number(drink) and bounds is not None:
        ratio = drink / dose
        if not bounds[0] <= ratio <= bounds[1]:
            yield Finding(
                "brew_ratio_implausible",
                f"{ratio:.3g} g of {name} per gram of coffee is outside {bounds[0]:g} to "
                f"{bounds[1]:g} for {brew.method}.",
            )
    if _is_number(beverage) and _is_number(water) and beverage > water > 0:
        yield Finding(
            "brew_exceeds_water", f"{beverage:g} g of beverage came from {water:g} g of water."
        )
    if _is_number(tds) and tds > HIGHEST_TDS_FRACTION:
        yield Finding("tds_implausible", f"TDS of {tds:.1%} is over {HIGHEST_TDS_FRACTION:.0%}.")
    if _is_number(tds) and _is_number(beverage) and dose is not None:
        extraction = tds * beverage / dose
        if extraction > HIGHEST_EXTRACTION_FRACTION:
            yield Finding(
                "extraction_implausible",
                f"{extraction:.0%} of the coffee in the cup is over "
                f"{HIGHEST_EXTRACTION_FRACTION:.0%}.",
            )


def _is_number(value: float | None) -> TypeGuard[float]:
    """Whether a value is there and can be compared: not NaN, infinite or absurdly large."""
    return value is not None and -1e300 < value < 1e300


def _text(value: float) -> str:
    return f"{value:g}" if _is_number(value) else "no finite number of"


def _is_aware(at: datetime | None) -> TypeGuard[datetime]:
    return at is not None and at.utcoffset() is not None


def _is_credible(started_at: datetime, received_at: datetime) -> bool:
    latest = received_at + timedelta(seconds=FUTURE_SECONDS)
    return EARLIEST_START_AT <= started_at <= latest


def _to_millisecond(at: datetime) -> datetime:
    """Cut to whole milliseconds, always towards the past."""
    if at.microsecond % 1000 == 0:
        return at
    return at.replace(microsecond=at.microsecond // 1000 * 1000)
