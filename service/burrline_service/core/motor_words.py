"""Motors in sentences for a technician, and what to beware of, each with who says so."""

from __future__ import annotations

import math

from .motor_answers import Caution

UNPLUG = Caution(
    "Unplug the grinder and keep the plug in sight and reach before touching burrs or housing.",
    "29 CFR 1910.147(a)(2)(iii)(A), on equipment with cord and plug",
)
SELF_RESET = Caution(
    "A thermal cut-out that resets by itself can start the motor again without warning, with hands "
    "in it: never probe, and never start it again from afar.",
    "makers' notes on self-resetting winding cut-outs",
)
HOT_SURFACE = Caution(
    "Surfaces may be hot: bare metal from 48 °C burns when held for minutes, from 60 °C at once.",
    "ISO 13732-1, contact with hot surfaces (from memory)",
)
LOCAL_RULES = Caution(
    "Local codes, the maker's manual and licensed electricians come first; burrline protects no "
    "motor.",
    "rule of this project",
)
CAUTIONS = (UNPLUG, SELF_RESET, LOCAL_RULES)
BODIES = {"winding": "winding", "housing": "housing", "unknown": "motor"}


def cautions_for(*, hottest_celsius: float | None, body: str) -> tuple[Caution, ...]:
    """What to beware of at a motor, the surface too where it may be hot."""
    is_hot = hottest_celsius is not None and (body == "winding" or hottest_celsius >= 48.0)
    return (HOT_SURFACE, *CAUTIONS) if is_hot else CAUTIONS


def motor_sentence(
    *,
    model: str,
    body: str,
    estimate_celsius: float | None,
    low_celsius: float | None,
    high_celsius: float | None,
    limit_celsius: float | None,
    to_limit_seconds: float | None,
    longest_run_seconds: float | None,
    reading_count: int,
    is_trip_suspected: bool,
) -> str:
    """Say how hot the motor is and what is known of it."""
    what = BODIES[body]
    parts = []
    if is_trip_suspected:
        parts.append(
            "A thermal cut-out may have stopped this motor; look at it, and record it as "
            "trip_checked."
        )
    if estimate_celsius is not None:
        parts.append(_estimated(what, estimate_celsius, low_celsius, high_celsius))
    parts.append(_of_model(model, reading_count))
    if limit_celsius is None:
        parts.append(f"No temperature limit is known for the {what}.")
    elif high_celsius is not None and high_celsius >= limit_celsius:
        is_over = low_celsius is not None and low_celsius >= limit_celsius
        parts.append(
            f"It {'is over' if is_over else 'may be at'} its limit of {limit_celsius:g} °C: "
            "let it rest."
        )
    elif to_limit_seconds is not None:
        parts.append(
            f"Run on without a rest, it reaches its limit of {limit_celsius:g} °C in "
            f"{duration_text(to_limit_seconds)} at the earliest."
        )
        if longest_run_seconds is not None and to_limit_seconds > 1.5 * longest_run_seconds:
            parts.append(
                f"It was never seen to run longer than {duration_text(longest_run_seconds)} at "
                "once, so take that with caution."
            )
    return " ".join(part for part in parts if part)


def _estimated(what: str, best: float, low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return f"The {what} is at about {best:.0f} °C."
    digits = 0 if high - low >= 3.0 else 1
    return f"The {what} is at about {best:.{digits}f} °C ({low:.{digits}f} to {high:.{digits}f})."


def _of_model(model: str, reading_count: int) -> str:
    count = "One reading" if reading_count == 1 else f"{reading_count} readings"
    return {
        "insufficient": (
            f"{count} in the last 31 days, with too little change of temperature to tell how it "
            "warms."
            if reading_count >= 4
            else f"{count} in the last 31 days: too few to tell how it warms."
            if reading_count
            else "Nobody read its temperature in the last 31 days."
        ),
        "level_only": (
            "Its readings tell at which level this use keeps it, not how it would warm or cool "
            "at another."
        ),
        "slope_only": (
            "Its readings tell how fast it warms, not where it would end: bounds leave cooling out."
        ),
        "no_cooling": (
            "Its readings tell how it warms, not how it cools: read it some minutes after a run."
        ),
        "identified": "",
    }[model]


def duration_text(seconds: float) -> str:
    """A length of time in words, to the second; at least one second when there is any.

    >>> duration_text(160.2), duration_text(7200.0), duration_text(0.3), duration_text(45.0)
    ('2 min 41 s', '2 h', '1 s', '45 s')
    """
    whole = math.ceil(round(seconds, 3))
    hours, rest = divmod(whole, 3600)
    minutes, second = divmod(rest, 60)
    if hours:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    if minutes:
        return f"{minutes} min {second} s" if second else f"{minutes} min"
    return f"{second} s"
