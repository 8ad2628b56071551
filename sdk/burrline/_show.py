"""Statuses as text for a terminal: plain ASCII around whatever names the grinders have."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime

from burrline.models import Status

COLUMNS = ("grinder", "site", "burrs kg", "today kg", "motor", "duty", "break-in", "last run")
RIGHT = {2, 3}
CAUTION = (
    "Let it rest. Unplug it and keep the plug in sight before touching burrs or housing: hot "
    "surfaces, and a thermal cut-out may start it again by itself. The maker's manual comes first."
)


def printable(text: str) -> str:
    """The text without control characters, so that no name can steer the terminal.

    >>> printable("bar\\x1b[2J-1")
    'bar?[2J-1'
    """
    return "".join(one if one.isprintable() or one == "\n" else "?" for one in text)


def fleet_table(fleet: Sequence[Status]) -> str:
    """One row for each grinder."""
    rows = [COLUMNS, *(_row(status) for status in fleet)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(COLUMNS))]
    return "\n".join(
        printable(
            "  ".join(
                cell.rjust(width) if column in RIGHT else cell.ljust(width)
                for column, (cell, width) in enumerate(zip(row, widths, strict=True))
            ).rstrip()
        )
        for row in rows
    )


def status_lines(status: Status) -> str:
    """One grinder in a few lines."""
    throughput, motor, duty, break_in = (
        status.throughput,
        status.motor,
        status.duty,
        status.break_in,
    )
    lines = [
        (status.grinder_id, f"{status.name}, site {status.site_id}, {_minute(status.as_of)}"),
        (
            "burr set",
            f"{throughput.burr_set_id}: "
            f"{_weighed(throughput.burr_grams, throughput.burr_estimated_grams)} in "
            f"{throughput.burr_run_count} runs here"
            if throughput.burr_set_id
            else "none fitted",
        ),
        (
            "today",
            f"{_weighed(throughput.today_grams, throughput.today_estimated_grams)}, "
            f"last run {_last_run(status)}",
        ),
        ("duty", _duty_words(status)),
        ("motor", _motor_words(status)),
        *(("estimate", words) for words in _estimate_words(status)),
        ("break-in", f"{break_in.stage} ({break_in.basis}): {break_in.sentence}"),
    ]
    if duty.state == "exceeded" and duty.ready_at is not None:
        lines.append(("", f"duty back within its rating at {_second(duty.ready_at)}"))
    lines += [
        ("alert", f"{one.kind} ({one.severity}) since {_second(one.opened_at)}")
        for one in status.alerts
    ]
    is_heating = any(one.kind == "motor_heating" for one in status.alerts)
    if motor.state == "over" or duty.state == "exceeded" or is_heating:
        lines.append(("caution", CAUTION))
    width = max(len(name) for name, _ in lines)
    return printable("\n".join(f"{name.ljust(width)}  {text}" for name, text in lines))


def _row(status: Status) -> tuple[str, ...]:
    motor: str = status.motor.state
    if status.motor.reading_celsius is not None:
        motor += f" {status.motor.reading_celsius:.0f} C"
    return (
        status.grinder_id,
        status.site_id,
        _in_short(status.throughput.burr_grams, status.throughput.burr_estimated_grams),
        _in_short(status.throughput.today_grams, status.throughput.today_estimated_grams),
        motor,
        status.duty.state,
        status.break_in.stage,
        _last_run(status),
    )


def _duty_words(status: Status) -> str:
    duty = status.duty
    words = f"{duty.state}: on {duty.on_seconds:.0f} s in the last {duty.cycle_seconds:g} s"
    if duty.rated_on_seconds is not None:
        words += f", rated {duty.rated_on_seconds:g} s"
    if duty.coverage_fraction < 1:
        words += f"; only {duty.coverage_fraction:.0%} of that time is known"
    elif duty.high_fraction > duty.low_fraction:
        words += f"; up to {duty.high_fraction * duty.cycle_seconds:.0f} s with what is estimated"
    return words


def _motor_words(status: Status) -> str:
    motor = status.motor
    if motor.reading_celsius is None:
        return f"{motor.state}: no reading"
    words = f"{motor.state}: {motor.reading_celsius:.1f} C"
    if motor.sensor is not None:
        words += f" at the {motor.sensor}"
    if motor.limit_celsius is not None:
        words += f", limit {motor.limit_celsius:g} C"
    if motor.read_at is not None:
        words += f", read {_second(motor.read_at)}"
        if motor.state == "unknown" and motor.limit_celsius is not None:
            words += " (too long ago to judge)"
    return words


def _estimate_words(status: Status) -> list[str]:
    """What the temperature model says of the body that carries the sensor, and what follows."""
    motor = status.motor
    if motor.estimate_celsius is None:
        return []
    body = motor.sensor if motor.sensor in ("winding", "housing") else "motor"
    words = f"about {motor.estimate_celsius:.0f} C now at the {body}"
    if motor.low_celsius is not None and motor.high_celsius is not None:
        words += f", {motor.low_celsius:.0f} to {motor.high_celsius:.0f} C (90 % interval)"
    if motor.limit_celsius is None:
        return [f"{words}; no limit is known for it"]
    if motor.seconds_to_limit is not None:
        if motor.seconds_to_limit > 0:
            words += f"; run on, it reaches its limit in {lasting(motor.seconds_to_limit)} or later"
        else:
            words += "; it may be at its limit"
    if motor.rest_seconds is not None:
        rest = f"{lasting(motor.rest_seconds, is_up=True)} of" if motor.rest_seconds > 0 else "no"
        words += f"; for its limit, a run of a minute needs {rest} rest before it"
    return [words]


def lasting(seconds: float, *, is_up: bool = False) -> str:
    """A length of time in its two largest units, rounded down or up to the smaller one.

    >>> lasting(45.2), lasting(160.0), lasting(7290.0), lasting(7290.0, is_up=True)
    ('45 s', '2 min 40 s', '2 h 1 min', '2 h 2 min')
    """
    larger, smaller, length = ("min", "s", 1) if seconds < 3600 else ("h", "min", 60)
    whole = math.ceil(seconds / length) if is_up else math.floor(seconds / length)
    many, few = divmod(whole, 60)
    words = [f"{many} {larger}"] * (many > 0) + [f"{few} {smaller}"] * (few > 0 or not many)
    return " ".join(words)


def _last_run(status: Status) -> str:
    at = status.throughput.last_run_at
    return "never" if at is None else _minute(at)


def _minute(instant: datetime) -> str:
    return instant.strftime("%Y-%m-%d %H:%M UTC")


def _second(instant: datetime) -> str:
    return instant.strftime("%Y-%m-%d %H:%M:%S UTC")


def _weighed(grams: float | None, estimated_grams: float | None) -> str:
    """Kilograms weighed, and beside them those nobody weighed."""
    words = f"{_kilograms(grams)} kg weighed"
    if estimated_grams is None:
        return f"{words} + an unknown amount (runs without grams)"
    return f"{words} + about {_kilograms(estimated_grams)} kg" if estimated_grams else words


def _in_short(grams: float | None, estimated_grams: float | None) -> str:
    """The same in a table's cell: ``~`` partly estimated, ``+?`` partly unknown."""
    if grams is None or estimated_grams == 0:
        return _kilograms(grams)
    if estimated_grams is None:
        return f"{_kilograms(grams)}+?"
    return f"~{_kilograms(grams + estimated_grams)}"


def _kilograms(grams: float | None) -> str:
    return "?" if grams is None else f"{grams / 1000:.2f}"
