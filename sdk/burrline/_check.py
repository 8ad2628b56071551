"""The verdict of ``burrline check`` in the form monitoring plugins share.

Exit codes, the one line and the performance part after ``|`` follow the Monitoring Plugins
Development Guidelines: ``'label'=value[unit];[warn];[crit];[min];[max]``.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from burrline.models import Status

OK, CAUTION, ALERT, UNKNOWN = 0, 1, 2, 3
WORDS = {OK: "OK", CAUTION: "WARNING", ALERT: "CRITICAL", UNKNOWN: "UNKNOWN"}
PARTS = ("motor", "duty")

MOTOR_CODES = {"ok": OK, "warm": CAUTION, "over": ALERT}
DUTY_CODES = {"ok": OK, "near": CAUTION, "exceeded": ALERT}
TOLD_BESIDE = ("motor_heating", "long_run")
"""Alerts that the states of motor and duty do not tell."""
OF_MOTORS = ("motor_overheat", "duty_exceeded", *TOLD_BESIDE)
"""Worn burrs or a silent grinder are no matter of this check."""
ALERT_CODES = {"caution": CAUTION, "alert": ALERT}


@dataclass(frozen=True)
class Verdict:
    """An exit code and the line that explains it."""

    code: int
    line: str


def judge(status: Status, required: Collection[str] = ()) -> Verdict:
    """Motor and duty of one grinder as a verdict.

    A part that cannot be judged (no sensor, no rating, nothing heard) is passed over unless it is
    required: then it makes the verdict unknown, if nothing worse is known. Where neither part can
    be judged, and no alert is open, the verdict is unknown too.
    """
    codes = {
        "motor": MOTOR_CODES.get(status.motor.state),
        "duty": DUTY_CODES.get(status.duty.state),
    }
    known = [code for code in codes.values() if code is not None]
    known += [
        ALERT_CODES[one.severity]
        for one in status.alerts
        if one.kind in OF_MOTORS and one.severity in ALERT_CODES
    ]
    worst = max(known, default=UNKNOWN)
    if worst == OK and any(codes[part] is None for part in required):
        worst = UNKNOWN
    opened = [f"{one.kind} alert open" for one in status.alerts if one.kind in TOLD_BESIDE]
    says = "; ".join((_motor_words(status), _duty_words(status), *opened))
    if worst == ALERT:
        says += "; unplug it before touching it, never restart it from afar"
    return Verdict(
        worst, f"{WORDS[worst]} - {status.grinder_id}: {says} | {' '.join(_performance(status))}"
    )


def _motor_words(status: Status) -> str:
    motor = status.motor
    if motor.reading_celsius is None:
        return f"motor {motor.state}, no reading"
    limit = "" if motor.limit_celsius is None else f" of {motor.limit_celsius:g}"
    reading = f"{motor.reading_celsius:.1f}{limit} C"
    if motor.state == "unknown" and motor.read_at is not None:
        return f"motor {motor.state}, last read {reading} at {motor.read_at:%Y-%m-%d %H:%M:%S} UTC"
    return f"motor {motor.state}, {reading}"


def _duty_words(status: Status) -> str:
    duty = status.duty
    of = "" if duty.rated_on_seconds is None else f" of {duty.rated_on_seconds:g}"
    return f"duty {duty.state}, on {duty.on_seconds:.0f}{of} s in {duty.cycle_seconds:g} s"


def _performance(status: Status) -> list[str]:
    motor, duty, throughput = status.motor, status.duty, status.throughput
    parts = []
    if motor.reading_celsius is not None:
        caution, limit = _number(motor.caution_celsius), _number(motor.limit_celsius)
        parts.append(f"motor_celsius={_number(motor.reading_celsius)};{caution};{limit}")
    parts.append(
        f"on_seconds={_number(duty.on_seconds)}s;;{_number(duty.rated_on_seconds)};0;"
        f"{_number(duty.cycle_seconds)}"
    )
    if throughput.burr_grams is not None:
        parts.append(f"burr_grams={_number(throughput.burr_grams)};;;0")
    parts.append(f"today_grams={_number(throughput.today_grams)};;;0")
    return parts


def _number(value: float | None) -> str:
    return "" if value is None else f"{round(value, 3):.10g}"
